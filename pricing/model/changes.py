"""What would change the price: the next band, each option put on or taken off, so many kilometres less."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.model.price_model import PriceModel

STEPS: Final[Mapping[str, float]] = {"odometer_km": -10_000.0}
"""Numeric columns that are asked about, each with the step it is changed by; never below nought."""

COVERAGE: Final = 0.8


def changes(model: PriceModel, cars: pl.DataFrame, steps: Mapping[str, float] = STEPS) -> pl.DataFrame:
    """What each change would do to each car's mid price, everything else as it is.

    One row a car and change that applies to it: ``row`` (of the car), ``term``, ``change`` (in words),
    ``mid`` (the price after it), ``factor`` (on the mid price), its 80 % interval ``low`` and ``high``
    (from what is not known of the effect), and ``per_cent`` with Kennedy's (1981) correction. A change says
    what the market pays for the difference between two cars; what making the change costs is another matter.

    Raises:
        ModelError: the model is not fitted.
    """
    features = model.spec.prepared(cars).with_row_index("row")
    frames = [*_bands(model, features), *_options(model, features), *_numbers(model, features, steps)]
    changed = pl.concat(
        [features.with_columns(term=pl.lit(None, pl.String), change=pl.lit(None, pl.String)), *frames]
    )
    mid = model.quantiles(changed, [0.5])["0.5"].to_numpy()
    rows = len(features)
    before = changed["row"].to_numpy()[rows:]
    ratio = np.log(mid[rows:] / mid[before])
    deviation = np.sqrt(model.variance_between(features[before], changed[rows:]))
    reach = float(stats.norm.ppf((1.0 + COVERAGE) / 2.0)) * deviation
    return (
        changed[rows:]
        .select("row", "term", "change")
        .with_columns(
            mid=mid[rows:],
            factor=np.exp(ratio),
            low=np.exp(ratio - reach),
            high=np.exp(ratio + reach),
            per_cent=100.0 * np.expm1(ratio - np.square(deviation) / 2.0),
        )
        .sort("row", maintain_order=True)
    )


def _bands(model: PriceModel, features: pl.DataFrame) -> list[pl.DataFrame]:
    """Each graded car one band up; a score, which would contradict it, is dropped."""
    column = model.spec.condition
    if column is None:
        return []
    bands = model.spec.condition_bands
    up = dict(zip(bands[:-1], bands[1:], strict=True))
    new = pl.col(column).replace_strict(up, default=None, return_dtype=pl.String)
    changed = features.with_columns(new.alias(column))
    if model.spec.condition_score:
        changed = changed.with_columns(pl.lit(None, pl.Float64).alias(model.spec.condition_score))
    return [
        _told(changed.drop_nulls(column), column, pl.format("{} instead of the band below", pl.col(column)))
    ]


def _options(model: PriceModel, features: pl.DataFrame) -> list[pl.DataFrame]:
    """Each option that the model knows, put on where it is absent and taken off where it is present."""
    frames = []
    for name, code in model.fitted.design.options:
        if code is None:
            has = pl.col(name).fill_null(0.0) > 0
            new: Any = (1.0 - has.cast(pl.Float64)).alias(name)
        else:
            has = pl.col(name).list.contains(code).fill_null(False)
            held = pl.col(name).fill_null([])
            without = held.list.set_difference(pl.lit([code]))
            new = pl.when(has).then(without).otherwise(held.list.concat(pl.lit([code]))).alias(name)
        words = pl.when(has).then(pl.lit(f"without {code or name}")).otherwise(pl.lit(f"with {code or name}"))
        frames.append(_told(features.with_columns(new, change=words), code or name, pl.col("change")))
    return frames


def _numbers(model: PriceModel, features: pl.DataFrame, steps: Mapping[str, float]) -> list[pl.DataFrame]:
    """Each numeric column changed by its step where it is known and can be."""
    frames = []
    for name, step in steps.items():
        if name in model.spec.numerics:
            possible = features.filter(pl.col(name) + step >= 0)
            words = f"{abs(step):,.0f} {name} {'less' if step < 0 else 'more'}"
            frames.append(_told(possible.with_columns(pl.col(name) + step), name, pl.lit(words)))
    return frames


def _told(changed: pl.DataFrame, term: str, change: pl.Expr) -> pl.DataFrame:
    told = changed.with_columns(term=pl.lit(term), change=change.cast(pl.String))
    return told.select(pl.exclude("term", "change"), "term", "change")
