"""Exact Gaussian partial pooling on a tree of nested groups.

The coefficients of a group are those of its parent plus a deviation, ``theta_g = theta_parent + d_g`` with
``d_g ~ N(0, diag(tau^2))``, the market being the root. The posterior is found without forming one large
system, nor even one of all columns for each group: deviations are integrated out from the finest level up
(the Schur complement of a block-arrow matrix), each leaving a few rows ``U`` whose square ``U'U`` is what
it takes away from every system above it; the market's coefficients are solved, and deviations follow on the
way down. Cost and memory are linear in the number of groups.

Sources: Lindley and Smith (1972) for the hierarchy; Harville (1977) for the likelihood; MacKay (1992) for the
variance update ``tau^2 = sum d^2 / sum (1 - var(d) / tau^2)``, whose fixed points are those of EM.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

JITTER = 1e-10
"""Share of the mean diagonal added to the market's system, so that a column without data solves to nought."""

SMALLEST = 1e-8
"""No variance is taken to be smaller than this; at the scale of log prices it is nought."""


MOST_GROUPS = 500
"""Groups of a level whose posterior variances are worked out for an update, evenly spread over all of
them."""


@dataclass(frozen=True)
class Tree:
    """Nested groups: ``parents[l][g]`` is the group one level up that group ``g`` of level ``l`` belongs to.

    Level 0 is directly below the market; its parents are all 0. Parents are in order, so that what descends
    from a group is a range. A tree without levels is the market alone.

    >>> tree = Tree((np.zeros(2, dtype=np.int64), np.array([0, 0, 1])))
    >>> tree.sizes, tree.bounds(0, 1).tolist()
    ((2, 3), [0, 2, 3])
    """

    parents: tuple[Ints, ...]

    @property
    def sizes(self) -> tuple[int, ...]:
        """Number of groups at each level."""
        return tuple(len(parent) for parent in self.parents)

    def ancestors(self, level: int, finer: int) -> Ints:
        """For every group of level ``finer``, the group of ``level`` it descends from."""
        index = np.arange(len(self.parents[finer]))
        for step in range(finer, level, -1):
            index = self.parents[step][index]
        return index

    def bounds(self, level: int, finer: int) -> Ints:
        """Group ``g`` of ``level`` is the parent, however far up, of groups ``bounds[g]:bounds[g + 1]``."""
        return np.searchsorted(self.ancestors(level, finer), np.arange(len(self.parents[level]) + 1))


@dataclass(frozen=True)
class Priors:
    """Prior variances. ``market`` has one a column (infinite: not pooled); ``levels`` one row a level, one
    column a column (nought: that column does not vary there)."""

    market: Floats
    levels: Floats

    def varying(self) -> list[Ints]:
        """The columns that vary at each level."""
        return [np.flatnonzero(level > 0) for level in self.levels]


@dataclass(frozen=True)
class CrossProducts:
    """Weighted sums over rows: the market's ``X'WX`` and ``X'Wy``, and for every level, those rows of each
    group's that belong to the level's varying columns (groups x varying x columns, groups x varying)."""

    market: Floats
    right: Floats
    levels: list[Floats]
    rights: list[Floats]


@dataclass
class LevelPosterior:
    """One level's deviations given the parent's coefficients: ``d = offset - gain @ theta_parent``,
    covariance ``spread``; ``mean`` is the posterior mean with the parent integrated out and ``variance``
    that of each."""

    columns: Ints
    gain: Floats
    spread: Floats
    offset: Floats = field(default_factory=lambda: np.empty(0))
    mean: Floats = field(default_factory=lambda: np.empty(0))


@dataclass
class Posterior:
    """Market coefficients with covariance, the levels' deviations, and the total coefficients of every group.

    ``log_evidence`` omits the terms that do not depend on the priors.
    """

    market: Floats
    covariance: Floats
    levels: list[LevelPosterior]
    totals: list[Floats]
    log_evidence: float

    def coefficients(self, codes: Ints) -> Floats:
        """Total coefficients of each row: those of its finest known group.

        ``codes`` has one row a car and one column a level, coarsest first (finer levels may be left off),
        -1 for a group never seen. Returns rows x columns.
        """
        result = np.broadcast_to(self.market, (len(codes), len(self.market))).copy()
        for level, totals in enumerate(self.totals[: codes.shape[1]]):
            known = codes[:, level] >= 0
            result[known] = totals[codes[known, level]]
        return result

    def variance(self, functional: Floats, codes: Ints, priors: Priors) -> Floats:
        """Posterior variance of ``functional @ theta`` for each row, an unseen group adding its prior
        variance."""
        rest = functional.copy()
        result = np.zeros(len(rest))
        for level in range(len(self.levels) - 1, -1, -1):
            current = self.levels[level]
            known = np.flatnonzero(codes[:, level] >= 0)
            if len(known) < len(rest):
                new = np.flatnonzero(codes[:, level] < 0)
                result[new] += np.square(rest[new]) @ priors.levels[level]
            if len(known) and len(current.columns):
                group = codes[known, level]
                a = rest[np.ix_(known, current.columns)]
                result[known] += np.einsum(
                    "ni,ni->n", np.matmul(a[:, None, :], current.spread[group])[:, 0], a
                )
                rest[known] -= np.matmul(a[:, None, :], current.gain[group])[:, 0]
        return result + np.einsum("np,np->n", rest @ self.covariance, rest)

    def ordered(self, columns: Ints, weights: Floats) -> "Posterior":
        """The posterior with the steps in ``columns`` made non-negative in the market and in every group.

        The cumulated effects of a group are replaced by their isotonic regression, weighted by the share of
        the sales at each (one more than there are steps), so that a group's level moves as little as it can.
        """
        if not len(columns):
            return self

        def mend(totals: Floats) -> Floats:
            effects = np.cumsum(np.column_stack([np.zeros(len(totals)), totals[:, columns]]), axis=1)
            fitted = isotonic(effects, weights)
            result = totals.copy()
            result[:, 0] += fitted[:, 0]
            result[:, columns] = np.diff(fitted, axis=1)
            return result

        market = mend(self.market[None, :])[0]
        totals = [mend(totals) for totals in self.totals]
        return Posterior(market, self.covariance, self.levels, totals, self.log_evidence)


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
        np.max([np.min([means[a, b] for b in range(k, K)], axis=0) for a in range(k + 1)], axis=0)
        for k in range(K)
    ]
    return np.maximum.accumulate(np.column_stack(columns), axis=1)


def solve(products: CrossProducts, tree: Tree, priors: Priors, varying: list[Ints]) -> Posterior:
    """Posterior of the whole tree; ``varying`` are the columns that the levels' cross-products are given
    for."""
    depth, p = len(varying), len(products.right)
    levels: list[LevelPosterior] = [LevelPosterior(S, np.empty(0), np.empty(0)) for S in varying]
    rows: list[Floats] = [np.empty(0)] * depth
    ends: list[Floats] = [np.empty(0)] * depth
    system, right = products.market.copy(), products.right.copy()
    log_evidence = 0.0
    for level in range(depth - 1, -1, -1):
        S = varying[level]
        q = len(S)
        tau = np.sqrt(priors.levels[level, S])
        B, b = products.levels[level].copy(), products.rights[level].copy()
        for finer in range(level + 1, depth):
            bounds, width = tree.bounds(level, finer), len(varying[finer])
            for group, start, stop in _ranges(bounds):
                U = rows[finer][start:stop].reshape((stop - start) * width, p)
                u = ends[finer][start:stop].reshape(-1) @ U
                if level:
                    B[group] -= U[:, S].T @ U
                else:  # the square is wanted whole, for the market
                    square = U.T @ U
                    B[group] -= square[S]
                    system -= square
                    right -= u
                b[group] -= u[S]
        inner = tau[:, None] * B[:, :, S] * tau
        inner[:, np.arange(q), np.arange(q)] += 1.0
        inverse = np.linalg.inv(inner)
        half = np.linalg.cholesky(0.5 * (inverse + inverse.transpose(0, 2, 1))).transpose(0, 2, 1)
        root = half * tau
        rows[level] = root @ B
        ends[level] = np.matmul(root, b[:, :, None])[:, :, 0]
        log_evidence += 0.5 * float(np.square(ends[level]).sum())
        log_evidence += float(np.log(np.diagonal(half, axis1=1, axis2=2)).sum())
        back = root.transpose(0, 2, 1)
        levels[level].gain = back @ rows[level]
        levels[level].spread = back @ root
        levels[level].offset = np.matmul(back, ends[level][:, :, None])[:, :, 0]
    if depth:
        flat = rows[0].reshape(-1, p)
        system -= flat.T @ flat
        right -= ends[0].reshape(-1) @ flat
    finite = np.isfinite(priors.market)
    precision = system + np.diag(1.0 / priors.market)
    precision[np.diag_indices_from(precision)] += JITTER * np.trace(products.market) / p
    covariance = np.linalg.inv(precision)
    covariance = 0.5 * (covariance + covariance.T)
    market = covariance @ right
    log_evidence += 0.5 * float(
        right @ market - np.linalg.slogdet(precision)[1] - np.log(priors.market[finite]).sum()
    )
    totals: list[Floats] = []
    above = market[None, :]
    for level, current in enumerate(levels):
        inherited = above[tree.parents[level]]
        current.mean = current.offset - np.matmul(current.gain, inherited[:, :, None])[:, :, 0]
        total = inherited.copy()
        total[:, current.columns] += current.mean
        totals.append(total)
        above = total
    return Posterior(market, covariance, levels, totals, log_evidence)


def _ranges(bounds: Ints) -> Iterator[tuple[int, int, int]]:
    """Group, start and stop of every range that is not empty."""
    for group in np.flatnonzero(np.diff(bounds) > 0):
        yield int(group), int(bounds[group]), int(bounds[group + 1])


def deviation_variances(posterior: Posterior, tree: Tree, level: int, groups: Ints | None = None) -> Floats:
    """Posterior variance of the deviations of a level's ``groups`` (all of them unless told; in order),
    what is above integrated out: groups x varying."""
    current = posterior.levels[level]
    chosen = np.arange(len(current.gain)) if groups is None else groups
    q = len(current.columns)
    result = np.einsum("gkk->gk", current.spread[chosen]).copy()
    if not q:
        return result
    functional = current.gain[chosen].reshape(len(chosen) * q, -1).copy()
    flat = result.reshape(-1)
    for upper in range(level - 1, -1, -1):
        above = posterior.levels[upper]
        bounds = np.searchsorted(chosen, tree.bounds(upper, level))
        for group, start, stop in _ranges(bounds):
            rows = slice(start * q, stop * q)
            a = functional[rows][:, above.columns]
            flat[rows] += np.einsum("ni,ni->n", a @ above.spread[group], a)
            functional[rows] -= a @ above.gain[group]
    flat += np.einsum("np,np->n", functional @ posterior.covariance, functional)
    return result


def updated_priors(
    posterior: Posterior,
    tree: Tree,
    priors: Priors,
    blocks: list[Ints],
    anchor: Priors | None = None,
    weight: float = 0.0,
) -> Priors:
    """One MacKay update of every variance; columns of a block share one variance at each level.

    A block whose prior is infinite (market) or nought (level) stays as it is. ``weight`` is how many
    well-determined coefficients the variance in ``anchor`` counts for: where the data say next to nothing
    of a variance it stays near there and does not collapse to nought, which would make intervals too narrow.
    """
    anchor = priors if anchor is None else anchor
    market, levels = priors.market.copy(), priors.levels.copy()
    diagonal = np.diag(posterior.covariance)
    for block in blocks:
        old = float(priors.market[block[0]])
        if np.isfinite(old) and old > SMALLEST:
            determined = float(np.sum(1.0 - diagonal[block] / old))
            squares = float(np.sum(np.square(posterior.market[block])))
            expected = float(anchor.market[block[0]])
            market[block] = _moved(squares + weight * expected, determined + weight, old)
    for level, current in enumerate(posterior.levels):
        step = -(-len(current.gain) // MOST_GROUPS)
        chosen = np.arange(0, len(current.gain), step)
        variances = deviation_variances(posterior, tree, level, chosen)
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


def _moved(squares: float, determined: float, old: float) -> float:
    """``squares / determined``, moved by at most a factor of 20 a step and kept above ``SMALLEST``."""
    proposal = squares / max(determined, 1e-9)
    return float(np.clip(proposal, max(old / 20.0, SMALLEST), old * 20.0))
