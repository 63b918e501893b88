"""Adjusted prices to one opinion: what each is trusted, where their middle lies, how far a sale may fall from
it."""

from typing import Final

import numpy as np

from pricing.arrays import Floats

GROSS_ERROR: Final = 0.25
"""A gross adjustment is taken to be off by this share of itself (standard deviation). Assumption."""

DRIFT: Final = 0.05
"""What a model's price strays from the market's index in a year (standard deviation of the log).
Assumption."""


RULE_OF_THUMB: Final = 0.25
"""Sum of the sizes of the log adjustments beyond which a sale counts for less with the square of its excess:
the gross limit of comparable-sales guides, 25 % (common practice, no source for the square)."""


def reliability_weights(noise: Floats, gross: Floats, age: Floats) -> Floats:
    """Weight of each adjusted price before they are made to add up: one over the variance of its logarithm.

    ``noise`` is the residual standard deviation of a log price of its class of evidence (by condition band,
    ungraded cars apart), ``gross`` the sum of the sizes of its log adjustments, ``age`` in years. Beyond
    ``RULE_OF_THUMB`` the variance grows with the square of how many times it is exceeded.

    >>> reliability_weights(np.array([0.2, 0.2]), np.array([0.0, 0.8]), np.zeros(2)).round(6).tolist()
    [25.0, 1.220703]
    """
    excess = np.maximum(gross / RULE_OF_THUMB, 1.0)
    variance = np.square(noise) + np.square(GROSS_ERROR * gross) + DRIFT**2 * np.maximum(age, 0.0)
    return np.asarray(1.0 / (variance * np.square(excess)))


def weighted_median(values: Floats, weights: Floats) -> Floats:
    """Where half of the weight of each row lies below (n x k to n); NaN without weight.

    Each value stands at the middle of its own weight, straight lines between. It is the median where the
    weights are equal, and no single price, however wrong, can pull it far.

    >>> weighted_median(np.array([[3.0, 1, 2], [1, 9, 5]]), np.array([[1.0, 1, 1], [1, 0, 1]])).tolist()
    [2.0, 3.0]
    """
    order = np.argsort(np.where(weights > 0, values, np.inf), axis=1, kind="stable")
    v, w = np.take_along_axis(values, order, axis=1), np.take_along_axis(weights, order, axis=1)
    total = w.sum(axis=1)
    share = (np.cumsum(w, axis=1) - w / 2) / np.where(total > 0, total, 1.0)[:, None]
    share[w <= 0] = 2.0
    rows = np.arange(len(v))
    upper = np.clip((share < 0.5).sum(axis=1), 0, np.maximum((w > 0).sum(axis=1) - 1, 0))
    lower = np.maximum(upper - 1, 0)
    below, above = share[rows, lower], share[rows, upper]
    part = np.clip((0.5 - below) / np.where(above > below, above - below, 1.0), 0.0, 1.0)
    return np.where(total > 0, v[rows, lower] + part * (v[rows, upper] - v[rows, lower]), np.nan)


def stated_error(total: Floats) -> Floats:
    """Standard deviation (log) of a weighted median whose weights, each one over a variance, add up to
    ``total``: its variance is pi / 2 times that of the mean, 1 / total, by the normal law.

    >>> stated_error(np.array([np.pi / 2])).round(9).tolist()
    [1.0]
    """
    return np.sqrt((np.pi / 2) / np.where(total > 0, total, np.inf))
