"""Files whose figures can hardly be what they are said to be: asked with the evidence before any is kept."""

from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pricing.errors import DoubtError
from pricing.store.market import Market
from pricing.store.records.first_load import load_into

TODAY = date(2025, 6, 30)


def sales(
    count: int, seed: int, *, price: float = 1.0, currency: str = "EUR", distance: float = 1.0
) -> pl.DataFrame:
    """Sales of two models, whose prices and distances are off by a factor."""
    draw = np.random.default_rng(seed)
    six = draw.random(count) < 0.5
    worth = np.where(six, 9000, 5000) * np.exp(0.4 * draw.normal(size=count))
    return pl.DataFrame(
        {
            "make": "Corvane", "model": pl.Series(six).replace_strict({True: "Six", False: "Four"}),
            "year": pl.Series(draw.integers(1962, 1975, count)), "channel": "private", "country": "DE",
            "outcome": "sold", "event_date": date(2024, 3, 1), "currency": currency, "price_basis": "all-in",
            "amount": pl.Series(np.round(worth * price, 2)),
            "odometer_km": pl.Series(np.round(90_000 * np.exp(0.5 * draw.normal(size=count)) * distance)),
            "source_ref": pl.Series(np.arange(count) + seed * 10_000).cast(pl.String),
        }
    )  # fmt: skip


def load(folder: Path, name: str, frame: pl.DataFrame, *, believe: bool = False) -> int:
    frame.write_csv(folder / f"{name}.csv")
    market = folder / "market.duckdb"
    report = load_into(market, [folder / f"{name}.csv"], base_currency="EUR", today=TODAY, believe=believe)
    return report.accepted


@pytest.mark.parametrize(
    ("off", "asked"),
    [
        ({"price": 0.001}, "1/1000 of what such cars sell for .* in thousands"),
        ({"price": 100.0}, "100 times .* in pence"),
        ({"price": 11.4, "currency": "EUR"}, "in SEK they would be|in NOK they would be"),
        ({"price": 0.09, "currency": "SEK"}, "are they what they are said to be|is the currency right"),
        ({"distance": 1 / 1.609344}, "are the kilometres miles"),
        ({"distance": 0.001}, "distances are 1/1000"),
    ],
)
def test_figures_that_are_off_are_asked_about_and_nothing_is_kept(
    tmp_path: Path, off: dict[str, float], asked: str
) -> None:
    assert load(tmp_path, "known", sales(400, 1)) == 400
    with pytest.raises(DoubtError, match=asked):
        load(tmp_path, "off", sales(300, 2, **off))  # type: ignore[arg-type]
    assert Market.open(tmp_path / "market.duckdb").batches().height == 1
    assert load(tmp_path, "off", sales(300, 2, **off), believe=True) > 0  # type: ignore[arg-type]


def test_figures_that_are_right_are_not_asked_about(tmp_path: Path) -> None:
    assert load(tmp_path, "known", sales(400, 1)) == 400
    for seed in range(2, 12):
        assert load(tmp_path, f"more-{seed}", sales(120, seed, price=1.3)) == 120


def test_a_first_file_of_cars_for_twenty_is_asked_about(tmp_path: Path) -> None:
    with pytest.raises(DoubtError, match="the middle of .* prices is .* thousands"):
        load(tmp_path, "thousands", sales(40, 3, price=0.003))
    assert not (tmp_path / "market.duckdb").exists()


def test_model_years_a_century_off_are_asked_about(tmp_path: Path) -> None:
    assert load(tmp_path, "known", sales(400, 1).with_columns(pl.col("year") - 50)) == 400
    with pytest.raises(DoubtError, match="a century away"):
        load(tmp_path, "off", sales(60, 2).with_columns(pl.col("year") + 50))
