"""What a sale's price is brought to another day by: the market's time-dummy index, read at a day; and the
same as an index to print."""

from dataclasses import dataclass
from datetime import date
from typing import Final, Self

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.errors import EvidenceError
from pricing.evidence.indices.characteristics import Characteristics, band_variances
from pricing.evidence.indices.index import LEAST_FREEDOM, PriceIndex, index_frame
from pricing.evidence.indices.least_squares import LogIndex
from pricing.evidence.indices.periods import Periods
from pricing.evidence.indices.time_dummy import (
    Window,
    kept_periods,
    time_dummy,
    weighted_by_band,
    whole_window,
)
from pricing.model.features.spec import FeatureSpec

LENGTH: Final = "quarter"

MOST: Final = 1_000_000
"""Sales in the regression at most."""

MINIMUM: Final = 10
"""Sales that a quarter needs; those of a thinner one are counted with the next that has enough."""

SOURCE: Final = "time-dummy index of the whole market, by quarter"


@dataclass(frozen=True)
class DateLine:
    """Log index at the middle days of the quarters with enough sales, straight between them, level outside.

    ``middles`` and ``logs`` (T), ``joined`` (T), their places among the periods of the regression, of which
    one that shares no group with the others has no point; ``noise``, the residual standard deviation of a log
    price by band; ``size``, how many sales there were, of which the regression took every one or, beyond
    ``MOST``, one in ``step``; ``cars`` and ``window``, the regression.
    """

    middles: Floats
    logs: Floats
    joined: Ints
    noise: Floats
    size: int
    step: int
    cars: Characteristics
    window: Window

    @classmethod
    def fit(cls, sold: pl.DataFrame, spec: FeatureSpec) -> Self:
        """From sold cars; with fewer than two quarters of enough sales the line is level."""
        size, step = len(sold), -(-len(sold) // MOST)
        sold = sold.gather_every(step) if step > 1 else sold
        periods = Periods.spanning(sold["event_date"], LENGTH)
        code = periods.codes(sold["event_date"])
        periods_kept = kept_periods(code, len(periods), MINIMUM)
        if len(periods_kept) < 2:
            periods_kept, code = np.array([0]), np.zeros_like(code)
        place = np.clip(np.searchsorted(periods_kept, code), 0, len(periods_kept) - 1)
        cars = weighted_by_band(Characteristics.of(sold, spec, place), len(periods_kept))
        fitted = whole_window(cars, len(periods_kept))
        joined = np.concatenate([[0], 1 + np.flatnonzero(fitted.estimable)])
        logs, bands = fitted.logs[joined], len(spec.condition_bands) + 1
        noise = np.sqrt(band_variances(fitted.residuals, cars.band, bands))
        return cls(periods.middles()[periods_kept][joined], logs, joined, noise, size, step, cars, fitted)

    @property
    def last_day(self) -> date:
        """The last day that the line is read from sales; after it the line is level."""
        return _dates(self.middles)[-1]

    def at(self, days: Floats) -> Floats:
        """Log index at days since 1970."""
        return np.interp(days, self.middles, self.logs)

    def between(self, first: Floats, second: Floats, influence: Floats | None = None) -> Floats:
        """Log move of the market from a day to another; with rows of :meth:`influence` (days x T), each
        without its own sale."""
        moved = self.at(second) - self.at(first)
        if influence is None or len(self.logs) < 2:
            return moved
        return moved - (self._read(influence, second) - self._read(influence, first))

    def _read(self, levels: Floats, days: Floats) -> Floats:
        """Each row of levels (n x T) at its own day."""
        later = np.clip(np.searchsorted(self.middles, days), 1, len(self.middles) - 1)
        left, right = self.middles[later - 1], self.middles[later]
        share = np.clip((days - left) / (right - left), 0.0, 1.0)
        rows = np.arange(len(days))
        return np.asarray((1 - share) * levels[rows, later - 1] + share * levels[rows, later])

    def influence(self, rows: Ints) -> Floats:
        """What each of some sales, by its place in the frame learnt from, adds to ``logs`` (m x T).

        Leaving one observation out of least squares moves the coefficients by ``S x w e / (1 - h)`` (Cook and
        Weisberg 1982), the group levels swept out; a sale alone in its group (h = 1) moves nothing, nor does
        one that the regression did not take.
        """
        k, size = self.cars.matrix.shape[1], len(self.logs)
        directions = np.zeros((len(self.window.beta), size))
        directions[k + self.joined[1:] - 1, np.arange(1, size)] = 1.0
        place = np.argsort(self.cars.order)
        taken = rows % self.step == 0
        places = place[rows[taken] // self.step]
        swept = self.window.swept(self.cars, places)
        weights = self.cars.weights[places]
        own = weights / np.bincount(self.cars.group, self.cars.weights)[self.cars.group[places]]
        leverage = own + weights * np.einsum("np,np->n", swept @ self.window.inverse, swept)
        free = 1.0 - leverage
        shift = np.where(free > 1e-9, weights * self.window.residuals[places] / np.maximum(free, 1e-9), 0.0)
        moved = np.zeros((len(rows), size))
        moved[taken] = swept @ (self.window.inverse @ directions) * shift[:, None]
        return moved


COVERAGE: Final = 0.95


def date_index(line: DateLine, coverage: float = COVERAGE) -> PriceIndex:
    """The index that a date line is, one row a quarter that it was read from, with its intervals (see
    ``cluster_robust``). ``day`` in its frame (since 1970) is where a quarter's level is taken; between two
    of them the log index runs straight, and outside it is level.

    Raises:
        EvidenceError: fewer than two quarters have enough sales, so that the line is level.
    """
    if len(line.logs) < 2:
        raise EvidenceError(
            "fewer than two quarters have enough sales for an index; prices are left as they are"
        )
    made = time_dummy(line.cars, int(line.cars.period.max()) + 1)
    freedom = np.where(made.freedom[line.joined] >= LEAST_FREEDOM, made.freedom[line.joined], np.nan)
    freedom[0] = np.inf
    quarters = Periods.spanning(_dates(line.middles), LENGTH)
    places = quarters.codes(_dates(line.middles))
    names, starts = ([of_all[place] for place in places] for of_all in (quarters.names, quarters.starts))
    counts = np.bincount(line.cars.period, minlength=int(line.joined.max()) + 1)[line.joined]
    index = LogIndex(line.logs - line.logs[0], made.errors[line.joined], freedom)
    frame = index_frame(names, starts, counts, index, coverage)
    frame.insert_column(2, pl.Series("day", line.middles))
    return PriceIndex(
        "time dummy", LENGTH, "the whole market", names[0], coverage, None, frame, made.clusters
    )


def date_errors(line: DateLine, first: Floats, second: Floats) -> Floats:
    """Standard deviation of the log move of the market from each day to another: the index's own errors,
    together as the regression has them."""
    if len(line.logs) < 2:
        return np.zeros(len(first))
    made = time_dummy(line.cars, int(line.cars.period.max()) + 1)
    errors = np.nan_to_num(made.errors[line.joined])
    k = line.cars.matrix.shape[1]
    block = line.window.inverse[k:, k:][np.ix_(line.joined[1:] - 1, line.joined[1:] - 1)]
    scale = np.sqrt(np.maximum(np.diag(block), 1e-300))
    together = np.zeros((len(errors), len(errors)))
    together[1:, 1:] = block / np.outer(scale, scale) * np.outer(errors[1:], errors[1:])
    weights = _reading(line, second) - _reading(line, first)
    return np.asarray(np.sqrt(np.maximum(np.einsum("nt,ts,ns->n", weights, together, weights), 0.0)))


def _reading(line: DateLine, days: Floats) -> Floats:
    """The weight of every quarter in the level at each day (n x T)."""
    levels = np.eye(len(line.middles))
    return np.column_stack([np.interp(days, line.middles, level) for level in levels])


def _dates(days: Floats) -> pl.Series:
    return pl.Series(np.floor(days)).cast(pl.Int32).cast(pl.Date)
