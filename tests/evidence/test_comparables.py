from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.car import Car
from pricing.car_fields import FIELDS
from pricing.errors import EvidenceError, PricingError
from pricing.evidence.comparison.adjustments import CONDITIONS, GROSS_LIMIT, LINE_LIMIT, NET_LIMIT
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.comparables import Comparables, find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.evidence.comparison.sale_features import MOST_GROSS, YEAR, unlikeness
from pricing.vocabulary import CONDITION_BANDS, OPTION_CODES
from tests.cars import car_of
from tests.evidence.markets import TODAY, small_book, small_market, small_model


def a_car(place: int = 0) -> dict[str, Any]:
    """A graded car of the model with the most sales."""
    sales = small_book().sales.filter(pl.col("condition_band") == "average")
    most = sales.group_by("make", "model").len().sort("len", "model", descending=True).row(0)
    return (
        sales.filter(pl.col("make") == most[0], pl.col("model") == most[1])
        .select(list(FIELDS))
        .row(place, named=True)
    )


def the_car() -> Car:
    return car_of(small_book().sales, a_car())


@pytest.fixture(scope="module")
def found() -> Comparables:
    return find_comparables(small_book(), the_car(), as_of=TODAY)


def test_lines_multiply_to_the_adjusted_price(found: Comparables) -> None:
    product = found.lines.filter(pl.col("step") >= 2).group_by("record_id").agg(pl.col("factor").product())
    joined = found.table.join(product, on="record_id")
    adjusted = joined["price"].cast(pl.Float64) * joined["factor"]
    assert joined["adjusted_price"].cast(pl.Float64).to_list() == pytest.approx(adjusted.to_list(), abs=0.006)


def test_money_lines_add_up_to_the_cent(found: Comparables) -> None:
    money = found.lines.filter(pl.col("step") >= 2).group_by("record_id").agg(pl.col("money").sum())
    joined = found.table.join(money, on="record_id")
    assert (joined["price"] + joined["money"]).to_list() == joined["adjusted_price"].to_list()


def test_lines_come_in_the_order_of_the_trade(found: Comparables) -> None:
    first = found.lines.filter(pl.col("record_id") == found.table["record_id"][0])
    assert first["line"][:6].to_list() == [
        "price basis", "currency", CONDITIONS, "date", "variant", "condition"
    ]  # fmt: skip
    assert first["step"].is_sorted()
    assert found.lines["source"].null_count() == 0


def test_what_is_or_is_not_is_said_as_yes_or_no() -> None:
    car = a_car() | {"history_file": False, "options": ["overdrive"]}
    found = find_comparables(small_book(), car_of(small_book().sales, car), as_of=TODAY)
    records = small_book().sales.select("record_id", "history_file", "options")
    lines = found.lines.join(records, on="record_id")
    words = {True: "yes", False: "no", None: None}
    history = lines.filter(pl.col("line") == "history_file")
    assert history["comparable"].to_list() == [words[said] for said in history["history_file"]]
    assert set(history["subject"]) == {"no"}
    overdrive = lines.filter(pl.col("line") == "overdrive")
    assert overdrive["comparable"].to_list() == [
        words["overdrive" in options] for options in overdrive["options"]
    ]
    assert set(overdrive["subject"]) == {"yes"}
    assert min(history.height, overdrive.height) > 0


def test_what_is_equal_in_both_cars_gives_no_line(found: Comparables) -> None:
    lines = found.lines.filter(pl.col("step") >= 4)
    same = lines.filter(pl.col("comparable").eq_missing(pl.col("subject")), pl.col("line") != "condition")
    assert same["factor"].to_list() == pytest.approx([1.0] * len(same))


def test_adjustments_are_the_models_differences(found: Comparables) -> None:
    """The lines of the cars multiply to the ratio of the model's mid prices (trees and calibration aside)."""
    model, indexed = small_model(), small_book()
    sales = indexed.sales.filter(pl.col("record_id").is_in(found.table["record_id"].to_list()))
    cars = pl.concat([found.subject, sales.select(found.subject.columns)])
    terms = model.distribution(cars.with_columns(event_date=pl.lit(TODAY))).terms()
    kept = terms.filter(pl.col("term") != "interactions")
    mids = kept.group_by("row", maintain_order=True).agg(pl.col("factor").product())
    ratios = sorted((mids["factor"][0] / mids["factor"][1:]).to_list())
    lines = found.lines.filter(pl.col("step") >= 4).group_by("record_id").agg(pl.col("factor").product())
    assert sorted(lines["factor"].to_list()) == pytest.approx(ratios, rel=1e-9)


def test_an_equal_car_needs_its_date_only() -> None:
    indexed = small_book()
    sold = indexed.sales.filter(pl.col("condition_band") == "average", pl.col("record_id").is_in(
        find_comparables(indexed, the_car(), as_of=TODAY).table["record_id"].to_list()))  # fmt: skip
    row = sold.row(0, named=True)
    twin = find_comparables(indexed, car_of(indexed.sales, {name: row[name] for name in FIELDS}), as_of=TODAY)
    lines = twin.lines.filter(pl.col("record_id") == row["record_id"], pl.col("step") >= 2)
    assert lines.filter(pl.col("line") != "date")["factor"].to_list() == pytest.approx(
        [1.0] * (len(lines) - 1)
    )


def test_nearest_sales_are_chosen_and_the_rest_accounted_for() -> None:
    """Beside a brute-force search over the whole market with the exact differences."""
    indexed, car = small_book(), a_car()
    got = find_comparables(indexed, car_of(indexed.sales, car), as_of=TODAY, count=5)
    subject = indexed.effects.encode(got.subject, TODAY)
    match_level = indexed.at_level(0, (car["make"], car["model"], car["variant"]))
    if match_level.stop - match_level.start < 5:
        match_level = indexed.at_level(1, (car["make"], car["model"]))
    rows = np.arange(match_level.start, match_level.stop)
    day = np.full(len(rows), float((TODAY - date(1970, 1, 1)).days))
    lines = indexed.effects.differences(subject, indexed.effects.encode(indexed.sales[rows], TODAY))
    gross = np.abs(lines).sum(axis=1) + np.abs(indexed.dates.between(indexed.days[rows], day))
    score = unlikeness(gross, indexed.cost[rows], (day - indexed.days[rows]) / YEAR)
    best = indexed.sales["record_id"][
        rows[np.argsort(np.where(gross <= MOST_GROSS, score, np.inf))[:5]]
    ].to_list()
    assert len(set(best) & set(got.table["record_id"].to_list())) >= 4  # the shortlist is approximate
    make = indexed.at_level(2, (car["make"],))
    assert got.table.height + got.left_out["sales"].sum() == make.stop - make.start


def test_weights_add_up_and_fall_with_adjustment(found: Comparables) -> None:
    assert found.table["weight"].sum() == pytest.approx(1.0)
    graded = found.table.filter(pl.col("evidence") == "sale of a graded car")
    ungraded = found.table.filter(pl.col("evidence") != "sale of a graded car")
    if ungraded.height:
        assert ungraded["weight"].max() < graded["weight"].max()  # type: ignore[operator]


def test_flags_follow_the_rules_of_thumb(found: Comparables) -> None:
    for row in found.table.iter_rows(named=True):
        lines = found.lines.filter(pl.col("record_id") == row["record_id"], pl.col("step") >= 2)
        expected = [
            f"{line} over 10%" for line in lines.filter(pl.col("per_cent").abs() > LINE_LIMIT)["line"]
        ]
        expected += ["net over 15%"] * (abs(row["net_per_cent"]) > NET_LIMIT)
        expected += ["gross over 25%"] * (row["gross_per_cent"] > GROSS_LIMIT)
        assert row["flags"] == expected


def test_the_value_lies_among_the_adjusted_prices(found: Comparables) -> None:
    adjusted = found.table["adjusted_price"]
    assert adjusted.min() <= found.mid <= adjusted.max()  # type: ignore[operator]
    assert found.low is not None and found.high is not None
    assert found.low < found.mid < found.high
    assert all(isinstance(amount, Decimal) for amount in (found.low, found.mid, found.high))


def test_offers_have_no_weight(found: Comparables) -> None:
    frame = small_market()[0]
    louder = frame.with_columns(
        price=pl.when(pl.col("outcome") == "asking").then(pl.col("price") * 9).otherwise("price")
    )
    again = find_comparables(ComparablesIndex.build(louder, small_model()), the_car(), as_of=TODAY)
    assert (again.low, again.mid, again.high) == (found.low, found.mid, found.high)
    assert set(found.offers["meaning"]) <= {"ceiling", "floor"}


def test_no_later_sale_is_used() -> None:
    early = date(2021, 6, 30)
    found = find_comparables(small_book(), the_car(), as_of=early)
    assert found.table["event_date"].max() <= early  # type: ignore[operator]
    assert "sold after the effective date" in found.left_out["reason"].to_list()


def test_a_person_drops_adds_and_adjusts_with_a_reason(found: Comparables) -> None:
    indexed = small_book()
    out, moved = found.table["record_id"][0], found.table["record_id"][1]
    far = indexed.sales.filter(~pl.col("record_id").is_in(found.table["record_id"].to_list()),
                            pl.col("event_date") <= TODAY)["record_id"][0]  # fmt: skip
    choices = [
        Choice(out, "drop", "repainted the week before"),
        Choice(far, "add", "the owner asked for it"),
        Choice(moved, "adjust", "sold in haste", line=CONDITIONS, per_cent=8.0),
    ]
    got = find_comparables(indexed, the_car(), as_of=TODAY, choices=choices)
    assert out not in got.table["record_id"].to_list()
    assert f"dropped: {choices[0].reason}" in got.left_out["reason"].to_list()
    assert got.table.filter(pl.col("record_id") == far)["chosen"].to_list() == ["the owner asked for it"]
    line = got.lines.filter(pl.col("record_id") == moved, pl.col("line") == CONDITIONS).row(0, named=True)
    assert line["per_cent"] == pytest.approx(8.0)
    assert line["source"] == "own judgement: sold in haste"
    assert got.choices == tuple(choices)


def test_wrong_choices_are_refused() -> None:
    with pytest.raises(EvidenceError, match="no such sale"):
        find_comparables(small_book(), the_car(), choices=[Choice("absent", "drop", "why not")])
    with pytest.raises(EvidenceError, match="no line 'colour' to adjust; the lines are: conditions of sale"):
        name = small_book().sales["record_id"][0]
        choice = Choice(name, "adjust", "green", line="colour", per_cent=1.0)
        find_comparables(small_book(), the_car(), choices=[choice])


def test_bracketing_is_checked() -> None:
    outcomes = set()
    for row in (
        small_book()
        .sales.filter(pl.col("condition_band") == "top condition")
        .select(list(FIELDS))
        .iter_rows(named=True)
    ):
        try:
            found = find_comparables(
                small_book(), car_of(small_book().sales, row | {"odometer_km": 1000.0}), as_of=TODAY, count=4
            )
        except EvidenceError:
            continue
        lines = found.lines.filter(pl.col("step") >= 4)
        toward = lines.group_by("record_id").agg(pl.col("factor").product())["factor"]
        assert found.bracketed == bool((toward < 1).any() and (toward > 1).any())
        outcomes.add(found.bracketed)
        if len(outcomes) == 2:
            return
    pytest.fail(f"all cars alike: {outcomes}")


def test_dates_and_numbers_out_of_reach_are_refused() -> None:
    with pytest.raises(EvidenceError, match="no sale is on record by 1999-01-01; the first is of 2016-07"):
        find_comparables(small_book(), the_car(), as_of=date(1999, 1, 1))
    with pytest.raises(EvidenceError, match="no sale is on record by 1999-01-01; the first is of 2016-07"):
        ComparablesIndex.build(small_market()[0], small_model(), as_of=date(1999, 1, 1))
    with pytest.raises(EvidenceError, match="needs 3 comparables at least; got 2"):
        find_comparables(small_book(), the_car(), count=2)
    with pytest.raises(EvidenceError, match="coverage lies strictly between"):
        find_comparables(small_book(), the_car(), coverage=1.0)


@settings(max_examples=30, deadline=None)
@given(
    row=st.integers(0, 500), band=st.sampled_from([None, *CONDITION_BANDS]),
    km=st.one_of(st.none(), st.floats(0, 1e6)), score=st.one_of(st.none(), st.floats(0, 100)),
    days=st.integers(0, 4000),
    options=st.lists(st.sampled_from(OPTION_CODES), unique=True, max_size=6), count=st.integers(3, 30),
)  # fmt: skip
def test_any_car_is_valued_or_refused_in_a_sentence(
    row: int,
    band: str | None,
    km: float | None,
    score: float | None,
    days: int,
    options: list[str],
    count: int,
) -> None:
    sales = small_book().sales
    car = sales.select(list(FIELDS)).row(row % len(sales), named=True)
    car |= {"condition_band": band, "odometer_km": km, "condition_score": score, "options": options}
    at = date.fromordinal(TODAY.toordinal() - days)
    try:
        found = find_comparables(small_book(), car_of(small_book().sales, car), as_of=at, count=count)
    except PricingError as error:
        assert "\n" not in str(error)
        return
    assert 3 <= found.table.height <= count
    assert found.low is not None and found.high is not None
    assert 0 < found.low <= found.mid <= found.high
