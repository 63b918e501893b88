"""A market and a price model with answers known by hand, for tests of what is built on a price model."""

from datetime import date
from typing import Any

import numpy as np
import polars as pl
from scipy import stats

from pricing.decisions.valuation import OPINION_COLUMNS
from pricing.model.calibration.score_law import LEVELS, ScoreLaw
from pricing.model.distribution import PriceDistribution
from pricing.model.explanation import Ground
from pricing.vocabulary import CONDITION_BANDS

LAST = date(2026, 6, 30)
SPREAD = 0.25
BAND_FACTORS = dict(zip(CONDITION_BANDS, (0.2, 0.5, 1.0, 1.8), strict=True))
BASE = 8000.0
NORMAL_LAW = ScoreLaw(stats.norm.ppf(LEVELS), 1000)
"""The standard normal law, as if a thousand scores had shown it."""
OPTION_FACTOR = 1.1


class KnownMarket:
    """Thirty sales of two models, two unsold lots and an asking price, in EUR."""

    base_currency = "EUR"

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        rows = [
            _sale(
                number,
                model="Six" if number % 3 else "Four",
                variant="Mk II" if number % 2 else None,
                condition_band=[*CONDITION_BANDS, None][number % 5],
                event_date=date(2020 + number % 6, 1 + number % 12, 3),
                price=4000.0 + 250 * number,
            )
            for number in range(30)
        ]
        rows += [_sale(number, outcome="unsold", price=None) for number in (30, 31)]
        rows += [_sale(32, outcome="asking", price=9900.0)]
        frame = pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"condition_score": pl.Float64})
        frame = frame.with_columns(pl.col("price").cast(pl.Decimal(18, 2)), pl.col("year").cast(pl.Int16))
        return frame if as_of is None else frame.filter(pl.col("event_date") <= as_of)

    def opinions(self, as_of: date | None = None) -> pl.DataFrame:
        return NO_OPINIONS


NO_OPINIONS = pl.DataFrame(
    schema={"make": pl.String, "model": pl.String} | dict.fromkeys(OPINION_COLUMNS, pl.String)
)


class KnownModel:
    """Log price is normal about ``BASE`` times factors for band and options; 1901 is refused."""

    def __init__(self) -> None:
        self.facts: dict[str, Any] = {"last_date": LAST.isoformat(), "sales": 30}

    def distribution(self, cars: pl.DataFrame, as_of: date | None = None) -> PriceDistribution:
        refused = pl.when(pl.col("year") == 1901).then(pl.lit("nothing like it is on record"))
        return PriceDistribution(
            NORMAL_LAW,
            np.log(self._mid(cars))[:, None],
            np.full((len(cars), 1), SPREAD),
            pl.Series("evidence", ["20 sales"] * len(cars)),
            cars.select(refused.alias("reason"))["reason"],
            explain=lambda rows: self.contributions(cars[rows]),
        )

    def grounds(self, cars: pl.DataFrame, as_of: date | None = None) -> list[Ground]:
        return [Ground(0.25, 0.75, 0.0, 0.4, 0.0, 20, 30, 0)] * len(cars)

    def contributions(self, cars: pl.DataFrame) -> pl.DataFrame:
        car = cars.row(0, named=True)
        fitted = [("wire_wheels", OPTION_FACTOR if "wire_wheels" in car["options"] else 1.0)]
        terms = [("average sale", BASE), ("condition", BAND_FACTORS.get(car["condition_band"], 1.0)), *fitted]
        return pl.DataFrame(
            [
                {"row": 0, "term": term, "value": value, "factor": f, "low": f * 0.9, "high": f * 1.1}
                for (term, f), value in zip(
                    terms, (None, car["condition_band"], "yes" if car["options"] else "no"), strict=True
                )
            ]
        )

    def _mid(self, cars: pl.DataFrame) -> Any:
        band = cars["condition_band"].replace_strict(BAND_FACTORS, default=1.0, return_dtype=pl.Float64)
        options = cars["options"].list.len().cast(pl.Float64)
        return BASE * band.to_numpy() * OPTION_FACTOR ** options.to_numpy()


def _sale(number: int, **known: Any) -> dict[str, Any]:
    return {
        "record_id": f"known-{number}",
        "source": "known sales",
        "source_ref": str(number),
        "make": "Corvane",
        "model": "Six",
        "variant": None,
        "year": 1960 + number % 10,
        "chassis_number": f"C{number}",
        "body_style": None,
        "drive_side": None,
        "condition_band": "average",
        "condition_score": None,
        "odometer_km": 40000.0 + number,
        "options": ["wire_wheels"] if number % 4 == 0 else [],
        "matching_numbers": None,
        "history_file": None,
        "channel": "auction",
        "country": "GB",
        "outcome": "sold",
        "event_date": LAST,
        **known,
    }
