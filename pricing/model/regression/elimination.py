"""The posterior of a tree of groups, found from the finest groups up.

Deviations are integrated out from the finest level up (the Schur complement of a block-arrow matrix), each
leaving a few rows ``U`` whose square ``U'U`` is what it takes away from every system above it; the market's
coefficients are solved, and deviations follow on the way down. Cost and memory are linear in the number of
groups (Harville 1977 for the likelihood). Runs of the coarsest groups are independent of one another given
the market, and are shared out between threads.
"""

from collections.abc import Iterator

import numpy as np

from pricing.arrays import Bools, Floats, Ints
from pricing.model.regression.pooling import CrossProducts, LevelPosterior, Posterior, Priors, Tree
from pricing.model.regression.threads import shared_out

JITTER = 1e-10
"""Share of the mean diagonal added to the market's system, so that a column without data solves to nought."""

TOGETHER = 32
"""Coarsest groups eliminated together, with all that descends from them: what the threads share out."""

MANY_GROUPS = 1_000
"""Groups from which on threads are worth their cost."""


def solve(products: CrossProducts, tree: Tree, priors: Priors, varying: list[Ints]) -> Posterior:
    """Posterior of the whole tree; ``varying`` are the columns that the levels' cross-products are given
    for."""
    depth, p = len(varying), len(products.right)
    levels = [
        LevelPosterior(S, *(np.empty((size, len(S), *rest)) for rest in ((p,), (len(S),), ())))
        for size, S in zip(tree.sizes, varying, strict=True)
    ]
    system, right, log_evidence = products.market.copy(), products.right.copy(), 0.0
    bounds = {(level, finer): tree.bounds(level, finer) for finer in range(depth) for level in range(finer)}

    def eliminated(first: int) -> tuple[Floats, Floats, float]:
        """Integrate out all that descends from a run of the coarsest groups; gives what that takes from the
        market's system, and its part of the evidence."""
        last = min(first + TOGETHER, tree.sizes[0])
        part = [slice(first, last)]
        part += [slice(*bounds[0, level][[first, last]]) for level in range(1, depth)]
        square, side, evidence = np.zeros((p, p)), np.zeros(p), 0.0
        rows: list[Floats] = [np.empty(0)] * depth
        ends: list[Floats] = [np.empty(0)] * depth
        for level in range(depth - 1, -1, -1):
            own, S = part[level], varying[level]
            tau = np.sqrt(priors.levels[level, S])
            B, b = products.levels[level][own].copy(), products.rights[level][own].copy()
            for finer in range(level + 1, depth):
                within = bounds[level, finer][own.start : own.stop + 1] - part[finer].start
                for group, start, stop in ranges(within):
                    U = rows[finer][start:stop].reshape(-1, p)
                    u = ends[finer][start:stop].reshape(-1) @ U
                    if level:
                        B[group] -= U[:, S].T @ U
                    else:  # the square is wanted whole, for the market
                        whole = U.T @ U
                        B[group] -= whole[S]
                        square += whole
                        side += u
                    b[group] -= u[S]
            inner = tau[:, None] * B[:, :, S] * tau
            inner[:, np.arange(len(S)), np.arange(len(S))] += 1.0
            inverse = np.linalg.inv(inner)
            half = np.linalg.cholesky(0.5 * (inverse + inverse.transpose(0, 2, 1))).transpose(0, 2, 1)
            root = half * tau
            rows[level] = root @ B
            ends[level] = np.matmul(root, b[:, :, None])[:, :, 0]
            evidence += 0.5 * float(np.square(ends[level]).sum())
            evidence += float(np.log(np.diagonal(half, axis1=1, axis2=2)).sum())
            back = root.transpose(0, 2, 1)
            levels[level].gain[own] = back @ rows[level]
            levels[level].spread[own] = back @ root
            levels[level].offset[own] = np.matmul(back, ends[level][:, :, None])[:, :, 0]
        flat = rows[0].reshape(-1, p)
        return square + flat.T @ flat, side + ends[0].reshape(-1) @ flat, evidence

    starts = range(0, tree.sizes[0], TOGETHER) if depth else range(0)
    for square, side, evidence in shared_out(eliminated, starts, sum(tree.sizes) >= MANY_GROUPS):
        system -= square
        right -= side
        log_evidence += evidence
    finite = np.isfinite(priors.market)
    precision = system + np.diag(1.0 / priors.market)
    precision[np.diag_indices_from(precision)] += JITTER * np.trace(products.market) / p
    covariance = np.linalg.inv(precision)
    covariance = 0.5 * (covariance + covariance.T)
    market = covariance @ right
    log_evidence += 0.5 * float(
        right @ market - np.linalg.slogdet(precision)[1] - np.log(priors.market[finite]).sum()
    )
    totals = carried_down(market, levels, tree)
    return Posterior(market, covariance, levels, totals, log_evidence)


def carried_down(market: Floats, levels: list[LevelPosterior], tree: Tree) -> list[Floats]:
    """Total coefficients of every group, from the market down; sets the ``mean`` of every deviation."""
    totals: list[Floats] = []
    above = market[None, :]
    for level, current in enumerate(levels):
        inherited = above[tree.parents[level]]
        current.mean = current.offset - np.matmul(current.gain, inherited[:, :, None])[:, :, 0]
        total = inherited.copy()
        total[:, current.columns] += current.mean
        totals.append(total)
        above = total
    return totals


def cut(whole: Posterior, upper: Posterior, tree: Tree, fixed: list[Bools]) -> Posterior:
    """The posterior whose market, and whose groups that are ``fixed`` (of each level), are those of
    ``upper``, and whose other groups have the deviations that ``whole`` gives them, given what is above them:
    what ``whole`` has seen beside flows down and not up (a cut, Liu, Bayarri and Berger 2009)."""
    levels = []
    for below, own, keep in zip(whole.levels, upper.levels, fixed, strict=True):
        gain, spread, offset = (part.copy() for part in (below.gain, below.spread, below.offset))
        gain[keep], spread[keep], offset[keep] = own.gain[keep], own.spread[keep], own.offset[keep]
        levels.append(LevelPosterior(below.columns, gain, spread, offset))
    totals = carried_down(upper.market, levels, tree)
    return Posterior(upper.market.copy(), upper.covariance, levels, totals, whole.log_evidence)


def ranges(bounds: Ints) -> Iterator[tuple[int, int, int]]:
    """Group, start and stop of every range that is not empty."""
    for group in np.flatnonzero(np.diff(bounds) > 0):
        yield int(group), int(bounds[group]), int(bounds[group + 1])
