"""Rolling origins: fits to the earlier sales, each asked for the offers that came next.

The origins are cuts of the sales in order of date; what happened later is never in a fit that it scores. A
large market is represented by whole groups of it, so that the depth of evidence is what it is in the whole.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
import polars as pl

from pricing.model.calibration.market_shift import OriginErrors
from pricing.model.features.evidence import SaleEvidence
from pricing.model.prediction import Fitted, predict

CUTS: Final = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Shares of the sales: a fit to each but the last is scored on the offers up to the next."""

MOST_ROWS: Final = 40_000
"""Rows that origins are fitted to at most."""

FEWEST_SALES: Final = 12
"""Sales that a fit of an origin needs."""

Fit = Callable[[SaleEvidence, Fitted | None, bool], Fitted]
"""Fits to the evidence, beginning from another fit; says whether the number of trees is chosen anew."""


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
    told = late[np.flatnonzero(late.sold | (~late.asking & np.isfinite(late.upper)))]
    guess = predict(fitted, told.features)
    design, market = fitted.design, fitted.regression.estimates.posterior.market
    season = design.season_at(design.last_day + guess.late) - design.season_at(np.array([design.last_day]))
    return OriginErrors(
        origin=np.full(len(told), origin),
        days=guess.late,
        error=np.where(told.sold, told.y - guess.mid, np.nan),
        lower=told.lower - guess.mid,
        upper=told.upper - guess.mid,
        spread=guess.spread,
        slope=np.full(len(told), market[design.trend_columns].sum()),
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
