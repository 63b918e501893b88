from dataclasses import replace

import polars as pl

from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record import with_answer
from pricing.appraisal.register import Entry
from pricing.reports.blocks import Table
from pricing.reports.pdf import pdf
from pricing.reports.short import SHOWN, letter, statement
from pricing.words.locale import LocaleWords
from tests.appraisals import pdf_text
from tests.reports.test_report import as_model_report, number, tables, texts


def test_the_statement_says_what_an_insurer_asks(facts: Facts, words: LocaleWords) -> None:
    said = pdf_text(pdf(statement(facts, words)))
    for text in (
        "Client Alpha", "Use Gamma", "Interest Delta", "market value: Definition Epsilon", "Source Zeta",
        "CH-55-Nu", "in person, Looker Omicron, 20 June 2026", "\u00a37,350", "Assumption Rho", "Limit Mu",
        "Draft for a qualified valuer", "Signature of the valuer",
    ):  # fmt: skip
        assert text in said, text


def test_its_comparables_are_the_first_of_the_grid(facts: Facts, words: LocaleWords) -> None:
    (table,) = tables(statement(facts, words), "The 6 comparable sales")
    first = facts.grid.head(SHOWN)
    assert [number(row[3]) for row in table.rows] == first["price"].to_list()
    assert [number(row[4]) for row in table.rows] == first["adjusted_price"].to_list()


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
        assert "Signature" not in said
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
