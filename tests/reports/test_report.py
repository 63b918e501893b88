"""The blocks of the whole document: what it says, against the facts; what it never says."""

import math
from dataclasses import replace
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

import polars as pl
import pytest
from babel.numbers import format_decimal

from pricing.appraisal.earlier_sales import TOLD
from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.figures import valued_for
from pricing.appraisal.record.record import Appraisal, read_record, with_answer
from pricing.appraisal.register import Entry
from pricing.reports.formats.blocks import (
    AnswerList,
    Blanks,
    Bullets,
    Figure,
    Heading,
    Pages,
    Paragraph,
    Statement,
    Table,
)
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.short import statement
from pricing.words.language.locale import LocaleWords
from pricing.words.language.reader import rounded
from tests import appraisals

NEVER = ("roadworthy", " safe ", "complies with", "in compliance", "i certify", "is signed", "was signed")


def texts(pages: Pages) -> str:
    """Every text of a document, in order."""
    parts: list[str] = [pages.title, pages.subject, pages.mark]
    for block in pages.blocks:
        match block:
            case Heading() | Paragraph():
                parts.append(block.text)
            case Bullets():
                parts += block.items
            case AnswerList():
                parts += [block.caption, *(cell for row in block.rows for cell in row)]
            case Table():
                parts += [block.caption, *(column.header for column in block.columns)]
                parts += [*(cell for row in block.rows for cell in row), block.note]
            case Figure():
                parts += [block.caption, block.alt]
            case Statement():
                parts += [block.title, block.text, block.terms]
            case Blanks():
                parts += block.labels
    return "\n".join(parts)


def tables(pages: Pages, caption: str) -> list[Table]:
    return [block for block in pages.blocks if isinstance(block, Table) and block.caption.startswith(caption)]


def number(cell: str) -> Decimal:
    return Decimal(cell.replace(",", "").replace("\u2212", "-").replace("\u00a0", "").rstrip("%"))


def test_every_part_is_there_in_order(pages: Pages) -> None:
    titles = [block.text for block in pages.blocks if isinstance(block, Heading) and block.level == 1]
    assert titles == [
        "Summary", "Assignment", "Subject and identity", "Condition", "Market", "Comparable sales",
        "Price model", "Reconciliation and opinion", "Assumptions, limits and cautions", "Certification",
        "Annex A: Adjustments",
        "Annex B: Sales and offers used", "Annex C: How near the approach comes",
        "Annex D: How near it comes in the whole market", "Annex E: Inspection sheet",
        "Annex F: Software and data",
    ]  # fmt: skip
    named = {block.name for block in pages.blocks if isinstance(block, Figure)}
    assert named == set(pages.pictures) == {"ranges", "index", "comparables", "distribution", "terms"}
    assert all(block.alt and block.caption for block in pages.blocks if isinstance(block, Figure))


def test_no_paper_is_worn(pages: Pages) -> None:
    """Papers are in order, incomplete or missing, as the printed sheet has them."""
    (settle,) = tables(pages, "To settle about identity and papers")
    (checks,) = tables(pages, "Findings, check by check")
    states = [row[1] for row in settle.rows]
    states += [row[2] for row in checks.rows if row[0] == "identity and papers"]
    assert "incomplete" in states and not {"worn", "sound", "needs repair"} & set(states)


def test_adjustments_add_up_as_they_are_printed(pages: Pages, facts: Facts) -> None:
    printed = tables(pages, "Adjustments of comparables")
    assert [column.header for column in printed[0].columns[:3]] == ["Line", "Subject", "No. 1"]
    assert all(table.wide for table in printed)
    columns = [
        dict(zip((row[0] for row in table.rows), column, strict=True))
        for table in printed
        for column in list(zip(*table.rows, strict=True))[2:]
    ]
    assert len(columns) == facts.grid.height
    for column, row in zip(columns, facts.grid.iter_rows(named=True), strict=True):
        names = list(column)
        lines = names[names.index("Price, all-in") + 1 : names.index("Adjusted price")]
        price, adjusted = column["Price, all-in"], column["Adjusted price"]
        assert number(price) == row["price"]
        assert number(adjusted) == row["adjusted_price"]
        money = [number(column[name]) for name in lines if column[name] != "\u2013"]
        assert number(price) + sum(money) == number(adjusted)


def test_what_stands_behind_each_adjustment_is_beside_it(pages: Pages, facts: Facts) -> None:
    found = facts.evidence.comparables
    assert found is not None and found.support is not None
    (table,) = tables(pages, "What stands behind each adjustment")
    assert len(table.rows) == found.support.height > 0
    moved = facts.lines.filter(pl.col("step") >= 2, pl.col("factor") != 1.0)
    assert found.support.height == moved.filter(pl.col("line") != "conditions of sale").height
    inside = moved.join(found.support, on=["record_id", "line"])
    assert inside.select(pl.col("per_cent").is_between("low_per_cent", "high_per_cent").all()).item()
    assert {row[5] for row in table.rows} >= {"none"} or all(row[5].isdigit() for row in table.rows)


def test_the_text_says_what_the_rule_of_thumb_does_to_the_weights(pages: Pages) -> None:
    said = texts(pages)
    assert "the square of the excess" in said or "keeps within the rule of thumb" in said


def test_the_tables_hold_the_facts(pages: Pages, facts: Facts, words: LocaleWords) -> None:
    (grid,) = tables(pages, "Comparable sales")
    assert [row[0] for row in grid.rows] == [str(place) for place in range(1, facts.grid.height + 1)]
    money = facts.evidence.conversion
    assert [number(row[4]) for row in grid.rows] == [
        money.from_base(amount).quantize(Decimal(1), ROUND_HALF_EVEN) for amount in facts.grid["price"]
    ]
    assert [number(row[7]) for row in grid.rows] == [
        rounded(money.from_base(amount)) for amount in facts.grid["adjusted_price"]
    ]
    for caption, span in (("Value by comparable", facts.comparables), ("Range of the price", facts.model)):
        (table,) = tables(pages, caption)
        assert span is not None
        assert table.rows[0][1:] == tuple(words.about(part, "EUR") for part in span.base)
        assert table.rows[1][1:] == tuple(words.about(part, "GBP") for part in span.figures)
    (sales,) = tables(pages, "Sales and offers used")
    assert len(sales.rows) == facts.annex.height
    assert [row[5] for row in sales.rows] == [
        f"{row['source']}: {row['source_ref']}" for row in facts.annex.iter_rows(named=True)
    ]
    (index,) = tables(pages, "The index")
    assert facts.evidence.index is not None
    points = facts.evidence.index.frame.drop_nulls("index").tail(8)
    assert [float(row[2]) for row in index.rows] == [round(value, 1) for value in points["index"]]
    (terms,) = tables(pages, "What makes up")
    assert len(terms.rows) == facts.evidence.valuation.terms.height
    (bands,) = tables(pages, "The car in each condition band")
    assert [row[2] for row in bands.rows] == [
        words.known(money.from_base(Decimal(repr(mid)))) for mid in facts.evidence.valuation.bands["mid"]
    ]


def test_the_repairs_and_the_sheet_hold_the_facts(pages: Pages, facts: Facts, words: LocaleWords) -> None:
    findings, budget = facts.evidence.findings, facts.evidence.budget
    assert findings is not None
    assert budget is not None
    (sheet,) = tables(pages, "Findings")
    found = findings.sheet.filter(pl.col("area") != "identity and papers").select("title", "state").rows()
    assert [row[1:3] for row in sheet.rows if row[0] != "identity and papers"] == found
    assert [row[1] for row in sheet.rows] == findings.sheet["title"].to_list()
    (jobs,) = tables(pages, "The dearest jobs")
    into = facts.evidence.conversion.from_base
    assert budget.currency == facts.base_currency
    assert jobs.rows[-1] == ("All repairs expected", "", words.about(into(budget.expected), "GBP"))
    (chances,) = tables(pages, "Chance of each condition band")
    assert {row[0]: row[1] for row in chances.rows} == {
        band: words.share(share) for band, share in findings.bands.items()
    }
    assert words.about(into(budget.p50), "GBP") in texts(pages)


def test_the_interval_of_the_median_is_printed_as_it_is(pages: Pages, facts: Facts) -> None:
    study = facts.evidence.ratios
    assert study is not None
    assert study.median_ratio_interval is not None
    (table,) = tables(pages, "Ratio study")
    low, high = study.median_ratio_interval
    assert table.rows[1] == ("Median ratio", f"{study.median_ratio:.3f}", f"{low:.3f} to {high:.3f}")
    assert "exact" in texts(pages)


def test_assumptions_stand_where_they_cannot_be_overlooked(pages: Pages) -> None:
    warnings = [block for block in pages.blocks if isinstance(block, Statement) and block.manner == "warning"]
    assert [block.text for block in warnings] == [
        "Assumption Rho. Condition Sigma.", "repair prices of 2026-06-30. Newer Accounted", "Gathered Later",
    ]  # fmt: skip
    assert list(pages.blocks).index(warnings[0]) < 8


def test_no_assumptions_give_no_warning(entry: Entry, words: LocaleWords) -> None:
    record = with_answer(entry.record, "conditions.extraordinary", "None.")
    record = with_answer(record, "conditions.hypothetical", "none")
    pages = report(facts_of(replace(entry, record=record)), words)
    titles = [block.title for block in pages.blocks if isinstance(block, Statement)]
    assert not [title for title in titles if "assumptions" in title]


def test_what_is_open_is_said_in_the_draft_itself(entry: Entry, words: LocaleWords) -> None:
    assert "Still open" not in texts(report(facts_of(entry), words))
    record = with_answer(entry.record, "assignment.scope", "")
    record = with_answer(record, "inspection.on", "2026-11-20")
    said = texts(report(facts_of(replace(entry, record=record)), words))
    assert "Missing: scope of work." in said
    assert "The inspection (2026-11-20) is after the report date (2026-11-02)." in said


def test_what_the_valuer_certified_is_printed_as_answered(entry: Entry, words: LocaleWords) -> None:
    said = texts(report(facts_of(replace(entry, record=appraisals.completed(entry.record))), words))
    assert "Answer bias" in said and "As answered by Valuer Phi and nobody else" in said


def test_it_never_oversteps(entry: Entry, words: LocaleWords) -> None:
    done = appraisals.completed(entry.record)
    for record in (entry.record, done, as_model_report(entry.record)):
        facts = facts_of(replace(entry, record=record))
        for write in (report, statement, letter):
            said = texts(write(facts, words)).casefold()
            assert not [phrase for phrase in NEVER if phrase in said]


def as_model_report(record: Appraisal) -> Appraisal:
    return with_answer(with_answer(record, "assignment.kind", "model report"), "opinion.figure", "")


def test_a_draft_says_so_on_every_page_until_the_valuer_has_completed_it(
    entry: Entry, pages: Pages, words: LocaleWords
) -> None:
    assert pages.title == "Draft appraisal"
    assert pages.mark.startswith("Draft for a qualified valuer")
    done = appraisals.completed(entry.record)
    completed = report(facts_of(replace(entry, record=done)), words)
    assert (completed.title, completed.mark) == ("Appraisal", "")
    assert completed.cover is not None
    assert "only with the valuer's own signature by hand" in completed.cover.statement


def test_the_model_alone_is_a_model_report(entry: Entry, words: LocaleWords) -> None:
    pages = report(facts_of(replace(entry, record=as_model_report(entry.record))), words)
    said = texts(pages)
    assert pages.title == "Model report"
    assert "not an appraisal" in pages.mark
    assert "There is no opinion of value here" in said
    assert "Certification" not in said
    assert not [block for block in pages.blocks if isinstance(block, Blanks)]


def test_the_certification_is_empty_fields(pages: Pages) -> None:
    blanks = [block for block in pages.blocks if isinstance(block, Blanks)]
    labels = [label for block in blanks for label in block.labels]
    assert len(labels) == 11
    assert labels[-3:] == ["Signature", "Name and qualifications", "Place and date"]
    assert "Valuer Phi" not in "".join(labels)


@pytest.mark.parametrize(
    ("lost", "words_there"),
    [
        ({"comparables": None, "missing": {"comparables": "too few sales"}}, "gives no value: too few sales"),
        (
            {"index": None, "missing": {"index": "too few sales"}},
            "No price index can be given: too few sales",
        ),
        ({"ratios": None}, "Annex C: Inspection sheet"),
        ({"findings": None, "budget": None}, "No inspection sheet belongs to this record"),
    ],
)
def test_what_is_missing_from_the_evidence_is_said(
    entry: Entry, words: LocaleWords, lost: dict[str, Any], words_there: str
) -> None:
    assert entry.evidence is not None
    without = replace(entry, evidence=replace(entry.evidence, **lost))
    pages = report(facts_of(without), words)
    assert words_there in texts(pages)
    assert {block.name for block in pages.blocks if isinstance(block, Figure)} == set(pages.pictures)


def test_no_range_is_said_with_its_reason(entry: Entry, words: LocaleWords) -> None:
    assert entry.evidence is not None
    none = replace(
        entry.evidence.valuation, low=None, mid=None, high=None, reason="too few sales of the make"
    )
    pages = report(facts_of(replace(entry, evidence=replace(entry.evidence, valuation=none))), words)
    assert "No range can be given: too few sales of the make." in texts(pages)
    assert "distribution" not in pages.pictures


def test_amounts_and_days_are_written_as_the_locale_does(facts: Facts) -> None:
    swiss = texts(report(facts, LocaleWords.of("de_CH")))
    assert format_decimal(7350, locale="de_CH") in swiss  # the apostrophe is another in newer data of Unicode
    assert "2. November 2026" in swiss


def test_a_draft_can_be_looked_at_from_the_first_answer_on(entry: Entry, words: LocaleWords) -> None:
    """With no more than what evidence is gathered from."""
    asked, car = entry.record.assignment, entry.record.subject
    bare = read_record(
        {"assignment": {"market_level": asked.market_level, "currency": asked.currency,
                        "effective_date": asked.effective_date},
         "subject": {"make": car.make, "model": car.model, "variant": car.variant, "year": car.year}}
    )  # fmt: skip
    facts = facts_of(replace(entry, record=bare))
    for form in (report, statement, letter):
        assert "Draft" in form(facts, words).mark
    assert "Missing: client." in texts(report(facts, words))


def test_earlier_sales_of_the_car_itself_have_a_section(entry: Entry, words: LocaleWords) -> None:
    none = texts(report(facts_of(entry), words))
    assert "No sale or offer of chassis number CH-55-Nu stands in the records up to" in none
    assert entry.evidence is not None
    sale = entry.evidence.valuation.sales.head(1)
    known = {name: sale[name] for name in TOLD if name in sale.columns}
    rest = {name: None for name in TOLD if name not in known}
    own = pl.DataFrame(known | rest).select(TOLD).with_columns(
        outcome=pl.lit("sold"), channel=pl.lit("auction"), amount=pl.lit(Decimal("6100.000")),
        currency=pl.lit("GBP"), price_basis=pl.lit("hammer"),
    )  # fmt: skip
    said = with_answer(entry.record, "opinion.earlier_sales", "Sold before its restoration")
    found = facts_of(replace(entry, record=said, evidence=replace(entry.evidence, own_sales=own)))
    pages = report(found, words)
    (table,) = tables(pages, "Earlier sales and offers of the car itself")
    assert table.rows[0][2] == "GBP 6,100, hammer"
    assert table.rows[0][-1] == f"{sale['source'][0]}: {sale['source_ref'][0]}"
    assert "Sold before its restoration" in texts(pages)
    unnamed = facts_of(replace(entry, evidence=replace(entry.evidence, own_sales=None)))
    assert "not looked for" in texts(report(unnamed, words))


def test_a_difference_of_premise_is_printed_in_numbers_with_what_it_rests_on(
    entry: Entry, words: LocaleWords
) -> None:
    record = with_answer(entry.record, "assignment.premise", "forced sale")
    for name, answer in (("premise_per_cent", "-35"), ("premise_rests_on", "stated judgement"),
                         ("premise_change", "Sold within a week")):  # fmt: skip
        record = with_answer(record, f"assignment.{name}", answer)
    facts = facts_of(replace(entry, record=record))
    pages = report(facts, words)
    assert "35.0% on sales as recorded (stated judgement): Sold within a week" in texts(pages)
    (table,) = tables(pages, "Range of the price model")
    assert table.rows[1][0].startswith("Private, forced sale")
    for short in (letter(facts, words), statement(facts, words)):
        assert "35.0% on sales as recorded" in texts(short)


def test_no_interval_mixes_factors_and_per_cents(pages: Pages) -> None:
    (terms,) = tables(pages, "What makes up")
    intervals = [row[2] for row in terms.rows if " to " in row[2]]
    assert intervals
    for cell in intervals:
        low, _, high = cell.partition(" to ")
        assert low.startswith("x ") == high.startswith("x ")


def test_amounts_for_the_client_are_in_the_client_s_currency(pages: Pages, facts: Facts) -> None:
    assert facts.currency != facts.base_currency
    for name in ("comparables", "distribution", "terms"):
        drawn = repr(pages.pictures[name])
        assert f"price ({facts.currency}, all-in)" in drawn and facts.base_currency not in drawn
    brought = valued_for(facts.evidence)
    into = facts.evidence.conversion.from_base
    assert facts.evidence.valuation.mid is not None
    assert brought.mid == into(facts.evidence.valuation.mid)
    start, end = brought.distribution["from_price"][0], brought.distribution["to_price"][-1]
    assert start < float(brought.low or 0) < float(brought.high or 0) < end
    rate = float(into(Decimal(1_000_000))) / 1e6
    product = math.prod(facts.evidence.valuation.terms["factor"])
    assert math.prod(brought.terms["factor"]) == pytest.approx(product * rate, rel=1e-4)
    (asked,) = [block.text for block in pages.blocks
                if isinstance(block, Paragraph) and "an asking price is a ceiling" in block.text]  # fmt: skip
    assert facts.opinion is not None and facts.evidence.comparables is not None
    ceilings = facts.evidence.comparables.offers.filter(pl.col("meaning") == "ceiling")["adjusted_price"]
    figures = [facts.evidence.conversion.from_base(price) for price in ceilings.drop_nulls()]
    below = sum(figure < facts.opinion[0] for figure in figures)
    assert (f"The opinion is above {below} of the {len(figures)}" if below else "not above it") in asked
