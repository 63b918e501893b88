"""One car's price as a distribution: the answer that every range, percentile rank, chart and decision reads.

The log price of a car is ``centre + spread * z`` with the law of calibration scores for ``z``. A better
condition is never worth less: where the law of the same car in a worse state lies higher at some level, that
law counts there. So the quantile function is the largest of the states', and the distribution function the
smallest, which are exact inverses of each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Self

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from pricing.errors import ModelError
from pricing.model.pooling import Floats
from pricing.model.score_law import ScoreLaw

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

    >>> law = ScoreLaw.fit(np.empty(0), np.empty(0), np.inf)
    >>> price = PriceDistribution(law, np.log([[1000.0], [2000.0]]), np.full((2, 1), 0.25))
    >>> price.ppf(0.5).round(6).tolist()
    [1000.0, 2000.0]
    >>> price.cdf([1000.0, 1000.0]).round(4).tolist()
    [0.5, 0.0028]
    """

    law: ScoreLaw
    centre: Floats
    spread: Floats
    evidence: pl.Series = field(default_factory=_nothing)
    reason: pl.Series = field(default_factory=_nothing)
    remark: pl.Series = field(default_factory=_nothing)

    def __len__(self) -> int:
        return len(self.centre)

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
        return np.asarray(
            np.exp(self._log_quantiles(self.law.ppf(levels.ravel())).reshape(-1, *levels.shape))
        )

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

    def sample(self, size: int, seed: int) -> Floats:
        """Prices drawn from each car's distribution: cars x ``size``, the same for the same seed."""
        level = np.random.default_rng(seed).random((len(self), size))
        scores = self.law.ppf(np.clip(level, 1e-12, 1.0 - 1e-12))
        result = self.centre[:, :1] + self.spread[:, :1] * scores
        for state in range(1, self.centre.shape[1]):
            np.maximum(result, self.centre[:, state, None] + self.spread[:, state, None] * scores, out=result)
        return np.asarray(np.exp(result))

    def __getitem__(self, rows: slice | Sequence[int] | Floats) -> Self:
        """The distributions of some of the cars."""
        place = np.arange(len(self))[rows]
        texts = [text[place] if len(text) else text for text in (self.evidence, self.reason, self.remark)]
        return type(self)(self.law, self.centre[place], self.spread[place], *texts)
