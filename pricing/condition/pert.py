"""Three-point estimates: the PERT distribution (Malcolm, Roseboom, Clark and Fazar 1959, from memory).

With low ``a``, likely ``m`` and high ``b``: mean ``(a + 4m + b) / 6``; published deviation ``(b - a) / 6``.
What is drawn is the beta on ``[a, b]`` with shapes ``1 + 4 (m - a) / (b - a)`` and ``1 + 4 (b - m) / (b -
a)``, whose mean is exactly that and whose deviation is ``sqrt((mean - a) (b - mean) / 7)``, at most 1.14
times the published one.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, ndtr

from pricing.arrays import Floats


def pert_mean(low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """Mean of the estimate, element by element.

    >>> float(pert_mean(2, 5, 14))
    6.0
    """
    return np.asarray((np.asarray(low) + 4.0 * np.asarray(likely) + np.asarray(high)) / 6.0)


def pert_quantile(level: ArrayLike, low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """Quantile of the estimate at ``level`` (0 to 1); arguments broadcast. A width of nought gives that
    value.

    >>> pert_quantile([0.0, 0.5, 1.0], 2, 5, 14).round(3).tolist()
    [2.0, 5.766, 14.0]
    """
    bottom, middle, top = (np.asarray(value, dtype=np.float64) for value in (low, likely, high))
    width = np.where(top > bottom, top - bottom, 1.0)
    first, second = 1.0 + 4.0 * (middle - bottom) / width, 1.0 + 4.0 * (top - middle) / width
    share = np.asarray(level, dtype=np.float64)
    share = np.where(share < 1e-100, 0.0, share)  # scipy gives nan at the very smallest
    return np.asarray(bottom + (top - bottom) * betaincinv(first, second, share))


_SCORES = np.linspace(-5.0, 5.0, 401)
_STEP = _SCORES[1] - _SCORES[0]


def pert_at_score(score: Floats, low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """The estimate of each column at standard normal scores of shape (draws, columns): ``pert_quantile`` of
    their probability, linear between 401 scores from -5 to 5.

    >>> pert_at_score(np.array([[-9.0], [0.0], [9.0]]), [2], [5], [14]).round(2).ravel().tolist()
    [2.0, 5.77, 14.0]
    """
    bounds = [np.asarray(value, dtype=np.float64) for value in (low, likely, high)]
    table = pert_quantile(ndtr(_SCORES)[:, None], *bounds)
    table[0], table[-1] = bounds[0], bounds[2]
    place = np.clip((score - _SCORES[0]) / _STEP, 0.0, len(_SCORES) - 1.0)
    below = np.minimum(place.astype(np.intp), len(_SCORES) - 2)
    columns = np.arange(score.shape[1])
    part = place - below
    return np.asarray((1.0 - part) * table[below, columns] + part * table[below + 1, columns])
