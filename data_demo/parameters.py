"""What an invented market is drawn from: the parameters of its price process and how they are drawn.

All effects are log effects on the price that a car fetches, all-in, in one currency.
"""

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import polars as pl

from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

SCORE_KNOTS: Final = np.array([0.0, 12.5, 37.5, 62.5, 75.0, 87.5, 100.0])
"""Condition scores between which the log price is linear in the score."""

MODEST_PRICES: Final = np.array([480.0, 700.0, 1450.0, 3900.0, 5500.0, 8700.0, 10000.0])
"""Prices of a modest, plentiful small saloon at ``SCORE_KNOTS`` (common practice, no source: project under
1,000, solid restorable 1,000-2,000, average 3,000-5,000, above average 5,000-6,000, best 8,000-10,000)."""

OPTIONS: Final = pl.DataFrame(
    {
        "option": [
            "air_conditioning", "alloy_wheels", "automatic_gearbox", "electronic_ignition", "factory_hardtop",
            "factory_sunroof", "five_speed_gearbox", "front_disc_brakes", "later_engine", "leather_interior",
            "overdrive", "power_steering", "servo_brakes", "tow_bar", "wire_wheels",
        ],
        "effect": [.05, -.01, -.06, .01, .07, .03, .06, .03, .02, .05, .06, .03, .02, -.03, .05],
        "share": [.10, .20, .15, .25, .06, .15, .20, .30, .12, .18, .18, .15, .25, .12, .15],
        "upgrade": [False, True, False, True, False, False, True, True, True, False, False, True, True, False,
                    False],
    }
)  # fmt: skip
"""Market-wide log effect of each option, the share of cars with it where it is offered, and whether it is a
later upgrade (which helps a usable car and costs at the top)."""

CHANNELS: Final = pl.DataFrame(
    {
        "channel": ["auction", "dealer", "private"],
        "share": [0.45, 0.33, 0.22],
        "effect": [0.0, 0.10, -0.05],
        "asking_gap": [0.0, 0.12, 0.08],
        "asking_sd": [0.0, 0.05, 0.08],
    }
)
"""Log effect of the channel on the price fetched; mean and deviation of log asking over fetched price."""

ASKING_GAP_SLOPE: Final = -0.02
"""Change of the asking gap per log point of price: dear cars are asked closer to what they fetch."""

ASKING_GAP_CENTRE: Final = 9.2
"""Log price at which the asking gap is the channel's own."""

COUNTRIES: Final = pl.DataFrame(
    {
        "country": ["GB", "DE", "FR", "NL", "IT", "SE"],
        "share": [0.42, 0.20, 0.13, 0.09, 0.08, 0.08],
        "effect": [0.0, 0.03, -0.02, 0.01, -0.03, 0.02],
    }
)
"""Share of offers and log effect on price, by country."""

NOISE: Final = pl.DataFrame({"condition_band": CONDITION_BANDS, "sd": [0.32, 0.24, 0.18, 0.16]})
"""Standard deviation of the log price of one sale about its expectation, by condition band."""

BAND_SHARES: Final = np.array([0.12, 0.23, 0.45, 0.20])
"""Share of offers in each condition band."""

ORIGINALITY: Final = pl.DataFrame(
    {
        "matching_numbers": [None, "claimed", "documented", "inspected"],
        "share": [0.50, 0.25, 0.17, 0.08],
        "effect": [0.0, 0.01, 0.05, 0.07],
    }
)
"""Share of cars and log effect on price, by how it is known that the numbers match."""

HISTORY_EFFECT: Final = 0.03
DEGREES_OF_FREEDOM: Final = 5
PREMIUM_RATE: Final = 0.15
"""Buyer's premium, tax included, as a part of the hammer price, where no schedule of a sale room is given."""

TIME_TO_SALE: Final = {"days": 40.0, "elasticity": 4.0, "sd": 0.5}
"""Median days on offer at the price the car fetches; log days per log point asked above; sd of log days."""


@dataclass(frozen=True)
class Parameters:
    """Everything that a market is drawn from: log effects, a row an entity, frames in index order."""

    months: pl.DataFrame
    """month (first day), level: the market level, 0 in the last month."""
    makes: pl.DataFrame
    """make, level, trend: trend is log points a year, 0 at the middle of the period."""
    models: pl.DataFrame
    """make, make_index, model, weight, first_year, last_year, level (beside the make's), wear, year_slope,
    condition: log effect at ``SCORE_KNOTS`` (0 at 62.5), options: log effect by ``OPTIONS`` (NaN: not
    offered), the last two of type ``pl.Array``."""
    variants: pl.DataFrame
    """model_index, variant, share (within the model), level."""
    intercept: float
    interactions: float
    """Strength of what no sum of effects can express: originality counts most at the top, upgrades least."""

    def condition_effects(self) -> pl.DataFrame:
        """Middle score of each band and the market-wide log effect there."""
        middle = (np.array(BAND_EDGES[1:]) + np.array(BAND_EDGES[:-1])) / 2
        effect = np.interp(middle, SCORE_KNOTS, np.log(MODEST_PRICES / MODEST_PRICES[3]))
        return pl.DataFrame({"condition_band": CONDITION_BANDS, "condition_score": middle, "effect": effect})


def draw_parameters(
    catalogue: pl.DataFrame,
    rng: np.random.Generator,
    *,
    first_day: date,
    last_day: date,
    interactions: float = 0.0,
    intercept: float = 9.2,
) -> Parameters:
    """Draw the effects of a market around a catalogue of cars.

    ``catalogue`` has a row a model: make, model, weight, first_year, last_year, and may have ``level`` (the
    log price of an average car of that model less ``intercept``), which is drawn when absent. The rows of a
    make stand together.

    >>> two = pl.DataFrame({"make": ["A", "B"], "model": ["a", "b"], "weight": [3.0, 1.0],
    ...                     "first_year": [1960, 1970], "last_year": [1968, 1975]})
    >>> drawn = draw_parameters(two, np.random.default_rng(1), first_day=date(2020, 1, 1),
    ...                         last_day=date(2021, 12, 31))
    >>> drawn.makes.height, drawn.models.height, drawn.months.height
    (2, 2, 24)
    """
    models = catalogue.height
    make_names = catalogue["make"].unique(maintain_order=True)
    make_index = catalogue["make"].rle_id().to_numpy().astype(np.int64)
    makes = make_names.len()
    months = pl.date_range(first_day.replace(day=1), last_day, "1mo", eager=True).alias("month")
    walk = np.cumsum(rng.normal(0.0015, 0.012, months.len()))
    if "level" in catalogue.columns:
        total = catalogue["level"].to_numpy().astype(np.float64)
        make_level = np.bincount(make_index, total, makes) / np.bincount(make_index, minlength=makes)
    else:
        make_level = rng.normal(0.0, 0.45, makes)
        total = make_level[make_index] + rng.normal(0.0, 0.35, models)
    steps = np.diff(np.log(MODEST_PRICES)) * np.exp(
        rng.normal(0, 0.20, (models, 1)) + rng.normal(0, 0.10, (models, 6))
    )
    condition = np.concatenate([np.zeros((models, 1)), np.cumsum(steps, axis=1)], axis=1)
    condition -= condition[:, 3:4]
    offered = rng.random((models, OPTIONS.height)) < 0.6
    option_effects = OPTIONS["effect"].to_numpy() + rng.normal(0.0, 0.02, (models, OPTIONS.height))
    counts = rng.choice([1, 2, 3, 4], models, p=[0.3, 0.35, 0.25, 0.1])
    variant_model = np.repeat(np.arange(models), counts)
    variant_share = rng.gamma(2.0, 1.0, variant_model.size)
    variant_number = np.arange(variant_model.size) - np.repeat(np.cumsum(counts) - counts, counts)
    return Parameters(
        months=pl.DataFrame([months, pl.Series("level", walk - walk[-1])]),
        makes=pl.DataFrame({"make": make_names, "level": make_level, "trend": rng.normal(0.0, 0.02, makes)}),
        models=catalogue.select("make", "model", "weight", "first_year", "last_year").with_columns(
            make_index=pl.Series(make_index),
            level=pl.Series(total - make_level[make_index]),
            wear=pl.Series(rng.normal(0.12, 0.03, models)),
            year_slope=pl.Series(rng.normal(0.0, 0.008, models)),
            condition=pl.Series(condition),
            options=pl.Series(np.where(offered, option_effects, np.nan)),
        ),
        variants=pl.DataFrame(
            {
                "model_index": variant_model,
                "variant": "variant " + pl.Series(variant_number + 1).cast(pl.String),
                "share": variant_share / np.bincount(variant_model, variant_share)[variant_model],
                "level": rng.normal(0.0, 0.12, variant_model.size),
            }
        ),
        intercept=intercept,
        interactions=interactions,
    )
