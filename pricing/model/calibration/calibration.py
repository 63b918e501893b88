"""Calibration by rolling origins: how far later sales really fell from the mid of a fit that had not seen
them.

Fits to the first 50, 60, ... 90 % of the sales are each scored on the next tenth: what happened later is
never in a fit that it scores. A large market is represented by whole groups of it, so that the depth of
evidence is what it is in the whole. What a period's sales have
in common is the market's shift (:mod:`pricing.model.calibration.market_shift`): its size goes into the width,
by horizon, and not into the mid. What is left is a score ``z = (log price - mid - shift) / spread`` of each
sale; cells (a class of evidence depth, a condition band) differ by a scale, shrunk towards 1 where a cell has
few scores, and all scores together have one law (:mod:`pricing.model.calibration.score_law`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats, Ints
from pricing.model.calibration.market_shift import MarketShift, OriginErrors, period_shifts
from pricing.model.calibration.score_law import ScoreLaw
from pricing.model.features.condition_scale import ConditionScale
from pricing.model.features.evidence import SaleEvidence
from pricing.model.prediction import Fitted, Prediction, at_position, predict

CUTS: Final = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Shares of the sales: a fit to each but the last is scored on the offers up to the next."""

MOST_ROWS: Final = 40_000
"""Rows that origins are fitted to at most."""

FEWEST_SALES: Final = 12
"""Sales that a fit of an origin needs."""

Fit = Callable[[SaleEvidence, Fitted | None, bool], Fitted]
"""Fits to the evidence, beginning from another fit; says whether the number of trees is chosen anew."""

CELL_WEIGHT: Final = 40.0
"""Scores a cell needs before its own scale counts for as much as the scale of all."""

IMPUTATIONS: Final = 4
"""Turns of self-consistency (Efron 1967) in which lots known by bounds take their place in the law."""

SCALES: Final = np.geomspace(0.5, 2.0, 29).tolist()
"""Scales that are tried for the law in which lots known by bounds first take their place."""

GOLDEN: Final = 0.6180339887498949
"""Places within the part of the law that a bound leaves follow the golden ratio: spread evenly, no seed."""


def origin_errors(
    rows: SaleEvidence,
    groups: tuple[str, ...],
    fit: Fit,
    start: Fitted | None,
    tell: Callable[[int, int], None],
) -> tuple[OriginErrors | None, Fitted | None]:
    """The errors of every origin and the fit of the last one; None where there are too few sales."""
    rows = _represented(rows, groups)
    sales = np.flatnonzero(rows.sold)
    places = [min(int(len(sales) * cut), len(sales)) for cut in CUTS]
    parts: list[OriginErrors] = []
    for number, (first, last) in enumerate(zip(places[:-1], places[1:], strict=True)):
        if first < FEWEST_SALES or first == last:
            continue
        tell(number, len(CUTS) - 1)
        early = rows[: int(sales[first])]
        late = rows[int(sales[first]) : int(sales[last]) if last < len(sales) else len(rows)]
        start = fit(early, start, not parts or last == len(sales))
        parts.append(_errors(number, start, late))
    return (OriginErrors.joined(parts) if parts else None), start


def _errors(origin: int, fitted: Fitted, late: SaleEvidence) -> OriginErrors:
    """The offers of a period against a fit: sales, and unsold lots with a bound from above."""
    offers = late[np.flatnonzero(late.sold | (~late.asking & np.isfinite(late.upper)))]
    guess = predict(fitted, offers.features)
    design, market = fitted.design, fitted.regression.estimates.posterior.market
    season = design.season_at(design.last_day + guess.late) - design.season_at(np.array([design.last_day]))
    return OriginErrors(
        origin=np.full(len(offers), origin),
        days=guess.late,
        error=np.where(offers.sold, offers.y - guess.mid, np.nan),
        lower=offers.lower - guess.mid,
        upper=offers.upper - guess.mid,
        spread=guess.spread,
        slope=np.full(len(offers), market[design.trend_columns].sum()),
        season=season @ market[design.season_columns],
        depth=guess.depth,
        band=guess.band,
    )


def _represented(rows: SaleEvidence, groups: tuple[str, ...]) -> SaleEvidence:
    """All rows, or those of so many whole groups (models) as have ``MOST_ROWS`` together, in order of
    date; without groups rows evenly spread."""
    if len(rows) <= MOST_ROWS:
        return rows
    if not groups:
        return rows[np.arange(0, len(rows), -(-len(rows) // MOST_ROWS))]
    code = rows.features.select(pl.struct(groups[:2]).rank("dense")).to_series().to_numpy() - 1
    size = np.bincount(code)
    order = np.random.default_rng(0).permutation(len(size))
    chosen = np.zeros(len(size), dtype=bool)
    chosen[order[: max(1, int(np.searchsorted(np.cumsum(size[order]), MOST_ROWS)))]] = True
    return rows[np.flatnonzero(chosen[code])]


@dataclass(frozen=True)
class Calibration:
    """The ``law`` of scores, the ``scales`` of the cells (depth classes x bands), and the market's
    ``shift``."""

    law: ScoreLaw
    scales: Floats
    shift: MarketShift

    @classmethod
    def fit(
        cls, errors: OriginErrors, shape: tuple[int, int], degrees_of_freedom: float, walk: float
    ) -> "Calibration":
        """From what the origins gave; ``shape`` is (depth classes, bands), ``walk`` the variance a year of
        the regression's own random walk."""
        sold = errors.sold
        filled = errors.filled
        shift = MarketShift.fit(filled, walk)
        if not sold.any():
            law = ScoreLaw.fit(np.empty(0), degrees_of_freedom)
            return cls(law, np.ones(shape), shift)
        period = period_shifts(filled, filled.error - shift.moved(filled))
        common = shift.moved(errors) + (period.shift * shift.share_of(period))[period.place]
        unit = errors.spread
        z = (errors.error - common)[sold] / unit[sold]
        scales = _cell_scales(z, errors.depth[sold], errors.band[sold], shape)
        unit = unit * scales[errors.depth, errors.band]
        z = (errors.error - common)[sold] / unit[sold]
        law = ScoreLaw.fit(z, degrees_of_freedom)
        if not sold.all():
            law = _with_bounds(z, ((errors.upper - common) / unit)[~sold], degrees_of_freedom)
        return cls(law, scales, shift)

    def states(self, guess: Prediction, condition: ConditionScale | None) -> tuple[Floats, Floats]:
        """Log mid and spread of every car as it is (column 0), and of the same car at every knot of the
        condition scale that is worse; at the others, and of an ungraded car, once more as it is."""
        common = self.shift.variance_at(guess.late)
        spread = np.sqrt(np.square(guess.spread * self.scales[guess.depth, guess.band]) + common)
        if condition is None or not guess.state_mid.shape[1]:
            return guess.mid[:, None], spread[:, None]
        band = np.clip(np.round(condition.knots), 0, len(condition.bands) - 1).astype(np.int64)
        scaled = np.square(guess.state_spread * self.scales[guess.depth[:, None], band])
        states = np.sqrt(scaled + common[:, None])
        graded = np.isfinite(guess.position)
        spread = np.where(graded, at_position(guess.position, condition.knots, states), spread)
        worse = graded[:, None] & (condition.knots < guess.position[:, None])
        return (
            np.column_stack([guess.mid, np.where(worse, guess.state_mid, guess.mid[:, None])]),
            np.column_stack([spread, np.where(worse, states, spread[:, None])]),
        )


def _with_bounds(sold: Floats, high: Floats, degrees_of_freedom: float) -> ScoreLaw:
    """The law with the lots that stayed unsold, each put where the law has it below its bound.

    Only the bound from above counts: those from below are assumptions that keep mids from being pulled about
    (:mod:`pricing.model.features.evidence`), and would cut the scatter off. The law begins as the
    regression's own with the likeliest scale: below the least bound nobody has seen a score, and there it
    keeps its shape.
    """
    place = np.mod(GOLDEN * np.arange(1, len(high) + 1), 1.0)
    own = ScoreLaw.fit(np.empty(0), degrees_of_freedom)
    scale = _likeliest_scale(sold, high, degrees_of_freedom)
    law = ScoreLaw(own.scores * scale, len(sold))
    centre = 0.0  # the median of the lots; a law's own is nought
    for _ in range(IMPUTATIONS):
        level = np.clip(place * law.cdf(high - centre), 1e-6, 1.0 - 1e-6)
        both = np.concatenate([sold, np.minimum(centre + law.ppf(level), high)])
        centre = float(np.median(both))
        law = ScoreLaw.fit(both, degrees_of_freedom)
    return law


def _likeliest_scale(sold: Floats, high: Floats, degrees_of_freedom: float) -> float:
    """The scale of a Student-t law about nought under which scores and bounds are likeliest."""
    law = stats.t(min(degrees_of_freedom, 1e6))

    def likelihood(scale: float) -> float:
        of_sales = law.logpdf(sold / scale).sum() - len(sold) * np.log(scale)
        return float(of_sales + law.logcdf(high / scale).sum())

    return max(SCALES, key=likelihood)


def _cell_scales(z: Floats, depth: Ints, band: Ints, shape: tuple[int, int]) -> Floats:
    overall = _width(z)
    by_depth = _shrunk_scales(z / overall, depth, shape[0])
    by_band = _shrunk_scales(z / overall / by_depth[depth], band, shape[1])
    return by_depth[:, None] * by_band[None, :]


def _width(scores: Floats) -> float:
    return max(float(np.quantile(np.abs(scores), 0.8)), 1e-9)


def _shrunk_scales(scores: Floats, cell: Ints, cells: int) -> Floats:
    """Scale of each cell's scores against 1, its logarithm shrunk by ``n / (n + CELL_WEIGHT)``."""
    scales = np.ones(cells)
    for index in range(cells):
        own = scores[cell == index]
        if len(own) >= 5:
            scales[index] = np.exp(np.log(_width(own)) * len(own) / (len(own) + CELL_WEIGHT))
    return scales
