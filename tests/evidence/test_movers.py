"""What rose and what fell: known moves are found, chance is called chance, and gaps are said."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from pricing.errors import EvidenceError
from pricing.evidence.movers import LEAST_SALES, TOO_FEW, movers
from pricing.words.depth import mover_sentence, movers_sentence

AT = date(2026, 6, 30)


def sales(model: str, move: float, counts: tuple[int, int], seed: int, noise: float = 0.15) -> pl.DataFrame:
    """Sales of a model in two conditions, of prices around a level that moves by ``move`` (log)."""
    rng = np.random.default_rng(seed)
    late = np.repeat([False, True], counts)
    band = rng.integers(0, 2, len(late))
    days = np.where(late, rng.integers(0, 365, len(late)), rng.integers(365, 730, len(late)))
    logs = 9 + 0.4 * band + move * late + rng.normal(0, noise, len(late))
    return pl.DataFrame(
        {
            "make": ["Corvane"] * len(late),
            "model": [model] * len(late),
            "event_date": [AT - timedelta(days=int(day)) for day in days],
            "outcome": ["sold"] * len(late),
            "condition_band": np.array(["average", "top condition"])[band],
            "price": np.exp(logs),
        }
    )


def test_known_moves_are_found_and_gaps_are_said() -> None:
    old = sales("Old", 0.0, (5, 5), 4).with_columns(pl.col("event_date") - timedelta(days=2000))
    parts = [
        sales("Six", 0.3, (40, 60), 1),
        sales("Four", -0.3, (60, 40), 2),
        sales("Two", 0.3, (2, 3), 3),
        old,
    ]
    found = movers(pl.concat(parts), AT).rows_by_key("model", named=True, unique=True)
    assert [found[model]["told"] for model in ("Six", "Four", "Two", "Old")] == [
        "rose",
        "fell",
        TOO_FEW,
        TOO_FEW,
    ]
    assert found["Six"]["low"] < 100 * np.expm1(0.3) < found["Six"]["high"]
    assert (found["Six"]["sales"], found["Six"]["sales_before"]) == (60, 40)
    assert found["Old"]["per_cent"] is None and found["Old"]["on_record"] == 10
    assert found["Old"]["sales"] == found["Old"]["sales_before"] == 0
    assert movers_sentence(movers(pl.concat(parts), AT)).endswith(
        "in a year: 1 rose, 1 fell, 2 sold too seldom to tell."
    )
    assert "cannot be told: 0 like sales against 0" in mover_sentence(found["Old"] | {"model": "Old"})


def test_a_band_that_one_year_lacks_moves_nothing() -> None:
    plain = sales("Six", 0.0, (30, 30), 5)
    dear = sales("Six", 3.0, (0, 30), 6).with_columns(condition_band=pl.lit("project"))
    with_dear = movers(pl.concat([plain, dear]), AT).drop("on_record")
    assert with_dear.equals(movers(plain, AT).drop("on_record"))


def test_a_level_market_is_called_level_nine_times_in_ten() -> None:
    frames = [sales(f"M{seed}", 0.0, (25, 25), seed) for seed in range(300)]
    told = movers(pl.concat(frames), AT)["told"].to_list()
    assert 0.84 <= told.count("no more than chance") / len(told) <= 0.96


def test_below_the_least_sales_nothing_is_told() -> None:
    just = movers(sales("Six", 2.0, (LEAST_SALES, 400), 7), AT)
    assert just["sales_before"].item() <= LEAST_SALES
    fewer = movers(sales("Six", 2.0, (LEAST_SALES - 1, 400), 7), AT)
    assert fewer["per_cent"].item() is None


def test_without_a_sale_it_says_what_to_do() -> None:
    with pytest.raises(EvidenceError, match="load sale records, or ask for a later day"):
        movers(sales("Six", 0.0, (3, 3), 1), date(2000, 1, 1))
