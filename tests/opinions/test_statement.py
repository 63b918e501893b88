from datetime import date
from typing import Any

import polars as pl
import pytest

from pricing.errors import OpinionError, TableError
from pricing.opinions.statement import TYPES, changes, checked, inversions
from tests.opinion_market import cells

TODAY = date(2026, 6, 1)
ONE = {"average": ("3000", "5000")}


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"holds": "most"}, "holds is one of: half, eight in ten, nearly all"),
        ({"holds": None}, "holds is missing"),
        ({"source": " "}, "source is missing"),
        ({"stated_on": "2026-06-02"}, "a day after today"),
        ({"stated_on": "May"}, "cannot be read: stated_on"),
        ({"currency": "EUX"}, "no code of ISO 4217"),
        ({"price_basis": "asking"}, "price_basis is one of: hammer, all-in, net"),
        ({"condition_score": "60"}, "the state is said once"),
        ({"year_from": "1970", "year_to": "1960"}, "the first year is after the last"),
        ({"year_from": "1700"}, "before the first motor car"),
        ({"channel": "fair"}, "channel is one of"),
        ({"country": "XQ"}, "no code of ISO 3166"),
        ({"middle": "6000"}, "the middle is between low and high"),
        ({"make": "x" * 501}, "longer than 500"),
    ],
)
def test_a_statement_that_cannot_be_is_refused_with_its_row(said: dict[str, Any], sentence: str) -> None:
    with pytest.raises(OpinionError, match="row 1: ") as refused:
        checked(cells(ONE, **said), TODAY)
    assert sentence in str(refused.value)


@pytest.mark.parametrize(
    ("span", "sentence"),
    [
        ((None, None), "low or high is needed"),
        (("5000", "3000"), "low is below high"),
        (("0", "3000"), "low absurd: expected 10 to 250,000,000"),
        (("cheap", "3000"), "cannot be read: low"),
    ],
)
def test_a_span_that_is_none_is_refused(span: tuple[str | None, str | None], sentence: str) -> None:
    with pytest.raises(OpinionError, match=sentence):
        checked(cells({"average": span}), TODAY)


def test_all_wrong_rows_are_counted_and_the_first_are_told() -> None:
    rows = pl.concat([cells(holds="most")] * 2)
    with pytest.raises(
        OpinionError, match="8 of 8 statements cannot be kept, and none was: row 1.*and 3 more"
    ):
        checked(rows, TODAY)


def test_columns_are_asked_for_by_name() -> None:
    with pytest.raises(TableError, match="a statement has no column colour"):
        checked(cells(colour="red"), TODAY)
    with pytest.raises(TableError, match="statements need the column holds"):
        checked(cells().drop("holds"), TODAY)


def test_either_end_may_be_left_open_and_a_score_stand_for_a_band() -> None:
    rows = pl.concat([cells({"average": ("3000", None)}), cells({"average": (None, "3000")})])
    assert checked(rows, TODAY)["low"].null_count() == 1
    scored = cells(ONE).with_columns(condition_band=pl.lit(None), condition_score=pl.lit("61.5"))
    assert checked(scored, TODAY)["condition_score"].to_list() == [61.5]


def kept(*parts: pl.DataFrame) -> pl.DataFrame:
    return checked(pl.concat(parts, how="diagonal"), TODAY)


def test_a_better_state_that_fetches_less_is_asked_again_each_source_apart() -> None:
    wrong = kept(cells({"average": ("3000", "5000"), "top condition": ("2000", "4000")}))
    (question,) = inversions(wrong)
    assert (
        question.source == "A. Rowe"
        and "'top condition' fetches less than one in 'average'" in question.sentence
    )
    two = kept(
        cells({"average": ("3000", "5000")}), cells({"top condition": ("2000", "4000")}, source="B. Lane")
    )
    assert inversions(two) == [] and inversions(kept(cells())) == []


def test_what_was_said_before_is_superseded_and_told_as_a_change() -> None:
    both = kept(
        cells({"average": ("3000", "5000"), "top condition": ("2000", "4000")}, stated_on="2025-01-01"),
        cells({"top condition": ("8000", "10000")}, stated_on="2026-01-01"),
    )
    assert inversions(both) == []
    (change,) = changes(both).iter_rows(named=True)
    assert (change["condition_band"], str(change["stated_on_before"])) == ("top condition", "2025-01-01")
    assert change["change"] == pytest.approx((80e6 / 8e6) ** 0.5 - 1.0)
    assert set(TYPES) <= set(both.columns)
