"""Exact Gaussian partial pooling on a tree of nested groups.

The coefficients of a group are those of its parent plus a deviation, ``theta_g = theta_parent + d_g`` with
``d_g ~ N(0, diag(tau^2))``, the market being the root (Lindley and Smith 1972). Here are the tree, what a
regression knows of its columns before it sees a price, the sums over rows that a posterior needs, and what a
posterior answers; how it is found is in ``elimination``, how the variances are learnt in ``prior_updates``.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from pricing.arrays import Bools, Floats, Ints

INVERSION = 0.03
"""How far (in logs) an ordered step must lead down to be called inverted; less is chance and rounding."""


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

    def plus(self, other: "CrossProducts") -> "CrossProducts":
        """The sums over the rows of both."""
        return CrossProducts(
            self.market + other.market,
            self.right + other.right,
            [own + more for own, more in zip(self.levels, other.levels, strict=True)],
            [own + more for own, more in zip(self.rights, other.rights, strict=True)],
        )


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

    def coefficients(self, codes: Ints, columns: slice = slice(None)) -> Floats:  # noqa: B008 (a constant)
        """Total coefficients of each row, all or those of some ``columns``: its finest known group's.

        ``codes`` has one row a car and one column a level, coarsest first (finer levels may be left off),
        -1 for a group never seen. Returns rows x columns.
        """
        market = self.market[columns]
        result = np.empty((len(codes), len(market)))
        finest = (codes >= 0).sum(axis=1)  # an unknown group has no known group below it
        result[finest == 0] = market
        for level, totals in enumerate(self.totals[: codes.shape[1]]):
            rows = finest == level + 1
            result[rows] = totals[codes[rows, level], columns]
        return result

    def variance(
        self, functional: Floats, codes: Ints, priors: Priors, start: Floats | None = None
    ) -> Floats:
        """Posterior variance of ``functional @ theta`` for each row, an unseen group adding its prior
        variance; ``theta`` is that of the finest level in ``codes``. It is added to ``start``, if given."""
        order = np.lexsort(codes.T[::-1]) if codes.shape[1] else np.arange(len(codes))
        rest, codes = functional[order], codes[order]
        variances = np.zeros(len(rest)) if start is None else start[order]
        for level in range(codes.shape[1] - 1, -1, -1):
            current = self.levels[level]
            for group, rows in _runs(codes[:, level]):
                if group < 0:
                    variances[rows] += np.square(rest[rows]) @ priors.levels[level]
                else:
                    a = rest[rows, current.columns]
                    variances[rows] += np.einsum("ni,ni->n", a @ current.spread[group], a)
                    rest[rows] -= a @ current.gain[group]
        variances += np.einsum("np,np->n", rest @ self.covariance, rest)
        result = np.empty_like(variances)
        result[order] = variances
        return result

    def shifted_variance(self, functional: Floats, shifts: Floats, codes: Ints, priors: Priors) -> Floats:
        """Posterior variance of ``(functional + shift) @ theta`` for each row and each of the ``shifts`` that
        all rows share (rows x shifts): the row's, the shift's, and twice what they have in common."""
        result = np.repeat(self.variance(functional, codes, priors)[:, None], len(shifts), axis=1)
        order = np.lexsort(codes.T[::-1]) if codes.shape[1] else np.arange(len(codes))
        ordered = codes[order]
        starts = np.flatnonzero(np.append(True, (ordered[1:] != ordered[:-1]).any(axis=1))[: len(codes)])
        for start, stop in pairwise([*starts, len(codes)]):
            rows, along = order[start:stop], self._covariance_with(shifts, ordered[start], priors)
            result[rows] += 2.0 * (functional[rows] @ along.T) + np.einsum("sp,sp->s", shifts, along)
        return result

    def _covariance_with(self, functionals: Floats, codes: Ints, priors: Priors) -> Floats:
        """Posterior covariance of ``functionals @ theta`` with every coefficient of the group of these
        ``codes`` (functionals x columns): down the levels as ``variance`` goes, and up again."""
        rest, parts = functionals, list[Floats]()
        for level in range(len(codes) - 1, -1, -1):
            current, group = self.levels[level], codes[level]
            if group < 0:
                parts.append(rest * priors.levels[level])
            else:
                own = rest[:, current.columns]
                parts.append(own @ current.spread[group])
                rest = rest - own @ current.gain[group]
        along = rest @ self.covariance
        for level, group in enumerate(codes):
            current, part = self.levels[level], parts.pop()
            if group < 0:
                along = along + part
            else:
                along[:, current.columns] += part - along @ current.gain[group].T
        return along

    def raise_level(self, by: float) -> None:
        """Add to the intercept, column 0, of the market and so of every group."""
        for coefficients in (self.market[None, :], *self.totals):
            coefficients[:, 0] += by

    def inverted(self, columns: Ints) -> list[Bools]:
        """Which steps in ``columns`` lead down by more than ``INVERSION``: in the market (one row), then in
        every group of each level."""
        return [totals[:, columns] < -INVERSION for totals in (self.market[None, :], *self.totals)]

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


def _runs(codes: Ints) -> Iterator[tuple[int, slice]]:
    """Every run of equal codes: the code and its rows."""
    if len(codes):
        starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
        for start, stop in zip(starts, [*starts[1:], len(codes)], strict=True):
            yield int(codes[start]), slice(int(start), int(stop))


SPREAD_PRIOR = 0.02
"""Starting prior variance of every coefficient and group effect of the log variance."""


@dataclass(frozen=True)
class Structure:
    """Nested groups, prior variances, blocks of columns sharing a variance, the columns that the residual
    spread may depend on, and those whose coefficients may not be negative in any group. Column 0 is the
    intercept."""

    tree: Tree
    priors: Priors
    blocks: list[Ints]
    spread_columns: Ints
    ordered_columns: Ints
    jumping: tuple[Ints, ...] = ()
    """Blocks of market-wide increments with a heavy-tailed law (see ``prior_updates``)."""
    anchor: float = 0.0
    """How many well-determined coefficients the starting variances count for (see ``updated_priors``)."""

    def of_spread(self, modelled: bool) -> "Structure":
        """The structure of the log variance: its own columns and a level for each group, or one spread for
        all."""
        columns = self.spread_columns
        market = np.full(len(columns), SPREAD_PRIOR if modelled else 1e-12)
        market[0] = np.inf
        levels = np.zeros((len(self.tree.parents), len(columns)))
        levels[:, 0] = SPREAD_PRIOR if modelled else 0.0
        place = {int(column): index for index, column in enumerate(columns)}
        kept_columns = [np.array([place[int(c)] for c in block if int(c) in place]) for block in self.blocks]
        none = np.empty(0, dtype=np.int64)
        return Structure(
            self.tree, Priors(market, levels), [block for block in kept_columns if len(block)], columns, none
        )
