"""Prior variances learnt from the posterior they led to (MacKay 1992): ``tau^2 = sum d^2 / sum (1 - var(d) /
tau^2)``, whose fixed points are those of EM."""

from collections.abc import Sequence

import numpy as np

from pricing.arrays import Floats, Ints
from pricing.model.regression.pooling import Posterior, Priors, Tree

SMALLEST = 1e-8
"""No variance is taken to be smaller than this; at the scale of log prices it is nought."""

JUMPS = 1.0
"""Degrees of freedom of the steps of a market's level (Cauchy): most months move little, a few a lot. With
two, a market that had slid for six months was drawn back by .01 (log) more, and none came out better
(`bench_moves.py`, on seeds that its table does not use)."""

MOST_GROUPS = 500
"""Groups of a level whose posterior variances are worked out for an update, evenly spread over all of
them."""


def deviation_variances(
    posterior: Posterior, tree: Tree, priors: Priors, level: int, groups: Ints | None = None
) -> Floats:
    """Posterior variance of the deviations of a level's ``groups`` (all of them unless told; in order),
    what is above integrated out: groups x varying."""
    current, q = posterior.levels[level], len(posterior.levels[level].columns)
    chosen = np.arange(len(current.gain)) if groups is None else groups
    own = np.einsum("gkk->gk", current.spread[chosen])
    above = [np.repeat(tree.ancestors(upper, level)[chosen], q) for upper in range(level)]
    codes = np.array(above, dtype=np.int64).reshape(level, own.size).T
    gain = current.gain[chosen].reshape(own.size, len(posterior.market))
    return posterior.variance(gain, codes, priors, own.ravel()).reshape(own.shape)


def updated_priors(
    posterior: Posterior,
    tree: Tree,
    priors: Priors,
    blocks: list[Ints],
    anchor: Priors | None = None,
    weight: float = 0.0,
    jumping: Sequence[Ints] = (),
) -> Priors:
    """One MacKay update of every variance; columns of a block share one variance at each level.

    A block whose prior is infinite (market) or nought (level) stays as it is. ``weight`` is how many
    well-determined coefficients the variance in ``anchor`` counts for: where the data say next to nothing
    of a variance it stays near there and does not collapse to nought, which would make intervals too narrow.
    The market's columns of the blocks in ``jumping`` have a variance each (see ``_jumping``).
    """
    anchor = priors if anchor is None else anchor
    market, levels = priors.market.copy(), priors.levels.copy()
    diagonal = np.diag(posterior.covariance)
    jumps = {int(block[0]) for block in jumping if len(block) > 2}
    for block in blocks:
        old = float(priors.market[block[0]])
        if int(block[0]) in jumps:
            market[block] = _jumping(
                np.square(posterior.market[block]), diagonal[block], priors.market[block],
                float(anchor.market[block[0]]), weight,
            )  # fmt: skip
        elif np.isfinite(old) and old > SMALLEST:
            determined = float(np.sum(1.0 - diagonal[block] / old))
            squares = float(np.sum(np.square(posterior.market[block])))
            expected = float(anchor.market[block[0]])
            market[block] = _moved(squares + weight * expected, determined + weight, old)
    for level, current in enumerate(posterior.levels):
        step = -(-len(current.gain) // MOST_GROUPS)
        chosen = np.arange(0, len(current.gain), step)
        variances = deviation_variances(posterior, tree, priors, level, chosen)
        share = len(chosen) / len(current.gain)
        for block in blocks:
            old = float(priors.levels[level, block[0]])
            if old <= SMALLEST:
                continue
            place = np.searchsorted(current.columns, block)
            determined = float(np.sum(1.0 - variances[:, place] / old)) / share
            squares = float(np.sum(np.square(current.mean[:, place])))
            expected = float(anchor.levels[level, block[0]])
            levels[level, block] = _moved(squares + weight * expected, determined + weight, old)
    return Priors(market, levels)


def _jumping(squares: Floats, variances: Floats, old: Floats, expected: float, weight: float) -> Floats:
    """Each increment's own prior variance where increments have a Student-t law of ``JUMPS`` degrees of
    freedom (a scale mixture of normal laws; Lange, Little and Taylor 1989): one that is large against the
    others is not drawn back to nought. The harmonic mean of the variances is the squared scale of the law."""
    scale = 1.0 / float(np.mean(1.0 / old))
    precision = (JUMPS + 1.0) / (JUMPS + (squares + variances) / scale)
    precision /= precision.mean()
    determined = float(np.sum(1.0 - variances / old))
    return _moved(float(precision @ squares) + weight * expected, determined + weight, scale) / precision


def _moved(squares: float, determined: float, old: float) -> float:
    """``squares / determined``, moved by at most a factor of 20 a step and kept above ``SMALLEST``."""
    proposal = squares / max(determined, 1e-9)
    return float(np.clip(proposal, max(old / 20.0, SMALLEST), old * 20.0))
