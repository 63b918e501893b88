"""People who say what cars of a drawn market fetch, each off by an own bias and an own error of known
size."""

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

import numpy as np
import polars as pl

from data_demo.parameters import CHANNELS, DEGREES_OF_FREEDOM
from data_demo.process import describe_cars, log_price
from pricing.arrays import Floats
from pricing.vocabulary import CONDITION_BANDS
from tests.simulated_markets import LAST_DAY, KnownMarket, Setting

DRAWN: Final = 400
"""Cars drawn of each model and band, by which a true span is known."""

YEARS_BACK: Final = 3.0
"""Statements are from the last three years, evenly."""


@dataclass(frozen=True)
class Sources:
    """How many people there are and how far off: ``bias`` is the standard deviation (log) of what each is off
    by everywhere, ``scale`` that of an error about a model and a band, half of it (in variance) the same for
    all bands of a model; ``off`` is added to every bias, with a random sign if ``either_way``; a span is
    ``wide`` times as wide as the true one of ``share`` of the sales."""

    people: int = 3
    bias: float = 0.1
    scale: float = 0.15
    off: float = 0.0
    either_way: bool = False
    wide: float = 1.0
    share: float = 0.8


def true_spans(market: KnownMarket, setting: Setting, share: float, seed: int) -> Floats:
    """Low and high (log) of the central ``share`` of the sales on the last day: models x bands x 2."""
    rng = np.random.default_rng(seed)
    parameters = market.parameters
    unit = np.sqrt((DEGREES_OF_FREEDOM - 2) / DEGREES_OF_FREEDOM)
    models, bands = parameters.models.height, len(CONDITION_BANDS)
    model = np.repeat(np.arange(models), bands * DRAWN)
    band = np.tile(np.repeat(np.arange(bands), DRAWN), models)
    cars = describe_cars(parameters, model, rng)
    cars = replace(cars, score=25.0 * (band + rng.beta(2.0, 2.0, len(model))))
    channel = rng.choice(CHANNELS.height, len(model), p=CHANNELS["share"].to_numpy())
    log = log_price(parameters, cars, channel, np.zeros_like(channel))
    log += unit * np.array(setting.scatter)[band] * rng.standard_t(DEGREES_OF_FREEDOM, len(model))
    ends = np.quantile(log.reshape(models, bands, DRAWN), [(1.0 - share) / 2.0, (1.0 + share) / 2.0], axis=2)
    return np.moveaxis(ends, 0, -1)


def draw_statements(
    market: KnownMarket, setting: Setting, sources: Sources, seed: int, names: pl.Series | None = None
) -> pl.DataFrame:
    """What every person says of all four bands of every model (or of those in ``names``), as a price model
    takes it."""
    rng = np.random.default_rng(seed)
    spans = true_spans(market, setting, sources.share, seed)
    catalogue = market.parameters.models
    models, bands = spans.shape[:2]
    parts = []
    for person in range(sources.people):
        sign = rng.choice([-1.0, 1.0]) if sources.either_way else 1.0
        bias = rng.normal(0.0, sources.bias) + sign * sources.off
        error = np.sqrt(0.5) * sources.scale
        about = rng.normal(0.0, error, (models, 1)) + rng.normal(0.0, error, (models, bands))
        years = -rng.uniform(0.0, YEARS_BACK, (models,))
        level = np.array([market.level(float(year)) for year in years])
        middle = spans.mean(axis=2) + bias + about + level[:, None]
        half = sources.wide * (spans[..., 1] - spans[..., 0]) / 2.0
        days = [LAST_DAY + timedelta(days=int(365 * year)) for year in years]
        year = ((catalogue["first_year"] + catalogue["last_year"]) / 2).round()
        parts.append(
            pl.DataFrame(
                {
                    "source": f"person {person}",
                    "make": np.repeat(catalogue["make"].to_numpy(), bands),
                    "model": np.repeat(catalogue["model"].to_numpy(), bands),
                    "variant": pl.Series([None] * (models * bands), dtype=pl.String),
                    "year": np.repeat(year.to_numpy(), bands),
                    "event_date": [day for day in days for _ in range(bands)],
                    "condition_band": list(CONDITION_BANDS) * models,
                    "low": np.exp(middle - half).ravel(),
                    "middle": pl.Series([None] * (models * bands), dtype=pl.Float64),
                    "high": np.exp(middle + half).ravel(),
                    "share": np.full(models * bands, sources.share),
                }
            )
        )
    said = pl.concat(parts)
    return said if names is None else said.filter(pl.col("model").is_in(names.implode()))
