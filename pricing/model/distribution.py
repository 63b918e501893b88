"""One car's price as a distribution: the answer that every range, percentile rank, chart and decision reads.

The log price of a car is ``centre + spread * z`` with the law of calibration scores for ``z``. A better
condition is never worth less: where the law of the same car in a worse state lies higher at some level, that
law counts there. So the quantile function is the largest of the states', and the distribution function the
smallest, which are exact inverses of each other.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from typing import Final, Self

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import ndtri

from pricing.arrays import Floats, Ints
from pricing.errors import ModelError
from pricing.model.calibration.score_law import LEAST_SLOPE, LEVELS, ScoreLaw

Prices = Sequence[float | None] | Floats | pl.Series

MIXTURE_POINTS: Final = 800
"""Prices at which the distribution function of a mixture is worked out."""

MEAN_LEVELS: Final = (np.arange(400) + 0.5) / 400
"""Levels whose prices are averaged for the mean."""


def _nothing() -> pl.Series:
    return pl.Series(dtype=pl.String)


@dataclass(frozen=True, eq=False)
class PriceDistribution:
    """Price distributions of several cars, row by row.

    Args:
        law: the law of calibration scores.
        centre: log prices, cars x states: the car as it is first, then the same car in worse states.
        spread: the unit of the scores in each state (log), cars x states.
        evidence: how many sales are behind each car's price, in words.
        reason: null, or why no price can be defended; then every answer of that car is NaN.
        remark: null, or what a reader should know of the price.
        explain: gives the terms of the mids of some of the rows.

    >>> law = ScoreLaw.fit(np.empty(0), np.inf)
    >>> price = PriceDistribution(law, np.log([[1000.0], [2000.0]]), np.full((2, 1), 0.25))
    >>> price.ppf(0.5).round(6).tolist()
    [1000.0, 2000.0]
    >>> price.cdf([1000.0, 1000.0]).round(4).tolist()
    [0.5, 0.0029]
    """

    law: ScoreLaw
    centre: Floats
    spread: Floats
    evidence: pl.Series = field(default_factory=_nothing)
    reason: pl.Series = field(default_factory=_nothing)
    remark: pl.Series = field(default_factory=_nothing)
    explain: Callable[[Ints], pl.DataFrame] | None = None
    places: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    """Rows of ``explain`` that these cars are."""

    def __post_init__(self) -> None:
        for name in ("evidence", "reason", "remark"):
            if not len(getattr(self, name)):
                object.__setattr__(self, name, pl.Series(name, [None] * len(self.centre), dtype=pl.String))
        if not len(self.places):
            object.__setattr__(self, "places", np.arange(len(self.centre)))

    def __len__(self) -> int:
        return len(self.centre)

    def __repr__(self) -> str:
        if len(self) != 1:
            return f"PriceDistribution of {len(self):,} cars"
        if self.reason[0] is not None:
            return f"PriceDistribution of a car, no range: {self.reason[0]}"
        (low,), (high,) = self.interval(0.8)
        return f"PriceDistribution of a car: median {self.mid[0]:,.0f}, 80% from {low:,.0f} to {high:,.0f}"

    def _repr_html_(self) -> str:
        """The 80 % ranges, as polars shows a frame."""
        return f"<p>{escape(repr(self))}</p>{self.ranges()._repr_html_()}"

    @property
    def mid(self) -> Floats:
        """The median price of every car."""
        return self.ppf(0.5)

    def ppf(self, level: ArrayLike) -> Floats:
        """Price not exceeded with probability ``level``: cars, or cars x levels for several levels.

        Raises:
            ModelError: a level is not strictly between 0 and 1.
        """
        levels = np.asarray(level, dtype=np.float64)
        if not np.all((levels > 0.0) & (levels < 1.0)):
            wrong = levels[~((levels > 0.0) & (levels < 1.0))].ravel()[0]
            raise ModelError(f"a probability lies strictly between 0 and 1; got {wrong}")
        logs = self._log_quantiles(self.law.ppf(levels.ravel())).reshape(-1, *levels.shape)
        with np.errstate(over="ignore"):  # of a car of which nothing is known; its range is refused
            return np.asarray(np.exp(logs))

    def _log_quantiles(self, scores: Floats) -> Floats:
        """Log prices at standard scores: cars x scores."""
        result = self.centre[:, :1] + self.spread[:, :1] * scores
        for state in range(1, self.centre.shape[1]):
            np.maximum(result, self.centre[:, state, None] + self.spread[:, state, None] * scores, out=result)
        return result

    def cdf(self, price: ArrayLike) -> Floats:
        """Probability of a lower price: one price for every car, or cars x prices; the inverse of
        :meth:`ppf`, nought at a price of nought.

        Raises:
            ModelError: there is not one price, or one row of prices, for every car.
        """
        prices = np.asarray(price, dtype=np.float64)
        if not prices.ndim or len(prices) != len(self):
            raise ModelError(f"{len(self)} cars need as many prices; got {prices.shape or 'one'}")
        with np.errstate(divide="ignore", invalid="ignore"):
            logs = np.where(prices > 0, np.log(np.where(prices > 0, prices, 1.0)), -np.inf)
        shape = (len(self), *[1] * (logs.ndim - 1))
        result = np.full(logs.shape, 1.0)
        for state in range(self.centre.shape[1]):
            score = (logs - self.centre[:, state].reshape(shape)) / self.spread[:, state].reshape(shape)
            np.minimum(result, self.law.cdf(score), out=result)
        return np.where(np.isnan(prices), np.nan, result)

    def terms(self) -> pl.DataFrame:
        """What makes up each mid price: one row a car and term, in the order a valuer reads them.

        Columns: ``row`` (of the car), ``term``, ``value`` (the car's own), ``factor``, its 80 % interval
        ``low`` and ``high``, and ``per_cent``, the effect as a per cent with Kennedy's correction. The
        factors of a row multiply to its mid price; the first is the price of the average sale on record.

        Raises:
            ModelError: the distribution is a mixture, whose mid has no terms.
        """
        if self.explain is None:
            raise ModelError("the mid price of a mixture is not a product of terms")
        return self.explain(self.places)

    def interval(self, coverage: float) -> tuple[Floats, Floats]:
        """Low and high end of the central range of this coverage.

        Raises:
            ModelError: ``coverage`` is not strictly between 0 and 1.
        """
        if not 0.0 < coverage < 1.0:
            raise ModelError(f"coverage lies strictly between 0 and 1; got {coverage}")
        ends = self.ppf([(1.0 - coverage) / 2.0, (1.0 + coverage) / 2.0])
        return ends[:, 0], ends[:, 1]

    def mean(self) -> Floats:
        """Expected price of every car."""
        return np.asarray(self.ppf(MEAN_LEVELS).mean(axis=1))

    def each_at(self, level: Floats) -> Floats:
        """The price of every car at a level of its own, strictly between 0 and 1."""
        return np.asarray(np.exp(self._log_quantiles(self.law.ppf(level)[:, None])[:, 0]))

    def sample(self, size: int, seed: int) -> Floats:
        """Prices drawn from each car's distribution: cars x ``size``, the same for the same seed."""
        level = np.random.default_rng(seed).random((len(self), size))
        return np.asarray(np.exp(self._log_quantiles(self.law.ppf(np.clip(level, 1e-12, 1.0 - 1e-12)))))

    def mixed(self, weights: ArrayLike) -> Self:
        """The distribution of a car that is one of these, each as likely as its weight: one row.

        >>> law = ScoreLaw.fit(np.empty(0), np.inf)
        >>> either = PriceDistribution(law, np.log([[1000.0], [2000.0]]), np.full((2, 1), 0.1))
        >>> either.mixed([1.0, 1.0]).cdf([1400.0]).round(3).item()
        0.5
        """
        share = np.asarray(weights, dtype=np.float64)
        share = share / share.sum()
        logs = np.log(self.ppf(LEVELS))
        grid = np.unique(np.quantile(logs[share > 0], np.linspace(0.0, 1.0, MIXTURE_POINTS)))
        level = share @ self.cdf(np.exp(np.broadcast_to(grid, (len(self), len(grid)))))
        rising = np.maximum.accumulate(np.interp(LEVELS, level, grid)) + LEAST_SLOPE * ndtri(LEVELS)
        centre = float(rising[LEVELS == 0.5].item())
        law = replace(self.law, scores=rising - centre)
        return type(self)(law, np.array([[centre]]), np.ones((1, 1)))

    def reason_at(self, coverage: float) -> pl.Series:
        """Why no range of this coverage is given: the reason of each car, or that later sales are too few to
        promise it; null where one is."""
        if self.law.promises(coverage):
            return self.reason
        return self.reason.fill_null(
            f"only {self.law.count} later sales to check a range against; {coverage:.0%} coverage cannot be "
            "promised from so few"
        )

    def ranges(self, coverage: float = 0.8, asking: Prices | None = None) -> pl.DataFrame:
        """Central range of every car: ``low``, ``mid`` (median), ``high``, ``evidence``, ``reason`` (null, or
        why there is no range) and ``remark``; with ``asking``, a price or null for every car, also
        ``standing``, the percentile rank of that price (0 to 1), null without a price or a range.

        Raises:
            ModelError: ``coverage`` is not strictly between 0 and 1, or an asking price is not positive.
        """
        low, high = self.interval(coverage)
        reason = self.reason_at(coverage).alias("reason")
        promised = reason.is_null().to_numpy()

        def where_promised(name: str, values: Floats) -> pl.Series:
            return pl.Series(name, np.where(promised, values, np.nan), nan_to_null=True)

        columns = [where_promised("low", low), where_promised("mid", self.mid), where_promised("high", high)]
        columns += [self.evidence.alias("evidence"), reason, self.remark.alias("remark")]
        if asking is not None:
            columns.append(where_promised("standing", self.standing(asking).cast(pl.Float64).to_numpy()))
        return pl.DataFrame(columns)

    def standing(self, asking: Prices) -> pl.Series:
        """Percentile rank (0 to 1) of a price asked for each car; null where none is.

        Raises:
            ModelError: there is not one positive price, or null, for every car.
        """
        prices = pl.Series(asking).cast(pl.Float64)
        if len(prices) != len(self) or not (prices > 0).all():
            raise ModelError(
                f"{len(self)} cars need as many positive asking prices; got {prices.head(5).to_list()}"
            )
        return pl.Series("standing", self.cdf(prices.to_numpy())).fill_nan(None)

    def __getitem__(self, rows: slice | Sequence[int] | Ints) -> Self:
        """The distributions of some of the cars."""
        place = np.arange(len(self))[rows]
        row_by_row = ("centre", "spread", "evidence", "reason", "remark", "places")
        return replace(self, **{name: getattr(self, name)[place] for name in row_by_row})
