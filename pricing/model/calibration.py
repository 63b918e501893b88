"""Conformal calibration: how far later sales really fell from their mid price, in units of the model's own
spread.

A calibration score is ``z = (log price - mid) / spread`` of a sale the model had not seen. The ``k``-th
smallest of ``n`` scores, ``k = ceil((n + 1) a)``, is not exceeded by the next score with probability at
least ``a`` and at most ``a + 1 / (n + 1)``, whatever their law, if the scores are exchangeable (Vovk,
Gammerman and Shafer 2005; Lei et al. 2018). Cells (a class of evidence depth, a condition band) differ by a
scale, shrunk towards 1 where a cell has few scores. Beyond the outermost scores the law goes on as the
regression's own, so that a quantile exists at every level; a range, which is a promise, is refused there.
"""

from dataclasses import dataclass

import numpy as np

from pricing.model.pooling import Floats, Ints
from pricing.model.residuals import ErrorLaw

CELL_WEIGHT = 40.0
"""Scores a cell needs before its own scale counts for as much as the scale of all."""


@dataclass(frozen=True)
class Calibration:
    """Sorted scaled ``scores``, the ``scales`` of the cells (depth classes x bands), and the tails'
    ``degrees``."""

    scores: Floats
    scales: Floats
    degrees: float

    @classmethod
    def learn(
        cls, scores: Floats, depth: Ints, band: Ints, shape: tuple[int, int], degrees: float
    ) -> "Calibration":
        """From the scores of later sales with the cell each one fell in; ``shape`` is (depth classes,
        bands)."""
        scales = np.ones(shape)
        if len(scores):
            overall = _width(scores)
            by_depth = _shrunk_scales(scores / overall, depth, shape[0])
            by_band = _shrunk_scales(scores / overall / by_depth[depth], band, shape[1])
            scales = by_depth[:, None] * by_band[None, :]
        return cls(np.sort(scores / scales[depth, band]), scales, degrees)

    def finite(self, coverage: float) -> bool:
        """Whether there are scores enough for both ends of a central range of this coverage.

        >>> Calibration(np.arange(19.0), np.ones((1, 1)), 5.0).finite(0.9)
        True
        >>> Calibration(np.arange(18.0), np.ones((1, 1)), 5.0).finite(0.9)
        False
        """
        return rank(len(self.scores), (1.0 + coverage) / 2.0) <= len(self.scores)

    def quantiles(self, levels: Floats) -> Floats:
        """Scaled score at each level, the outer end taken (upward above the median, downward below it)."""
        n = len(self.scores)
        result = self._tail(levels)
        for index, level in enumerate(levels):
            place = rank(n, level) if level > 0.5 else n + 1 - rank(n, 1.0 - level)
            if abs(level - 0.5) < 1e-12 and n:
                result[index] = np.median(self.scores)
            elif 1 <= place <= n:
                result[index] = self.scores[place - 1]
        return np.maximum.accumulate(result)

    def shares(self, scores: Floats) -> Floats:
        """Share of like sales with a smaller scaled score: the inverse of :meth:`quantiles`, made
        continuous."""
        law, n = ErrorLaw(self.degrees), len(self.scores)
        if n < 2:
            return law.share(scores)
        inside = np.interp(scores, self.scores, np.arange(1, n + 1) / (n + 1))
        first, last = self.scores[0] * self._stretch(0), self.scores[-1] * self._stretch(-1)
        low = law.share(scores * self._stretch(0)) / law.share(first) / (n + 1)
        high = 1.0 - law.share(-scores * self._stretch(-1)) / law.share(-last) / (n + 1)
        return np.where(scores < self.scores[0], low, np.where(scores > self.scores[-1], high, inside))

    def _stretch(self, end: int) -> float:
        """Factor that puts the outermost score at its level in the regression's own law."""
        n = len(self.scores)
        level = np.array(1.0 / (n + 1) if end == 0 else n / (n + 1))
        expected, score = float(ErrorLaw(self.degrees).quantile(level)), float(self.scores[end])
        return expected / score if score * expected > 0 else 1.0

    def _tail(self, levels: Floats) -> Floats:
        raw = ErrorLaw(self.degrees).quantile(levels)
        if len(self.scores) < 2:
            return raw
        return np.where(levels < 0.5, raw / self._stretch(0), raw / self._stretch(-1))


def rank(n: int, level: float) -> int:
    """The conformal rank ``ceil((n + 1) level)``; a rank above ``n`` means that no finite bound can be
    promised.

    >>> rank(50, 0.9)
    46
    """
    return int(np.ceil((n + 1) * level - 1e-9))


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
