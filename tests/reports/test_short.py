from collections.abc import Callable
from dataclasses import replace
from decimal import ROUND_HALF_EVEN, Decimal

import polars as pl
import pytest

from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record.record import with_answer
from pricing.appraisal.register import Entry
from pricing.reports.formats.blocks import Pages, Table
from pricing.reports.formats.pdf import pdf
from pricing.reports.letter import letter
from pricing.reports.short import SHOWN, statement
from pricing.words.language.locale import LocaleWords
from pricing.words.language.reader import rounded
from tests.appraisals import pdf_text
from tests.reports.test_report import as_model_report, number, tables, texts


def test_the_statement_says_what_an_insurer_asks(facts: Facts, words: LocaleWords) -> None:
    said = pdf_text(pdf(statement(facts, words)))
    for text in (
        "Client Alpha", "Use Gamma", "Interest Delta", "market value: Definition Epsilon", "Source Zeta",
        "CH-55-Nu", "in person, Looker Omicron, 20 June 2026", "\u00a37,350", "Assumption Rho", "Limit Mu",
        "Draft for a qualified valuer", "Valuer Phi, Titles Chi: signature",
    ):  # fmt: skip
        assert text in said, text


def test_its_comparables_are_the_first_of_the_grid(facts: Facts, words: LocaleWords) -> None:
    (table,) = tables(statement(facts, words), "The 6 comparable sales")
    first = facts.grid.head(SHOWN)
    money = facts.evidence.conversion
    assert table.columns[3].header.endswith("GBP")
    assert [number(row[3]) for row in table.rows] == [
        money.from_base(amount).quantize(Decimal(1), ROUND_HALF_EVEN) for amount in first["price"]
    ]
    assert [number(row[4]) for row in table.rows] == [
        rounded(money.from_base(amount)) for amount in first["adjusted_price"]
    ]
    assert "reference rate of" in table.note


def test_the_letter_gives_the_ranges_and_the_market(facts: Facts, words: LocaleWords) -> None:
    said = texts(letter(facts, words))
    for span in (facts.model, facts.comparables):
        assert span is not None
        low, mid, high = (words.about(part, "GBP") for part in span.figures)
        assert f"{low} to {high}, middle {mid}" in said
    assert facts.evidence.index is not None
    points = facts.evidence.index.frame.drop_nulls("index")
    last = points.row(-1, named=True)
    then = points.filter(pl.col("starts") <= last["starts"].replace(year=last["starts"].year - 1))["index"]
    change = 100 * (last["index"] / then[-1] - 1)
    assert f"moved by {words.per_cent(change, 0)}" in said
    assert "is proposed, in draft, as \u00a37,350" in said


def test_a_model_report_has_no_place_to_sign(entry: Entry, words: LocaleWords) -> None:
    facts = facts_of(replace(entry, record=as_model_report(entry.record)))
    for form in (statement, letter):
        said = texts(form(facts, words))
        assert "signature, place" not in said
        assert "Model report" in said


def test_what_is_cut_is_marked_and_the_rest_is_whole(entry: Entry, words: LocaleWords) -> None:
    record = with_answer(entry.record, "assignment.basis_definition", "very " * 100)
    said = texts(statement(facts_of(replace(entry, record=record)), words))
    assert "[\u2026]" in said
    assert "stands in full in the appraisal" in said
    assert "Definition Epsilon" in texts(statement(facts_of(entry), words))


def test_few_comparables_are_no_empty_table(entry: Entry, words: LocaleWords) -> None:
    assert entry.evidence is not None
    none = replace(entry.evidence, comparables=None, missing={"comparables": "too few"})
    pages = statement(facts_of(replace(entry, evidence=none)), words)
    assert not [block for block in pages.blocks if isinstance(block, Table)]


@pytest.mark.parametrize("form", [statement, letter])
def test_a_short_form_holds_what_a_reader_of_it_alone_must_know(
    facts: Facts, words: LocaleWords, form: Callable[[Facts, LocaleWords], Pages]
) -> None:
    said = texts(form(facts, words))
    for text in (
        "Assumption Rho", "Users Beta", "Limit Mu", "Definition Epsilon", "Looker Omicron", "Valuer Phi",
        "Liability Bound", "current use", "Restricted use", "reference rate of", "CH-55-Nu",
        "Newer Accounted",
    ):  # fmt: skip
        assert text in said, text
