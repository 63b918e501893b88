"""What residuals say: weights of heavy-tailed errors, their degrees of freedom, and rows known only by
bounds.

Sources: Lange, Little and Taylor (1989) for the t weights; Johnson, Kotz and Balakrishnan (1994), chapter
13, for the moments of a truncated normal.
"""

from math import lgamma, log, pi
from typing import Final

import numpy as np
from scipy import special

from pricing.arrays import Bools, Floats

DEGREES: Final = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0, 60.0)
"""Degrees of freedom that are tried; the likeliest is kept."""

SAMPLE: Final = 20_000
"""Residuals that the degrees of freedom are judged by at most, spread evenly over the rows."""


def latent_weights(
    squares: Floats, log_variance: Floats, degrees_of_freedom: float, censored: Bools
) -> Floats:
    """Expected precision multipliers of t errors; a censored row's imputed value is taken as normal."""
    if np.isinf(degrees_of_freedom):
        return np.ones(len(squares))
    weights = (degrees_of_freedom + 1.0) / (degrees_of_freedom + squares * np.exp(-log_variance))
    weights[censored] = 1.0
    return weights


def likeliest_degrees(squares: Floats, log_variance: Floats) -> float:
    """The degrees of freedom in ``DEGREES`` under which the residuals are likeliest, each with its own scale.

    >>> z = np.random.default_rng(0).standard_t(4.0, 20_000)
    >>> likeliest_degrees(np.square(z), np.zeros(20_000))
    4.0
    """
    step = -(-len(squares) // SAMPLE)
    z = np.sqrt(squares[::step] * np.exp(-log_variance[::step]))
    best, best_score = DEGREES[0], -np.inf
    for degrees_of_freedom in DEGREES:
        scale = 1.0
        for _ in range(15):
            scale = float(
                np.sqrt(
                    np.mean(
                        (degrees_of_freedom + 1.0)
                        / (degrees_of_freedom + np.square(z / scale))
                        * np.square(z)
                    )
                )
            )
        kernel = -0.5 * (degrees_of_freedom + 1.0) * np.log1p(np.square(z / scale) / degrees_of_freedom).sum()
        score = float(kernel + len(z) * (_log_t_constant(degrees_of_freedom) - np.log(scale)))
        if score > best_score:
            best, best_score = degrees_of_freedom, score
    return best


def _log_t_constant(degrees_of_freedom: float) -> float:
    """Log density of Student's t at nought."""
    half = 0.5 * degrees_of_freedom
    return lgamma(half + 0.5) - lgamma(half) - 0.5 * log(degrees_of_freedom * pi)


def truncated_moments(mean: Floats, deviation: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of a normal known to lie between two bounds, infinite where open.

    >>> mean, variance = truncated_moments(np.zeros(1), np.ones(1), np.zeros(1), np.full(1, np.inf))
    >>> [round(float(value), 6) for value in (mean[0], variance[0])]
    [0.797885, 0.36338]
    """
    a, b = (low - mean) / deviation, (high - mean) / deviation
    flip = a + b > 0  # work in the left tail, where the distribution function keeps its digits
    a, b = np.where(flip, -b, a), np.where(flip, -a, b)
    log_a, log_b = special.log_ndtr(a), special.log_ndtr(b)
    log_mass = log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, -1e-12)))
    root = 0.5 * np.log(2 * np.pi)
    density_a = np.where(np.isfinite(a), np.exp(-0.5 * np.square(a) - root - log_mass), 0.0)
    density_b = np.where(np.isfinite(b), np.exp(-0.5 * np.square(b) - root - log_mass), 0.0)
    shift = density_a - density_b
    finite_a, finite_b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    variance = 1.0 + finite_a * density_a - finite_b * density_b - np.square(shift)
    shift = np.where(flip, -shift, shift)
    return np.clip(mean + deviation * shift, low, high), np.square(deviation) * np.clip(variance, 1e-6, 1.0)
