"""Sales valued from the other sales, each as of its own day, as if neither the market nor the price model
had seen it.

The sale itself and any record of the same car within ``DUPLICATE_DAYS`` are held out. The date line is
refitted without it, exactly (one observation left out of least squares, its weight as it was); what the sale
told the price model, which supplies the adjustments, is taken back.

Leaving one observation out of a (posterior) least-squares fit moves the coefficients by ``-V x w e / (1 -
h)``, ``V`` being their covariance, ``w`` the observation's weight, ``e`` its residual and ``h = w x' V x``
its leverage (Cook and Weisberg 1982). The variances that the fit learnt, and its trees, stay as they are.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Bools, Floats, Ints
from pricing.evidence.comparison.reconciliation import reliability_weights, stated_error, weighted_median
from pricing.evidence.comparison.sale_features import (
    AGE_COST,
    MOST_GROSS,
    SHORTLIST,
    YEAR,
    SaleFeatures,
    unlikeness,
)
from pricing.evidence.comparison.term_effects import TermEffects
from pricing.model.features.design import Encoded
from pricing.model.regression.hedonic import ONE_THREAD
from pricing.model.regression.pooling import Posterior

MOST_LEVERAGE: Final = 0.95
"""A sale that holds its own fitted value more than this is taken to hold it so much: all that the model knows
of its group is the sale itself."""

DUPLICATE_DAYS: Final = 60
_PAIRS: Final = 20_000
_CELLS: Final = 4_000_000


@dataclass(frozen=True)
class OwnInfluence:
    """Of some sales: what each moves a prediction by, for one unit of their covariance (``pull``, n), the
    covariance with the market's coefficients (``market``, n x p) and with the deviations of the sale's own
    groups (``levels``, of each level n x its varying columns)."""

    pull: Floats
    market: Floats
    levels: list[Floats]

    @classmethod
    def of(cls, effects: TermEffects, sales: Encoded, log_prices: Floats, seen: Floats) -> "OwnInfluence":
        """From the sales on their own days; ``seen`` is 1 where the model was fitted to the sale, else 0."""
        regression = effects.regression
        posterior = effects.posterior
        own, spread = regression.predict_variance(sales.X, sales.codes)
        residual = log_prices - regression.predict(sales.X, sales.codes)
        degrees_of_freedom = regression.estimates.degrees_of_freedom
        heavy = np.square(residual) / spread
        latent = (
            np.ones(len(spread))
            if np.isinf(degrees_of_freedom)
            else (degrees_of_freedom + 1.0) / (degrees_of_freedom + heavy)
        )
        weight = latent / spread
        leverage = np.minimum(weight * own, MOST_LEVERAGE)
        parts = Parts.of(posterior, sales)
        levels = [
            _times(part, posterior.levels[k].spread, sales.codes[:, k]) for k, part in enumerate(parts.levels)
        ]
        return cls(seen * weight * residual / (1.0 - leverage), parts.market @ posterior.covariance, levels)

    def added(self, sales: Ints, subjects: Ints, others: Ints, cars: "Parts") -> Floats:
        """What each of ``sales`` (m places here) has added to the log price of a subject less that of another
        car (m places among ``cars``)."""
        apart = cars.market[subjects] - cars.market[others]
        covariance = np.einsum("mp,mp->m", self.market[sales], apart)
        for level, own in enumerate(self.levels):
            part, codes = cars.levels[level], cars.codes[:, level]
            same = codes[subjects] == codes[others]
            apart = part[subjects] - same[:, None] * part[others]
            covariance += np.einsum("mi,mi->m", own[sales], apart)
        return np.asarray(self.pull[sales] * covariance)


@dataclass(frozen=True)
class Parts:
    """Predictions as sums of independent parts: what each takes of the deviations of the car's group at every
    level given those above (``levels``, n x its varying columns), and of the market's coefficients
    (``market``, n x p); ``codes`` of the groups (n x levels)."""

    levels: list[Floats]
    market: Floats
    codes: Ints

    @classmethod
    def of(cls, posterior: Posterior, cars: Encoded) -> "Parts":
        """From the finest groups up, each deviation handing on what it owes to the coefficients above it."""
        rest = np.array(cars.X, dtype=np.float64)
        levels: list[Floats] = []
        for level in range(len(posterior.levels) - 1, -1, -1):
            current = posterior.levels[level]
            part = rest[:, current.columns]
            levels.append(part)
            for group, rows in _groups(cars.codes[:, level]):
                rest[rows] -= part[rows] @ current.gain[group]
        return cls(levels[::-1], rest, cars.codes)


def _times(part: Floats, matrices: Floats, codes: Ints) -> Floats:
    """Every row times the matrix of its group; nought for a group never seen."""
    result = np.zeros_like(part)
    for group, rows in _groups(codes):
        result[rows] = part[rows] @ matrices[group]
    return result


def _groups(codes: Ints) -> Iterator[tuple[int, Ints]]:
    """Every known group with its rows."""
    order = np.argsort(codes, kind="stable")
    groups, starts = np.unique(codes[order], return_index=True)
    for group, rows in zip(groups, np.split(order, starts[1:]), strict=True):
        if group >= 0:
            yield int(group), rows


@dataclass(frozen=True)
class HeldOut:
    """``rows`` of the index (n) that were valued, how many comparables each had (``comparables``), the value
    (``mid``, log), the stated standard deviation of a single sale about it (``spread``) and the ``error``,
    log price less value."""

    rows: Ints
    comparables: Ints
    mid: Floats
    spread: Floats
    error: Floats


def held_out(indexed: SaleFeatures, rows: Ints, count: int) -> HeldOut:
    """Value some sales of the index, ``rows`` in rising order, from ``count`` others each."""
    with ONE_THREAD.limit(limits=1, user_api="blas"):
        return _valued(indexed, rows, _shortlists(indexed, rows, count), count)


def _shortlists(indexed: SaleFeatures, rows: Ints, count: int) -> Ints:
    """The shortlist of each row (n x m), -1 where there are fewer."""
    same = _same_car(indexed)
    width = SHORTLIST * count
    near = np.full((len(rows), width), -1, dtype=np.int64)
    for start, size in indexed.starts[2].values():
        first, last = np.searchsorted(rows, [start, start + size])
        step = max(1, _CELLS // size)
        for place in range(int(first), int(last), step):
            part = slice(place, min(place + step, int(last)))
            shortlist = _nearest(indexed, same, rows[part], slice(start, start + size), count)
            near[part, : shortlist.shape[1]] = shortlist
    return near


def _same_car(indexed: SaleFeatures) -> Ints:
    """A number for every car, of its own where the chassis number is not known."""
    known = indexed.sales["chassis_number"].is_not_null()
    ids = indexed.sales.select(pl.struct("make", "chassis_number").rank("dense")).to_series().cast(pl.Int64)
    own = pl.int_range(-len(ids), 0, eager=True)
    return pl.select(pl.when(known).then(ids).otherwise(own)).to_series().to_numpy()


def _nearest(indexed: SaleFeatures, same: Ints, subjects: Ints, make: slice, count: int) -> Ints:
    """The shortlist of every subject among the sales of its make (subjects x m), -1 where there are fewer."""
    apart = np.zeros((len(subjects), make.stop - make.start), dtype=np.float32)
    for k in range(indexed.attribute_groups.shape[1]):
        apart += np.abs(indexed.attribute_groups[subjects, k][:, None] - indexed.attribute_groups[make, k])
    far = apart > MOST_GROSS
    age = (indexed.days[subjects][:, None] - indexed.days[make]) / YEAR
    apart += (indexed.cost[make] + AGE_COST * age).astype(np.float32)
    held = (same[subjects][:, None] == same[make]) & (age * YEAR <= DUPLICATE_DAYS)
    barred = far | (age < 0) | held | (subjects[:, None] == np.arange(make.start, make.stop))
    apart[barred] = np.inf
    apart[~_level_mask(indexed, subjects, make, ~barred, count)] = np.inf
    shortlisted = min(SHORTLIST * count, apart.shape[1])
    columns = np.argpartition(apart, shortlisted - 1, axis=1)[:, :shortlisted]
    finite = np.isfinite(np.take_along_axis(apart, columns, axis=1))
    return np.where(finite, columns + make.start, -1)


def _level_mask(indexed: SaleFeatures, subjects: Ints, make: slice, usable: Bools, count: int) -> Bools:
    """Which sales are at the narrowest match level that has ``count`` usable ones."""
    columns = np.arange(make.start, make.stop)
    mask = np.ones_like(usable)
    for match_level in (1, 0):
        ends = np.array(list(indexed.starts[match_level].values()))
        group = np.searchsorted(ends[:, 0], columns, side="right")
        inside = group[subjects - make.start][:, None] == group
        enough = (inside & usable).sum(axis=1) >= count
        mask[enough] = inside[enough]
    return mask


def _valued(indexed: SaleFeatures, rows: Ints, near: Ints, count: int) -> HeldOut:
    """The sales of every shortlist brought to its subject, the best kept and reconciled."""
    needed = np.unique(np.concatenate([rows, near[near >= 0]]))
    sales = indexed.sales[needed]
    prices = np.log(sales["price"].cast(pl.Float64).to_numpy())
    days, band = indexed.days[needed], indexed.band[needed]
    encoded = indexed.effects.encode(sales, indexed.span[1])
    subjects = np.searchsorted(needed, rows)
    own = indexed.effects.encode(sales[subjects], sales["event_date"][subjects])
    influence = OwnInfluence.of(
        indexed.effects, own, prices[subjects], (days[subjects] <= indexed.effects.last_day) * 1.0
    )
    parts = Parts.of(indexed.effects.posterior, encoded)
    moved = indexed.dates.influence(rows)
    mid, total = np.empty(len(rows)), np.empty(len(rows))
    comparables_used = np.empty(len(rows), dtype=np.int64)
    step = max(1, _PAIRS // near.shape[1])
    for first in range(0, len(rows), step):
        part = slice(first, min(first + step, len(rows)))
        place, column = np.nonzero(near[part] >= 0)
        c = np.searchsorted(needed, near[part][place, column])
        at = place + part.start
        s = subjects[at]
        lines = indexed.effects.differences(encoded[s], encoded[c])
        date = indexed.dates.between(days[c], days[s], moved[at])
        gross = np.abs(lines).sum(axis=1) + np.abs(date)
        age = (days[s] - days[c]) / YEAR
        apart = np.full(near[part].shape, np.inf)
        near_enough = gross <= MOST_GROSS
        apart[place, column] = np.where(near_enough, unlikeness(gross, indexed.cost[needed[c]], age), np.inf)
        weights, adjusted = np.zeros(apart.shape), np.zeros(apart.shape)
        weights[place, column] = near_enough * reliability_weights(indexed.dates.noise[band[c]], gross, age)
        own_part = influence.added(at, s, c, parts)
        adjusted[place, column] = prices[c] + lines.sum(axis=1) - own_part + date
        if near.shape[1] > count:
            chosen = np.argpartition(apart, count - 1, axis=1)[:, :count]
            weights, adjusted = (np.take_along_axis(each, chosen, axis=1) for each in (weights, adjusted))
        mid[part] = weighted_median(adjusted, weights)
        total[part] = weights.sum(axis=1)
        comparables_used[part] = (weights > 0).sum(axis=1)
    spread = np.hypot(indexed.dates.noise[indexed.band[rows]], stated_error(total))
    return HeldOut(rows, comparables_used, mid, spread, prices[subjects] - mid)
