"""What the market did after each origin that its fit did not foresee: how far a trend is to be carried on,
whether season enters, whether shifts persist, and how fast the level wanders off.

A fit at an origin knows the level at its last sale. Later sales depart from it together: by the trend going
on, by season, by a bias that comes back at every origin, and by a random walk. The first three move the mid
only as far as they have won at earlier origins; the last one goes into the width, by horizon.
"""

from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np

from pricing.arrays import Aligned, Bools, Floats, Ints
from pricing.model.regression.residuals import truncated_moments

DAYS_A_YEAR: Final = 365.2425
PERIOD: Final = DAYS_A_YEAR / 4.0
"""Days of a period whose common shift is told apart."""

FEWEST: Final = 8
"""Sales a period needs to have a shift of its own."""

REACHES: Final = {"held level": 0.0, "damped": DAYS_A_YEAR, "full": 2000.0}
"""How far a trend may be carried: the days of it that a forecast adds in all, however far ahead."""

PRIOR_ORIGINS: Final = 2.0
"""Origins that the regression's own random walk counts for in the variance of shifts."""

SURE: Final = 4.0
"""Square of the t statistic below which a bias that came back at the origins is taken for chance; above it,
it is shrunk by ``1 - SURE / t^2`` (James and Stein 1961, positive part)."""


@dataclass(frozen=True)
class OriginErrors(Aligned):
    """A row for each offer that came after an origin.

    Args:
        origin: which origin's fit is held against the offer.
        days: after the last sale that the fit knew.
        error: log price less mid, the level held and season in the mid; NaN of an unsold lot.
        lower, upper: bounds of the error of an unsold lot.
        spread: of the fit for this car (log).
        slope: of the fit's trend at its last sale (log a year).
        season: the part of the mid that season is, on the day of the offer less that of the last sale.
        depth, band: calibration cell.
    """

    origin: Ints
    days: Floats
    error: Floats
    lower: Floats
    upper: Floats
    spread: Floats
    slope: Floats
    season: Floats
    depth: Ints
    band: Ints

    def __len__(self) -> int:
        return len(self.error)

    @property
    def sold(self) -> Bools:
        """Which offers are sales."""
        return np.isfinite(self.error)

    @property
    def filled(self) -> Self:
        """The same with the expected error of every unsold lot between its bounds, if errors are normal."""
        unsold = ~self.sold
        error = self.error.copy()
        centre = np.zeros(int(unsold.sum()))
        error[unsold], _ = truncated_moments(
            centre, self.spread[unsold], self.lower[unsold], self.upper[unsold]
        )
        return replace(self, error=error)


def damped(days: Floats, reach: float) -> Floats:
    """Days of trend carried on, ``days`` after the last sale: as many at first, ``reach`` at most (a damped
    trend in continuous time, Gardner and McKenzie 1985).

    >>> damped(np.array([0.0, 1e9]), 365.0).tolist(), damped(np.array([30.0]), 0.0).tolist()
    ([0.0, 365.0], [0.0])
    """
    return reach * -np.expm1(-days / reach) if reach else np.zeros_like(days)


@dataclass(frozen=True)
class MarketShift:
    """How a fit is carried past its last sale: ``trend`` (a key of ``REACHES``), ``season``, a persistent
    ``bias`` (log a year, damped over a year) and the ``variance`` of the level a year ahead."""

    trend: str = "held level"
    season: bool = False
    bias: float = 0.0
    variance: float = 0.0
    origins: int = 0

    @classmethod
    def fit(cls, errors: OriginErrors, walk: float) -> "MarketShift":
        """Choose by the origins; ``walk`` is the variance a year of the regression's own random walk."""
        if not len(errors):
            return cls(variance=walk)
        trend, season = _chosen(errors, walk)
        period = period_shifts(errors, errors.error - moved(errors, REACHES[trend], season))
        bias = _persistent(period)
        rest = period.shift - bias * damped(period.days, DAYS_A_YEAR) / DAYS_A_YEAR
        years = np.maximum(period.days, 7.0) / DAYS_A_YEAR
        origins = len(np.unique(period.origin))
        by_origin = [
            float(np.sum((np.square(rest) - period.variance)[own]) / np.sum(years[own]))
            for own in (period.origin == origin for origin in np.unique(period.origin))
        ]
        variance = (PRIOR_ORIGINS * walk + sum(by_origin)) / (PRIOR_ORIGINS + origins)
        return cls(trend, season, bias, max(variance, 0.1 * walk, 1e-8), origins)

    @property
    def reach(self) -> float:
        """Days of trend that a forecast adds in all."""
        return REACHES[self.trend]

    def moved(self, errors: OriginErrors) -> Floats:
        """What the mids of the origins are to be moved by, season, trend and bias as chosen."""
        return moved(errors, self.reach, self.season) + self.carried(errors.days)

    def carried(self, days: Floats) -> Floats:
        """What the persistent bias adds to a log price, ``days`` after the last sale."""
        return self.bias * damped(days, DAYS_A_YEAR) / DAYS_A_YEAR

    def variance_at(self, days: Floats) -> Floats:
        """Variance of the common shift, ``days`` after the last sale."""
        return self.variance * days / DAYS_A_YEAR

    def share_of(self, period: "PeriodShifts") -> Floats:
        """Share of each period's shift that is the market's and not chance."""
        own = self.variance_at(period.days)
        return own / np.maximum(own + period.variance, 1e-300)


def moved(errors: OriginErrors, reach: float, season: bool) -> Floats:
    """What the mids are moved by when the trend is carried on so far and season enters or not."""
    carried = errors.slope * damped(errors.days, reach) / DAYS_A_YEAR
    return carried if season else carried - errors.season


@dataclass(frozen=True)
class PeriodShifts:
    """Common ``shift`` of the sales of each period after an origin, at ``days`` on average, with its sampling
    ``variance``; ``place`` is the period of each sale."""

    origin: Ints
    days: Floats
    shift: Floats
    variance: Floats
    place: Ints


def period_shifts(errors: OriginErrors, error: Floats) -> PeriodShifts:
    """The common shift of every period of every origin: a weighted mean, far errors counting for less."""
    place = _periods(errors)
    precision = 1.0 / np.square(errors.spread)
    centre = np.zeros(int(place.max()) + 1)
    for _ in range(5):
        z = (error - centre[place]) / errors.spread
        weight = precision * np.minimum(1.0, 1.5 / np.maximum(np.abs(z), 1e-12))
        centre = np.bincount(place, weight * error) / np.bincount(place, weight)
    count = np.bincount(place)
    return PeriodShifts(
        origin=np.round(np.bincount(place, errors.origin) / count).astype(np.int64),
        days=np.bincount(place, errors.days) / count,
        shift=centre,
        variance=1.0 / np.bincount(place, precision),
        place=place,
    )


def _periods(errors: OriginErrors) -> Ints:
    """The period of each sale: the sales of an origin in parts alike in number, about ``PERIOD`` long, of
    ``FEWEST`` sales at least."""
    place = np.empty(len(errors.days), dtype=np.int64)
    begun = 0
    for origin in np.unique(errors.origin):
        own = np.flatnonzero(errors.origin == origin)
        span = float(np.ptp(errors.days[own]))
        parts = max(1, min(round(span / PERIOD), len(own) // FEWEST))
        rank = np.argsort(np.argsort(errors.days[own], kind="stable"))
        place[own] = begun + rank * parts // len(own)
        begun += parts
    return place


def _chosen(errors: OriginErrors, walk: float) -> tuple[str, bool]:
    """Reach and season that leave the smallest shifts, each in units of what a random walk and chance would
    leave, on average over the origins; the plainer choice if the gain is within its standard error."""
    best, least = ("held level", False), np.empty(0)
    for season in (False, True):
        for trend, reach in REACHES.items():
            period = period_shifts(errors, errors.error - moved(errors, reach, season))
            expected = walk * period.days / DAYS_A_YEAR + period.variance
            loss = _by_origin(period, np.square(period.shift) / np.maximum(expected, 1e-12))
            gain = least - loss if len(least) else np.zeros(1)
            if not len(least):
                least = loss
            elif len(gain) > 1 and gain.mean() > gain.std(ddof=1) / np.sqrt(len(gain)):
                best, least = (trend, season), loss
    return best


def _by_origin(period: PeriodShifts, values: Floats) -> Floats:
    """Mean of a value over the periods of each origin."""
    place = np.unique(period.origin, return_inverse=True)[1].ravel()
    return np.bincount(place, values) / np.bincount(place)


def _persistent(period: PeriodShifts) -> float:
    """The bias a year that came back at every origin, shrunk by how sure it is."""
    origins = np.unique(period.origin)
    if len(origins) < 3:
        return 0.0
    years = damped(period.days, DAYS_A_YEAR) / DAYS_A_YEAR
    owns = [period.origin == origin for origin in origins]
    squares = [max(float(np.sum(np.square(years[own]))), 1e-4) for own in owns]
    rates = np.array([np.sum((years * period.shift)[own]) for own in owns]) / squares
    error = rates.std(ddof=1) / np.sqrt(len(rates))
    squared = float(np.square(rates.mean() / max(error, 1e-12)))
    return float(rates.mean()) * max(0.0, 1.0 - SURE / max(squared, 1e-12))
