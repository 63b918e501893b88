"""The law of calibration scores: how far later sales fell from their mid price, in units of their spread.

The ``k``-th smallest of ``n`` scores, ``k = ceil((n + 1) u)``, is not exceeded by the next score with
probability at least ``u`` and at most ``u + 1 / (n + 1)``, whatever their law, if the scores are
exchangeable (Vovk, Gammerman and Shafer 2005; Lei et al. 2018); between two ranks the level is met on
average. How much coverage is lost where scores drift is bounded by the mean of their distances from
exchangeability (Barber, Candes, Ramdas and Tibshirani 2023, with equal weights); what the sales of a period
have in common is taken off before (``market_shift``). Few scores are mixed with the regression's own
Student-t law, scaled to them.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from pricing.arrays import Floats

LEVELS: Final = np.concatenate(
    [[0.001, 0.0025], np.arange(1, 200) / 200.0, [0.9975, 0.999]]
)  # symmetric about the median, which is among them
"""Levels at which the law is kept; in between the score is linear in the level, beyond them the tails are
those of a normal law."""

MIXED_SCORES: Final = 60.0
"""Scores that count for as much as the regression's own law in the mixture of the two."""

SEEN: Final = 0.995
"""Level up to which, and one less it down to which, scores tell the law; beyond it goes on as the
regression's own. One record in some hundreds is a slip, a nought too many. That is as far off for a car that
is well known as for one that is not, while scores are in units of what is known: they would carry its factor
of ten into one of thousands, and that into every mean."""

LEAST_SLOPE: Final = 1e-6
"""Part of a standard normal score added at every level, so that the law rises strictly."""


@dataclass(frozen=True)
class ScoreLaw:
    """Strictly rising ``scores`` at ``LEVELS``, nought at the median; ``count`` is how many scores are
    behind it."""

    scores: Floats
    count: int

    @classmethod
    def fit(cls, scores: Floats, degrees_of_freedom: float) -> "ScoreLaw":
        """The law of ``scores``, mixed with a scaled Student-t law where they are few, and centred: its
        median is nought."""
        own = np.asarray(
            special.ndtri(LEVELS)
            if np.isinf(degrees_of_freedom)
            else special.stdtrit(degrees_of_freedom, LEVELS)
        )
        if len(scores):
            size = float(len(scores))
            centred = scores - np.median(scores)
            reach = float(special.stdtrit(min(degrees_of_freedom, 1e6), 0.9))
            far = float(rank_quantile(np.abs(centred), np.array(0.8)))
            width = max(far, 1e-9) / reach
            if not np.isfinite(width):
                width = 1.0
            own = own * width ** (size / (size + 10.0))
            seen = rank_quantile(centred, LEVELS)
            inside = np.isfinite(seen) & (LEVELS != 0.5) & (np.maximum(LEVELS, 1.0 - LEVELS) <= SEEN)
            if inside.any():
                first, last = np.flatnonzero(inside)[[0, -1]]
                beyond_low, beyond_high = seen[first] - own[first], seen[last] - own[last]
                seen[:first], seen[last + 1 :] = own[:first] + beyond_low, own[last + 1 :] + beyond_high
                seen[LEVELS == 0.5] = 0.0
                share = size / (size + MIXED_SCORES)
                own = share * np.maximum.accumulate(seen) + (1.0 - share) * own
        rising = own - own[LEVELS == 0.5] + LEAST_SLOPE * special.ndtri(LEVELS)
        return cls(rising, len(scores))

    def ppf(self, level: Floats) -> Floats:
        """Score not exceeded with probability ``level``, strictly between 0 and 1; the inverse of
        :meth:`cdf`.

        >>> law = ScoreLaw.fit(np.empty(0), np.inf)
        >>> law.ppf(np.array([0.5, 0.975])).round(4).tolist()
        [0.0, 1.96]
        """
        u = np.asarray(level, dtype=np.float64)
        inside = np.interp(u, LEVELS, self.scores)
        low = self.scores[0] * special.ndtri(np.minimum(u, LEVELS[0])) / special.ndtri(LEVELS[0])
        high = self.scores[-1] * special.ndtri(np.maximum(u, LEVELS[-1])) / special.ndtri(LEVELS[-1])
        return np.where(u < LEVELS[0], low, np.where(u > LEVELS[-1], high, inside))

    def cdf(self, score: Floats) -> Floats:
        """Probability of a smaller score; the inverse of :meth:`ppf`."""
        z = np.asarray(score, dtype=np.float64)
        inside = np.interp(z, self.scores, LEVELS)
        low = special.ndtr(z * (special.ndtri(LEVELS[0]) / self.scores[0]))
        high = special.ndtr(z * (special.ndtri(LEVELS[-1]) / self.scores[-1]))
        return np.where(z < self.scores[0], low, np.where(z > self.scores[-1], high, inside))

    def promises(self, coverage: float) -> bool:
        """Whether there are scores enough for both ends of a central range of this coverage.

        >>> law = ScoreLaw(np.zeros(len(LEVELS)), 18)
        >>> law.promises(0.8), law.promises(0.9)
        (True, False)
        """
        return self.count >= scores_needed(coverage)


def scores_needed(coverage: float) -> int:
    """Scores below which no finite central range of this coverage can be promised: the rank ``ceil((n + 1)
    (1 + coverage) / 2)`` would be above ``n``.

    >>> scores_needed(0.8), scores_needed(0.9)
    (9, 19)
    """
    tail = (1.0 - coverage) / 2.0
    return int(np.ceil(1.0 / tail - 1e-9)) - 1


def rank_quantile(scores: Floats, level: Floats) -> Floats:
    """The score of rank ``(n + 1) level``, linear between the ranks: the next score is below it as often as
    the level says, neither more nor less; infinite beyond the outermost ranks.

    >>> rank_quantile(np.arange(1.0, 50.0), np.array([0.9, 0.99])).tolist()
    [45.0, inf]
    """
    reached = np.arange(1.0, len(scores) + 1.0) / (len(scores) + 1.0)
    inside = np.interp(level, reached, np.sort(scores))
    return np.where(level < reached[0], -np.inf, np.where(level > reached[-1], np.inf, inside))
