"""Exact Gaussian partial pooling on a tree of nested groups.

The coefficients of a group are those of its parent plus a deviation, ``theta_g = theta_parent + d_g`` with
``d_g ~ N(0, diag(tau^2))``, the market being the root. Given the weighted cross-products ``A = X'WX`` and
``h = X'Wy`` of every finest group, the posterior is found without ever forming one large system: deviations are
integrated out from the finest level up (the Schur complement of a block-arrow matrix), the market's coefficients
are solved, and deviations follow on the way down. Cost is linear in the number of groups.

Sources: Lindley and Smith (1972) for the hierarchy; Harville (1977) for the likelihood; MacKay (1992) for the
variance update ``tau^2 = sum d^2 / sum (1 - var(d) / tau^2)``, whose fixed points are those of EM.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHUNK = 512
"""Groups worked on at once: bounds the memory of a batch, not the answer."""

JITTER = 1e-10
"""Share of the mean diagonal added to the market's system, so that a column without data solves to nought."""


@dataclass(frozen=True)
class Tree:
    """Nested groups: ``parents[l][g]`` is the group one level up that group ``g`` of level ``l`` belongs to.

    Level 0 is directly below the market; its parents are all 0. A tree without levels is the market alone.

    >>> tree = Tree((np.zeros(2, dtype=np.int64), np.array([0, 0, 1])))
    >>> tree.sizes
    (2, 3)
    """

    parents: tuple[Ints, ...]

    @property
    def sizes(self) -> tuple[int, ...]:
        """Number of groups at each level."""
        return tuple(len(parent) for parent in self.parents)


@dataclass(frozen=True)
class Priors:
    """Prior variances. ``market`` has one a column (infinite: not pooled); ``levels`` one row a level, one column
    a column (nought: that column does not vary there)."""

    market: Floats
    levels: Floats


@dataclass
class LevelPosterior:
    """One level's deviations given the parent's coefficients: ``d = offset - gain @ theta_parent``, covariance
    ``spread``; ``mean`` is the posterior mean with the parent integrated out."""

    columns: Ints
    gain: Floats
    offset: Floats
    spread: Floats
    mean: Floats
    variance: Floats = field(default_factory=lambda: np.empty(0))


@dataclass
class Posterior:
    """Market coefficients with covariance, the levels' deviations, and the total coefficients of every group."""

    market: Floats
    covariance: Floats
    levels: list[LevelPosterior]
    totals: list[Floats]
    log_evidence: float

    def coefficients(self, codes: Ints) -> Floats:
        """Total coefficients of each row: those of its finest known group.

        ``codes`` has one row a car and one column a level, coarsest first (finer levels may be left off), -1 for a
        group never seen. Returns rows x columns.
        """
        result = np.broadcast_to(self.market, (len(codes), len(self.market))).copy()
        for level, totals in enumerate(self.totals[: codes.shape[1]]):
            known = codes[:, level] >= 0
            result[known] = totals[codes[known, level]]
        return result

    def variance(self, X: Floats, codes: Ints, priors: Priors) -> Floats:
        """Posterior variance of ``x @ theta`` for each row, an unseen group adding its level's prior variance."""
        functional = X.copy()
        result = np.zeros(len(X))
        for level in range(len(self.levels) - 1, -1, -1):
            posterior = self.levels[level]
            known = codes[:, level] >= 0
            if not known.all():
                result[~known] += np.square(functional[~known]) @ priors.levels[level]
            if known.any() and len(posterior.columns):
                group = codes[known, level]
                a = functional[known][:, posterior.columns]
                result[known] += np.einsum("ni,nij,nj->n", a, posterior.spread[group], a, optimize=True)
                functional[known] -= np.einsum("ni,nij->nj", a, posterior.gain[group], optimize=True)
        return result + np.einsum("ni,ij,nj->n", functional, self.covariance, functional, optimize=True)


    def ordered(self, columns: Ints, X: Floats) -> "Posterior":
        """The posterior with the steps in ``columns`` made non-negative in the market and in every group.

        The cumulated effects of a group are replaced by their isotonic regression, weighted by the share of the rows
        of ``X`` at each step, so that a group's level moves as little as it can.
        """
        if not len(columns):
            return self
        reached = (X[:, columns] > 0.5).mean(axis=0)
        weights = np.maximum(-np.diff(np.concatenate([[1.0], reached, [0.0]])), 1e-6)

        def mend(totals: Floats) -> Floats:
            effects = np.cumsum(np.column_stack([np.zeros(len(totals)), totals[:, columns]]), axis=1)
            fitted = isotonic(effects, weights)
            result = totals.copy()
            result[:, 0] += fitted[:, 0]
            result[:, columns] = np.diff(fitted, axis=1)
            return result

        market = mend(self.market[None, :])[0]
        return Posterior(
            market, self.covariance, self.levels, [mend(totals) for totals in self.totals], self.log_evidence
        )


def isotonic(values: Floats, weights: Floats) -> Floats:
    """Rows of ``values`` made non-decreasing by weighted least squares, by the max-min formula
    (Barlow, Bartholomew, Bremner and Brunk 1972), which is exact and works on all rows at once.

    >>> isotonic(np.array([[1.0, 3.0, 2.0]]), np.ones(3)).tolist()
    [[1.0, 2.5, 2.5]]
    """
    K = values.shape[1]
    mass = np.concatenate([[0.0], np.cumsum(weights)])
    total = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values * weights, axis=1)], axis=1)
    means = {
        (first, last): (total[:, last + 1] - total[:, first]) / (mass[last + 1] - mass[first])
        for first in range(K)
        for last in range(first, K)
    }
    columns = [
        np.max([np.min([means[a, b] for b in range(k, K)], axis=0) for a in range(k + 1)], axis=0) for k in range(K)
    ]
    return np.maximum.accumulate(np.column_stack(columns), axis=1)


def _sum_by(values: Floats, index: Ints, size: int) -> Floats:
    """Sum of the leading axis by group."""
    order = np.argsort(index, kind="stable")
    sorted_index = index[order]
    starts = np.flatnonzero(np.r_[True, sorted_index[1:] != sorted_index[:-1]])
    result = np.zeros((size, *values.shape[1:]))
    result[sorted_index[starts]] = np.add.reduceat(values[order], starts, axis=0)
    return result


def solve(A: Floats, h: Floats, tree: Tree, priors: Priors) -> Posterior:
    """Posterior of the whole tree from the finest groups' cross-products.

    ``A`` is groups x columns x columns, ``h`` groups x columns; the finest level of ``tree`` gives the groups (one
    group when the tree has no levels). ``log_evidence`` omits the terms that do not depend on the priors.
    """
    levels: list[LevelPosterior] = []
    log_evidence = 0.0
    for level in range(len(tree.parents) - 1, -1, -1):
        tau = np.sqrt(priors.levels[level])
        S = np.flatnonzero(tau > 0)
        t = tau[S]
        groups, p, q = len(A), A.shape[1], len(S)
        gain, offset = np.zeros((groups, q, p)), np.zeros((groups, q))
        spread = np.zeros((groups, q, q))
        parent = tree.parents[level]
        size = tree.sizes[level - 1] if level else 1
        upper_A, upper_h = np.zeros((size, p, p)), np.zeros((size, p))
        for start in range(0, groups, CHUNK):
            part = slice(start, min(start + CHUNK, groups))
            A_part, h_part = A[part], h[part]
            if q:
                B = A_part[:, S, :]
                inner = np.eye(q) + t[:, None] * B[:, :, S] * t
                inverse = np.linalg.inv(inner)
                spread[part] = t[:, None] * inverse * t
                gain[part] = spread[part] @ B
                offset[part] = np.einsum("gij,gj->gi", spread[part], h_part[:, S])
                log_evidence += 0.5 * float(
                    np.einsum("gi,gi->", h_part[:, S], offset[part]) - np.linalg.slogdet(inner)[1].sum()
                )
                A_part = A_part - B.transpose(0, 2, 1) @ gain[part]
                h_part = h_part - np.einsum("gij,gi->gj", B, offset[part])
            upper_A += _sum_by(A_part, parent[part], size)
            upper_h += _sum_by(h_part, parent[part], size)
        levels.insert(0, LevelPosterior(S, gain, offset, spread, np.empty(0)))
        A, h = upper_A, upper_h
    system, right = A.sum(axis=0), h.sum(axis=0)
    precision = system + np.diag(1.0 / priors.market)
    precision[np.diag_indices_from(precision)] += JITTER * np.trace(system) / len(system)
    covariance = np.linalg.inv(precision)
    covariance = 0.5 * (covariance + covariance.T)
    market = covariance @ right
    finite = np.isfinite(priors.market)
    log_evidence += 0.5 * float(
        right @ market - np.linalg.slogdet(precision)[1] - np.log(priors.market[finite]).sum()
    )
    totals: list[Floats] = []
    above = market[None, :]
    for level, posterior in enumerate(levels):
        inherited = above[tree.parents[level]]
        posterior.mean = posterior.offset - np.einsum("gij,gj->gi", posterior.gain, inherited)
        total = inherited.copy()
        total[:, posterior.columns] += posterior.mean
        totals.append(total)
        above = total
    return Posterior(market, covariance, levels, totals, log_evidence)


def marginal_variances(
    posterior: Posterior, tree: Tree, on_finest: Callable[[slice, Floats], None] | None = None
) -> None:
    """Fill in ``variance`` of every level: the posterior variance of each deviation, parents integrated out.

    ``on_finest`` is called with slices of the finest groups and the covariances (groups x columns x columns) of
    their total coefficients, a batch at a time; with no levels, once with the market's.
    """
    above = posterior.covariance[None, :, :]
    if not posterior.levels and on_finest is not None:
        on_finest(slice(0, 1), above)
    for level, current in enumerate(posterior.levels):
        parent = tree.parents[level]
        S = current.columns
        last = level == len(posterior.levels) - 1
        current.variance = np.empty((len(parent), len(S)))
        below = np.empty((0, 0, 0)) if last else np.empty((len(parent), *posterior.covariance.shape))
        for start in range(0, len(parent), CHUNK):
            part = slice(start, min(start + CHUNK, len(parent)))
            inherited = above[parent[part]]
            gain = current.gain[part]
            R = gain @ inherited
            spread = current.spread[part]
            current.variance[part] = np.einsum("gkj,gkj->gk", R, gain) + np.einsum("gkk->gk", spread)
            if last and on_finest is None:
                continue
            inherited[:, S, :] -= R
            inherited[:, :, S] -= R.transpose(0, 2, 1)
            inherited[:, S[:, None], S] += R @ gain.transpose(0, 2, 1) + spread
            if last and on_finest is not None:
                on_finest(part, inherited)
            else:
                below[part] = inherited
        above = below


def updated_priors(posterior: Posterior, tree: Tree, priors: Priors, blocks: list[Ints]) -> Priors:
    """One MacKay update of every variance; columns of a block share one variance at each level.

    A block whose prior is infinite (market) or nought (level) stays as it is.
    """
    marginal_variances(posterior, tree)
    market, levels = priors.market.copy(), priors.levels.copy()
    diagonal = np.diag(posterior.covariance)
    for block in blocks:
        old = float(priors.market[block[0]])
        if np.isfinite(old) and old > 0:
            determined = float(np.sum(1.0 - diagonal[block] / old))
            market[block] = _bounded(float(np.sum(np.square(posterior.market[block]))), determined, old)
        for level, current in enumerate(posterior.levels):
            old = float(priors.levels[level, block[0]])
            if old <= 0:
                continue
            place = np.searchsorted(current.columns, block)
            determined = float(np.sum(1.0 - current.variance[:, place] / old))
            squares = float(np.sum(np.square(current.mean[:, place])))
            levels[level, block] = _bounded(squares, determined, old)
    return Priors(market, levels)


def _bounded(squares: float, determined: float, old: float) -> float:
    """``squares / determined``, moved by at most a factor of 20 a step and kept above a variance of 1e-8."""
    proposal = squares / max(determined, 1e-9)
    return float(np.clip(proposal, max(old / 20.0, 1e-8), old * 20.0))
