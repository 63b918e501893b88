"""What a collection comes to: identities of the total, and what must not be in it."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.appraisal.collection_total import MOST_OFF, SoldTogether, Total, market_variance
from pricing.appraisal.facts import Facts
from pricing.appraisal.figures import Span
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError
from pricing.model.calibration.market_shift import DAYS_A_YEAR


def car(facts: Facts, mid: float, width: float, model: str) -> Facts:
    """Facts of a car with a range of its own and no opinion."""
    low, middle, high = (Decimal(round(mid * np.exp(end))) for end in (-width, 0.0, 1.2 * width))
    span = Span((low, middle, high), (low, middle, high))
    subject = replace(facts.record.subject, model=model)
    return replace(facts, model=span, opinion=None, record=replace(facts.record, subject=subject))


@settings(max_examples=30)
@given(
    st.lists(st.tuples(st.floats(800, 90_000), st.floats(0.05, 0.8), st.sampled_from("ABC")), min_size=1),
    st.integers(0, 5),
)
def test_the_range_of_the_total_is_in_order_and_no_wider_than_its_cars(
    facts: Facts, said: list[tuple[float, float, str]], seed: int
) -> None:
    cars = [car(facts, mid, width, model) for mid, width, model in said]
    total = Total.of(cars, seed=seed)
    figures = [one.model.figures for one in cars if one.model]
    assert total.added == sum(middle for _, middle, _ in figures)
    assert total.low <= total.mid <= total.high
    lows, highs = (sum(end[place] for end in figures) for place in (0, 2))
    assert float(total.low) >= 0.97 * float(lows) and float(total.high) <= 1.03 * float(highs)
    assert total == Total.of(cars, seed=seed)
    dearer = Total.of([*cars, car(facts, 5_000, 0.3, "A")], seed=seed)
    assert dearer.added == total.added + 5_000 and dearer.low > total.low


def test_one_car_has_its_own_range(facts: Facts) -> None:
    one = car(facts, 10_000, 0.3, "A")
    assert one.model is not None
    total = Total.of([one])
    for drawn, own in zip((total.low, total.mid, total.high), one.model.figures, strict=True):
        assert float(drawn) == pytest.approx(float(own), rel=0.03)


def test_cars_of_one_model_spread_risk_less_than_cars_of_many(facts: Facts) -> None:
    same = Total.of([car(facts, 10_000, 0.3, "A") for _ in range(40)])
    apart = Total.of([car(facts, 10_000, 0.3, f"{nth}") for nth in range(40)])
    assert same.high - same.low > 3 * (apart.high - apart.low)


def test_a_market_that_moved_since_the_last_sale_moves_all_cars(facts: Facts) -> None:
    """Half of the variance is the market's: then forty models spread little more than one."""
    fit = facts.evidence.fit | {"market_shift": {"variance": 0.0274}, "last_date": "2025-06-30"}
    moved = replace(facts, evidence=replace(facts.evidence, fit=fit))
    days = (facts.evidence.valuation.as_of.toordinal() - 739432) / DAYS_A_YEAR
    assert market_variance(moved.evidence) == pytest.approx(0.0274 * days)
    apart = [car(facts, 10_000, 0.3, f"{nth}") for nth in range(40)]
    together = [car(moved, 10_000, 0.3, f"{nth}") for nth in range(40)]
    widths = [total.high - total.low for total in (Total.of(apart), Total.of(together))]
    assert widths[1] > 2 * widths[0]


def test_opinions_count_with_their_own_ends(facts: Facts) -> None:
    figure = replace(facts, opinion=(Decimal(5_000), Decimal(5_000)))
    total = Total.of([figure, figure])
    assert (total.added, total.low, total.high) == (10_000, 10_000, 10_000)
    ranged = replace(facts, opinion=(Decimal(4_000), Decimal(6_000)))
    total = Total.of([ranged])
    assert total.added == 5_000 and float(total.low) == pytest.approx(4_000, rel=0.02)


def test_what_is_not_valued_is_in_no_total(facts: Facts) -> None:
    assert Total.of([]).added == 0
    with pytest.raises(AppraisalError, match="a car without a value is in no total"):
        Total.of([replace(facts, model=None, opinion=None)])


def test_selling_all_at_once_is_a_judgement_with_a_reason(facts: Facts) -> None:
    one = car(facts, 10_000, 0.3, "A")
    total = Total.of([one], SoldTogether(Decimal("0.1"), "one sale room, one weekend"))
    assert total.less == tuple(end * Decimal("0.9") for end in (total.low, total.mid, total.high))
    assert Total.of([one]).less is None
    for share in (Decimal(0), MOST_OFF + 1, Decimal("NaN")):
        with pytest.raises(AppraisalError, match="a share above 0"):
            SoldTogether(share, "a reason")
    with pytest.raises(AppraisalError, match="needs its reason"):
        SoldTogether(Decimal("0.1"), "  ")


@pytest.fixture(scope="module")
def facts(entry: Entry) -> Facts:
    from pricing.appraisal.facts import facts_of

    return facts_of(entry)
