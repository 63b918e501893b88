"""The facts, as numbers."""

from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import polars as pl
import pytest

from pricing.appraisal.facts import APPRAISAL, DRAFT, MODEL_REPORT, Facts, facts_of
from pricing.appraisal.record.record import with_answer
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError
from tests.appraisals import completed

CENT = Decimal("0.01")


@pytest.fixture(scope="module")
def facts(entry: Entry) -> Facts:
    return facts_of(entry)


def test_figures_are_the_evidence_at_the_rate_of_the_day(facts: Facts) -> None:
    assert (facts.base_currency, facts.currency) == ("EUR", "GBP")
    assert facts.translated
    money = facts.evidence.conversion
    for span in (facts.model, facts.comparables):
        assert span is not None
        for base, figure in zip(span.base, span.figures, strict=True):
            assert figure == (base * money.units / money.base_units).quantize(CENT, ROUND_HALF_UP)
    found = facts.evidence.valuation
    assert facts.model is not None
    assert facts.model.base == (found.low, found.mid, found.high)
    assert facts.evidence.conversion.rate_date <= facts.evidence.valuation.as_of


def test_a_hammer_price_is_the_part_before_the_premium(entry: Entry, facts: Facts) -> None:
    record = with_answer(entry.record, "assignment.market_level", "auction hammer")
    record = with_answer(record, "assignment.premium_per_cent", "20")
    hammer = facts_of(replace(entry, record=with_answer(record, "assignment.currency", "GBP")))
    assert hammer.model is not None
    assert facts.model is not None
    for all_in, below in zip(facts.model.figures, hammer.model.figures, strict=True):
        assert abs(below * Decimal("1.2") - all_in) <= 2 * CENT
    assert hammer.standing is not None
    assert facts.standing is not None
    assert hammer.standing >= facts.standing  # the same figure stands for more money


def test_adjustments_and_weights_add_up(facts: Facts) -> None:
    assert facts.grid.height >= 3
    assert facts.grid["number"].to_list() == list(range(1, facts.grid.height + 1))
    for row in facts.grid.iter_rows(named=True):
        lines = facts.lines.filter(pl.col("record_id") == row["record_id"], pl.col("step") >= 2)
        assert row["price"] + sum(lines["money"].to_list()) == row["adjusted_price"]
        assert row["net_money"] == sum(lines["money"].to_list())
    assert sum(facts.grid["weight"].to_list()) == pytest.approx(1.0, abs=1e-12)


def test_adjustments_that_do_not_add_up_are_refused(entry: Entry) -> None:
    found = entry.evidence
    assert found is not None
    assert found.comparables is not None
    bent = found.comparables.lines.with_columns(
        pl.when(pl.col("line") == "date").then(pl.col("money") + CENT).otherwise("money").alias("money")
    )
    wrong = replace(found, comparables=replace(found.comparables, lines=bent))
    with pytest.raises(AppraisalError, match="do not add up"):
        facts_of(replace(entry, evidence=wrong))


def test_the_opinion_is_the_valuers_and_stands_among_like_cars(entry: Entry, facts: Facts) -> None:
    assert facts.opinion == (Decimal(7350), Decimal(7350))
    record = with_answer(with_answer(entry.record, "opinion.figure", ""), "opinion.low", "7000")
    ranged = facts_of(replace(entry, record=with_answer(record, "opinion.high", "7700")))
    assert ranged.opinion == (Decimal(7000), Decimal(7700))
    assert ranged.standing == facts.standing
    assert facts.model is not None
    shares = []
    for figure in facts.model.figures:
        asked = facts_of(replace(entry, record=with_answer(entry.record, "opinion.figure", str(figure))))
        assert asked.standing is not None
        shares.append(asked.standing)
    assert shares == pytest.approx([0.1, 0.5, 0.9], abs=0.02)


def test_the_title_says_what_the_document_is(entry: Entry) -> None:
    assert facts_of(entry).title == DRAFT
    done = completed(entry.record)
    assert facts_of(replace(entry, record=done)).title == APPRAISAL
    alone = with_answer(with_answer(done, "assignment.kind", "model report"), "opinion.figure", "")
    report = facts_of(replace(entry, record=alone))
    assert (report.title, report.opinion, report.standing) == (MODEL_REPORT, None, None)


def test_the_annex_lists_every_sale_used_once(facts: Facts) -> None:
    found = facts.evidence.comparables
    assert found is not None
    assert not facts.annex.select("source", "source_ref", "event_date").is_duplicated().any()
    assert facts.annex["line"].to_list() == list(range(1, facts.annex.height + 1))
    listed = set(facts.annex.select("source", "source_ref").rows())
    for used in (found.table, found.offers, facts.evidence.valuation.sales):
        assert set(used.select("source", "source_ref").rows()) <= listed
    assert facts.annex["used_as"][0] == "comparable"
    assert facts.annex.filter(pl.col("used_as") == "comparable").height == facts.grid.height
    assert facts.annex["event_date"].null_count() == 0


def test_without_comparables_the_model_stands_alone(entry: Entry) -> None:
    found = entry.evidence
    assert found is not None
    alone = facts_of(
        replace(entry, evidence=replace(found, comparables=None, missing={"comparables": "too few"}))
    )
    assert alone.comparables is None
    assert alone.grid.is_empty()
    assert alone.model is not None
    assert set(alone.annex["used_as"]) == {"shown"}


def test_the_printed_index_is_the_one_that_moved_the_grid(facts: Facts) -> None:
    """Each comparable's date line is the ratio of two readings of the index that tables and letter show."""
    index, found = facts.evidence.index, facts.evidence.comparables
    assert index is not None and found is not None
    days = index.frame["day"].to_numpy()
    logs = np.log(index.frame["index"].to_numpy())
    lines = found.lines.filter(pl.col("line") == "date").join(
        found.table.select("record_id", "event_date"), on="record_id"
    )
    then = np.interp(lines["event_date"].to_physical().to_numpy(), days, logs)
    now = np.interp((found.as_of - date(1970, 1, 1)).days, days, logs)
    assert np.allclose(np.log(lines["factor"].to_numpy()), now - then)
    assert (index.frame["low"] <= index.frame["index"]).all()
    assert index.frame["low"].null_count() == 0
