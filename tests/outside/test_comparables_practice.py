"""The comparable-sales approach against worked examples of published guides and exact intervals.

Sources: published guides to comparable-sales adjustment (transactional adjustments in sequence, each on the
price already adjusted; summed against multiplied, recomputed here); IAAO Standard on Ratio Studies, 2013
(COD); exact ranks of the interval of a median, from Bin(n, 1/2) (recomputed here).
"""

from datetime import date

import numpy as np
import polars as pl
import pytest

from pricing.car import typed_frame
from pricing.evidence.comparison.adjustments import adjustment_lines
from pricing.evidence.comparison.reconciliation import weighted_median
from pricing.model.accuracy.ratio_study import median_rank

AT = date(2024, 6, 30)
CAR = {"make": "Ash", "model": "One", "year": 1960}


def _lines(price: float, per_cents: list[float]) -> pl.DataFrame:
    sale = pl.DataFrame(
        {
            "record_id": ["r"], "event_date": [AT], "amount": [price], "price": [price], "currency": ["EUR"],
            "price_basis": ["all-in"], "premium": [None], "make": ["Ash"], "model": ["One"],
            "variant": [None], "options": [[]],
        },
        schema_overrides={"premium": pl.Float64, "variant": pl.String, "options": pl.List(pl.String)},
    )  # fmt: skip
    names = tuple(f"line {k}" for k in range(len(per_cents)))
    logs = np.log1p(np.array([per_cents]) / 100)
    return adjustment_lines(
        sale, typed_frame(pl.DataFrame([CAR]), AT), logs, names, at=AT, currency="EUR",
        model_source="example", choices={},
    )  # fmt: skip


def test_sequential_adjustment_example() -> None:
    """100,000 +2,000, then +5,000 on the 102,000 -> 107,000."""
    lines = _lines(100_000.0, [2.0, 100 * 5_000 / 102_000]).filter(pl.col("step") >= 2)
    assert lines["money"].cast(pl.Float64).to_list() == [2_000.0, 5_000.0]
    assert lines["price_after"].cast(pl.Float64).to_list() == [102_000.0, 107_000.0]


def test_multiplied_not_summed() -> None:
    """On 115,500, -8 % +5 % -10 %: summed 100,485.00, multiplied 100,415.70. Here they multiply."""
    lines = _lines(115_500.0, [-8.0, 5.0, -10.0])
    assert float(lines["price_after"][-1]) == 100_415.70
    assert 115_500 * (1 - 0.13) == pytest.approx(100_485.00)


def test_a_comparable_ten_per_cent_better_is_divided() -> None:
    """Adjust the comparable towards the subject: 10 % better -> / 1.10, -9.09 %."""
    lines = _lines(110_000.0, [100 * (1 / 1.10 - 1)]).filter(pl.col("step") >= 2)
    assert float(lines["price_after"][0]) == 100_000.0
    assert round(lines["per_cent"][0], 2) == -9.09


@pytest.mark.parametrize(
    ("n", "low", "high"),
    [
        (6, 1, 6),
        (9, 2, 8),
        (12, 3, 10),
        (15, 4, 12),
        (17, 5, 13),
        (20, 6, 15),
        (25, 8, 18),
        (30, 10, 21),
        (36, 12, 25),
    ],
)
def test_exact_ranks_of_the_interval_of_a_median(n: int, low: int, high: int) -> None:
    assert median_rank(n) == low
    assert n + 1 - low == high


def test_no_interval_of_a_median_from_five() -> None:
    assert median_rank(5) is None


@pytest.mark.parametrize("size", [1, 3, 7, 15])
def test_the_weighted_median_of_equal_weights_is_the_median(size: int) -> None:
    values = np.random.default_rng(size).normal(size=(40, size))
    assert weighted_median(values, np.ones_like(values)) == pytest.approx(np.median(values, axis=1))


def test_the_weighted_median_is_that_of_repeated_values() -> None:
    """A weight of three is the value three times (numpy), at the middle of the repeats."""
    assert weighted_median(np.array([[1.0, 2.0, 9.0]]), np.array([[1.0, 5.0, 1.0]])).item() == 2.0
    assert np.median([1.0, *[2.0] * 5, 9.0]) == 2.0


def test_one_wrong_price_hardly_moves_the_value() -> None:
    values = np.linspace(9.0, 9.2, 11)[None]
    wrong = values.copy()
    wrong[0, -1] += np.log(10)
    assert weighted_median(wrong, np.ones_like(wrong)) == pytest.approx(
        weighted_median(values, np.ones_like(values))
    )
    assert wrong.mean() - values.mean() > 0.2
