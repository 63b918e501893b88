"""The classical model of expert judgement (Cooke 1991): how good stated quantiles were.

Quantiles of several questions cut the line into bins, into which the true values should fall with the shares
``p`` that lie between the quantiles. Calibration is the probability that shares at least as far off as those
seen come about by chance; information is how much narrower the quantiles are than nothing known.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy import stats

from pricing.arrays import Floats
from pricing.errors import OpinionError

OVERSHOOT: Final = 0.1
"""By how much of its width the range of all that was stated and came is widened to the background range."""


def relative_entropy(seen: Floats, expected: Floats) -> float:
    """``sum s ln(s / p)`` of seen shares against expected ones (Kullback and Leibler 1951).

    >>> round(relative_entropy(np.array([0.1, 0.4, 0.4, 0.1]), np.array([0.05, 0.45, 0.45, 0.05])), 6)
    0.044403
    """
    some = seen > 0
    return float(np.sum(seen[some] * np.log(seen[some] / expected[some])))


def calibration(bins: Sequence[tuple[Floats, Floats]]) -> float:
    """Calibration score, 0 to 1: ``1 - F(sum 2 N sum s ln(s / p))`` with F chi-square.

    Args:
        bins: for each kind of question (those whose quantiles are of the same levels) how many true values
            fell into each bin, and the shares that should; the statistics of several kinds add up, and their
            degrees of freedom, one less than the bins of each.

    Raises:
        OpinionError: no true value is known.

    >>> ten = np.array([1.0, 4.0, 4.0, 1.0]), np.array([0.05, 0.45, 0.45, 0.05])
    >>> round(calibration([ten]), 5)
    0.82831
    """
    filled = [(counts, expected) for counts, expected in bins if counts.sum() > 0]
    if not filled:
        raise OpinionError("no sale is known that a statement can be held against")
    statistic = sum(
        2.0 * counts.sum() * relative_entropy(counts / counts.sum(), expected) for counts, expected in filled
    )
    return float(stats.chi2.sf(statistic, sum(len(expected) - 1 for _, expected in filled)))


def information(quantiles: Floats, levels: Floats, low: float, high: float) -> float:
    """Information of stated quantiles at rising ``levels``: relative entropy of the law that is even between
    them against the law that is even over the background range from ``low`` to ``high``.

    >>> information(np.array([0.25, 0.75]), np.array([0.25, 0.75]), 0.0, 1.0)
    0.0
    """
    shares = np.diff(np.concatenate([[0.0], levels, [1.0]]))
    widths = np.diff(np.concatenate([[low], quantiles, [high]]))
    return float(np.log(high - low) + np.sum(shares * np.log(shares / widths)))


def background(values: Floats) -> tuple[float, float]:
    """The background range of a question: all that was stated and came, widened by ``OVERSHOOT`` at each
    end.

    >>> background(np.array([1.0, 2.0]))
    (0.9, 2.1)
    """
    low, high = float(values.min()), float(values.max())
    more = OVERSHOOT * (high - low)
    return low - more, high + more
