"""What sales differ in, as numbers: the characteristics whose mix an index holds constant."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Final, Self

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.errors import EvidenceError
from pricing.model.features.spec import FeatureSpec
from pricing.vocabulary import BAND_EDGES

RARE: Final = 5
"""A value needs this many sales, and as many without it, to have a column."""

BORROWED: Final = 10.0

WIDE: Final = 10.0
"""A positive number whose largest value is this many times its smallest is taken as its logarithm."""


@dataclass(frozen=True)
class Characteristics:
    """Sales in order of period.

    ``log_price`` (n), ``matrix`` (n x k: columns of characteristics, neither level nor date among them),
    ``terms`` (k: the column of the frame that each comes from; ``options`` for lists of them), ``group`` (n:
    code of the finest group, whose level every regression leaves free), ``period`` (n, rising), ``order``
    (n: the row of the frame each sale came from), ``band`` (n: place of the condition band, the number of
    bands where ungraded) and ``weights`` (n) of the regressions.
    """

    log_price: Floats
    matrix: Floats
    terms: tuple[str, ...]
    group: Ints
    period: Ints
    order: Ints
    band: Ints
    weights: Floats

    def __len__(self) -> int:
        return len(self.log_price)

    @property
    def groups(self) -> int:
        """How many groups there are."""
        return int(self.group.max()) + 1 if len(self) else 0

    @classmethod
    def of(cls, sales: pl.DataFrame, spec: FeatureSpec, period: Ints) -> Self:
        """The characteristics of sales, each in the period of the same place, all with the weight 1.

        Raises:
            EvidenceError: a price is null, not finite or not positive.
        """
        price = sales[spec.price].cast(pl.Float64).to_numpy()
        wrong = int((~(price > 0) | ~np.isfinite(price)).sum())
        if wrong:
            raise EvidenceError(f"{wrong} of {len(price)} prices are not positive and finite")
        cars = replace(spec, event_date=None).prepared(sales)
        band = _bands(cars, spec)
        columns = [*_condition(cars, spec, band), *_numbers(cars, spec), *_values(cars, spec)]
        group = np.zeros(len(cars), dtype=np.int64)
        if spec.groups:
            rank = cars.select(pl.struct(spec.groups).rank("dense")).to_series()
            group = rank.cast(pl.Int64).to_numpy() - 1
        matrix = np.column_stack([v for _, v in columns]) if columns else np.empty((len(cars), 0))
        order = np.argsort(period, kind="stable")
        if np.all(np.diff(period) >= 0):
            order = np.arange(len(cars))
        else:
            matrix, group, band = matrix[order], group[order], band[order]
        return cls(
            log_price=np.log(price)[order],
            matrix=matrix,
            terms=tuple(term for term, _ in columns),
            group=group,
            period=period[order],
            order=order,
            band=band,
            weights=np.ones(len(cars)),
        )

    def every(self, step: int) -> Self:
        """One sale in ``step``, evenly through time."""
        rows = {field.name: getattr(self, field.name)[::step] for field in fields(self)}
        return replace(self, **rows | {"terms": self.terms})

    def weighted(self, residuals: Floats, band: Ints) -> Self:
        """Weighted by one over the mean squared residual of the condition band, mean 1: a car that no one
        graded says less about the market than one whose condition is known.

        ``residuals`` are of some of the sales, whose bands are ``band``; see :func:`band_variances`.
        """
        spread = band_variances(residuals, band, int(self.band.max(initial=0)) + 1)
        weights = 1.0 / np.maximum(spread, max(float(spread.max()) * 1e-6, 1e-300))[self.band]
        return replace(self, weights=weights / weights.mean())


def band_variances(residuals: Floats, band: Ints, bands: int) -> Floats:
    """Mean squared residual by band; every band borrows the market's, as of ``BORROWED`` sales: a few sales
    that happen to lie close do not count for many."""
    squares = np.square(residuals)
    borrowed = BORROWED * squares.mean()
    sums = np.bincount(band, squares, minlength=bands)
    return np.asarray((sums + borrowed) / (np.bincount(band, minlength=bands) + BORROWED))


Column = tuple[str, Floats]


def _bands(cars: pl.DataFrame, spec: FeatureSpec) -> Ints:
    if spec.condition is None:
        return np.zeros(len(cars), dtype=np.int64)
    count = len(spec.condition_bands)
    places = {band: place for place, band in enumerate(spec.condition_bands)}
    named = cars[spec.condition].replace_strict(places, default=count, return_dtype=pl.Int64).to_numpy()
    if spec.condition_score is None or count != len(BAND_EDGES) - 1:
        return np.array(named)
    score = cars[spec.condition_score].to_numpy()
    scored = np.clip(np.searchsorted(BAND_EDGES, score, side="right") - 1, 0, count - 1)
    return np.where((named == count) & np.isfinite(score), scored, named)


def _condition(cars: pl.DataFrame, spec: FeatureSpec, band: Ints) -> Iterator[Column]:
    """A column a band but the commonest, ungraded among them, and how far the score is from the band's
    middle, in bands."""
    if spec.condition is None or not len(cars):
        return
    commonest = int(np.bincount(band).argmax())
    for place in range(len(spec.condition_bands) + 1):
        here = band == place
        if place != commonest and here.any():
            yield "condition", here.astype(np.float64)
    if spec.condition_score is not None and len(spec.condition_bands) == len(BAND_EDGES) - 1:
        edges = np.array(BAND_EDGES)
        middle = np.append((edges[:-1] + edges[1:]) / 2, 0.0)[band]
        score = cars[spec.condition_score].to_numpy()
        if np.isfinite(score).sum() >= RARE:
            yield "condition", np.where(np.isfinite(score), (score - middle) / 25.0, 0.0)


def _numbers(cars: pl.DataFrame, spec: FeatureSpec) -> Iterator[Column]:
    """A number (or its logarithm) and its square, brought to one scale, and whether it is missing."""
    for name in spec.numerics:
        values = cars[name].to_numpy()
        known = np.isfinite(values)
        seen = values[known]
        if len(seen) < RARE or seen.min() == seen.max():
            continue
        wide = seen.min() > 0 and seen.max() > WIDE * seen.min()
        z = np.log(np.where(known, values, 1.0)) if wide else np.where(known, values, 0.0)
        z = np.where(known, (z - z[known].mean()) / z[known].std(), 0.0)
        yield name, z
        if len(np.unique(seen[:10_000])) > 2:
            yield name, np.square(z)
        if RARE <= (~known).sum():
            yield name, (~known).astype(np.float64)


def _values(cars: pl.DataFrame, spec: FeatureSpec) -> Iterator[Column]:
    """A column an option and a value of a category, the commonest value aside; null is a value."""
    for name in spec.options:
        has = cars[name].cast(pl.Float64).fill_null(0.0).to_numpy()
        if RARE <= has.sum() <= len(cars) - RARE:
            yield name, has
    for name in spec.option_lists:
        counts = cars[name].explode().drop_nulls().value_counts(sort=False)
        common = counts.filter(pl.col("count").is_between(RARE, len(cars) - RARE))[name].sort()
        for code in common:
            yield "options", cars[name].list.contains(code).fill_null(False).cast(pl.Float64).to_numpy()
    for name in spec.categories:
        values = cars[name].fill_null("unknown")
        counts = values.value_counts().sort("count", name, descending=[True, False])
        for value in counts[1:].filter(pl.col("count") >= RARE)[name].sort():
            yield name, (values == value).cast(pl.Float64).to_numpy()
