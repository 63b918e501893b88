"""Odd records: odometers that fall and prices far outside the car's range, against the demo market's own."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest

import data_demo
from pricing.intake.suspicions import find_suspicions
from pricing.store.market import Market

ROW: dict[str, Any] = {
    "record_id": "a", "chassis_number": "CV/1234", "make": "Corvane", "model": "Six", "year": 1968,
    "outcome": "sold",
    "event_date": date(2020, 5, 1), "odometer_km": 80_000.0, "price": 5000.0,
}  # fmt: skip


@dataclass
class Fixed:
    """A model that gives every car one range."""

    low: float | None = 4000.0

    def price_range(self, cars: pl.DataFrame, coverage: float) -> pl.DataFrame:
        """4,000 to 6,250 about 5,000, or none."""
        low = pl.lit(self.low, dtype=pl.Float64)
        return cars.select(low=low, mid=low * 1.25, high=low * 1.5625)


@pytest.mark.parametrize(
    ("price", "outcome", "reasons"),
    [
        (5000.0, "sold", []),
        (6500.0, "sold", []),
        (7000.0, "sold", ["price far above the car's range"]),
        (3000.0, "sold", ["price far below the car's range"]),
        (50_000.0, "asking", []),
        (None, "sold", []),
    ],
)
def test_a_price_far_outside_the_range_is_odd(price: float | None, outcome: str, reasons: list[str]) -> None:
    sales = pl.DataFrame([ROW | {"price": price, "outcome": outcome}], schema_overrides={"price": pl.Float64})
    assert find_suspicions(sales, Fixed())["reason"].to_list() == reasons
    assert find_suspicions(sales, Fixed(None)).is_empty()


@pytest.mark.parametrize(
    ("changes", "odd"),
    [
        ({"odometer_km": 31_000.0}, True),
        ({"odometer_km": 79_900.0}, False),
        ({"odometer_km": 90_000.0}, False),
        ({"odometer_km": None}, False),
        ({"odometer_km": 31_000.0, "model": "Four"}, False),
        ({"odometer_km": 31_000.0, "chassis_number": None}, False),
    ],
)
def test_an_odometer_that_falls_is_odd(changes: dict[str, Any], odd: bool) -> None:
    later = ROW | {"record_id": "b", "event_date": date(2022, 5, 1)} | changes
    found = find_suspicions(pl.DataFrame([later, ROW]))
    assert found["record_id"].to_list() == (["b"] if odd else [])


@pytest.mark.parametrize(
    ("number", "year", "odd"),
    [
        ("1M8GDM9AXKP042788", 1989, False),
        ("1m8gdm9a1kp042788", 1989, True),
        ("1M8GDM9A1KP042788", 1980, False),
        ("WM8GDM9A1KP042788", 1989, False),
        ("1M8GDM9A1KP04278", 1989, False),
    ],
)
def test_a_north_american_number_with_a_wrong_check_digit_is_odd(number: str, year: int, odd: bool) -> None:
    found = find_suspicions(pl.DataFrame([ROW | {"chassis_number": number, "year": year}]))
    assert found["reason"].to_list() == (["check digit differs"] if odd else [])


def test_the_demo_market_s_odometers(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "demo.duckdb")
    market.load(data_demo.files(), today=date(2026, 11, 1))
    records = market.sales(every_record=True)
    truth = pl.read_parquet(Path(data_demo.__file__).parent / "truth" / "records.parquet")
    odd = truth.filter(pl.col("oddity") == "odometer falls")["source_ref"]
    found = find_suspicions(records).join(records, on="record_id")["source_ref"]
    assert set(found) <= set(odd)
    assert found.n_unique() >= 0.8 * odd.n_unique()
