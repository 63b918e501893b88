"""How far sources of opinions are off: the bias and the scale of each, pooled over sources, learnt from what
they said against what came later.

An error ``r`` (log stated less log sold) of a statement of source ``s`` about a group ``g`` of cars is

    r = mu + bias_s + own_sg + e,  bias_s ~ N(0, between),  own_sg ~ N(0, scale_s^2 about),
    e ~ N(0, scale_s^2 single + known)

where ``known`` is what the error has from elsewhere: the sales it is held against are few, the span is wide.
Intercepts nested in sources are a mixed model (Laird and Ware 1982), its variances found by restricted
maximum likelihood, in closed form level by level. A source of which little is known has what sources at large
have.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import optimize

from pricing.arrays import Floats, Ints

STARTING: Final = (0.02, 0.01, 0.01)
"""Variances between sources, about a group and of a single statement before anything is known: people who
know a model are taken to be within a fifth or so of the market, two times in three (common practice, no
source)."""

ANCHOR: Final = 4.0
"""Errors that each starting variance counts for."""

COMMON: Final = 0.01
"""Prior variance of what all sources are off by together."""

SCALE_WEIGHT: Final = 8.0
"""Errors that the scale of all sources counts for in the scale of one."""

SCALE_TURNS: Final = 3

BOUNDS: Final = (float(np.log(1e-8)), float(np.log(4.0)))
"""Logarithms between which every variance is looked for."""


@dataclass(frozen=True)
class Scored:
    """Errors that could be seen: ``error`` (log), the ``known`` part of its variance, ``source`` and
    ``group`` as codes."""

    error: Floats
    known: Floats
    source: Ints
    group: Ints


@dataclass(frozen=True)
class SourceErrors:
    """What is known of sources at large, ``mu`` with its variance ``mu_variance`` and the variances
    ``between``, ``about`` and ``single``, and of each: its ``scale`` (1: as sources at large) and ``count``
    of errors seen. ``precision`` and ``weighted`` are the sums over a source's groups that its bias comes
    from, ``cells`` the part of each (source, group)."""

    between: float
    about: float
    single: float
    mu: float
    mu_variance: float
    scale: Floats
    count: Ints
    precision: Floats
    weighted: Floats
    cells: dict[tuple[int, int], tuple[float, float]]

    def bias(self, source: Ints, group: Ints) -> tuple[Floats, Floats, Floats]:
        """For statements of a source about a group: the expected bias, its variance given ``mu``, and how
        much of ``mu`` is in it. What the source said of the group itself is left out, for the sales it was
        held against speak for the group already."""
        own = np.array(
            [self.cells.get(key, (0.0, 0.0)) for key in zip(source.tolist(), group.tolist(), strict=True)]
        ).reshape(-1, 2)
        precision = np.maximum(self.precision[source] - own[:, 0], 0.0)
        return self._posterior(precision, self.weighted[source] - own[:, 1])

    def biases(self) -> tuple[Floats, Floats]:
        """Expected bias of every source and its variance."""
        mean, variance, share = self._posterior(self.precision, self.weighted)
        return mean, variance + np.square(share) * self.mu_variance

    def _posterior(self, precision: Floats, weighted: Floats) -> tuple[Floats, Floats, Floats]:
        total = 1.0 / self.between + precision
        return (self.mu / self.between + weighted) / total, 1.0 / total, 1.0 / self.between / total


def learn_sources(
    scored: Scored,
    sources: int,
    *,
    anchor: float = ANCHOR,
    common: float = COMMON,
    scales: bool = True,
) -> SourceErrors:
    """Learn from errors that could be seen; there may be none.

    Args:
        scored: the errors.
        sources: how many sources there are, those without an error seen among them.
        anchor: what the starting variances count for; 0 leaves restricted maximum likelihood alone.
        common: prior variance of ``mu``; infinite leaves it free.
        scales: give each source a scale of its own; without, all have one.

    >>> none = Scored(np.empty(0), np.empty(0), np.empty(0, int), np.empty(0, int))
    >>> learn_sources(none, 1).biases()[0].tolist()
    [0.0]
    """
    scale = np.ones(sources)
    start = np.log(np.array(STARTING))
    likeliest = start
    cells = _Cells(scored, sources)
    for turn in range(SCALE_TURNS if scales else 1):
        squared = np.square(scale)
        if len(scored.error):
            likeliest = cells.likeliest(likeliest, squared, anchor, common)
        sums = cells.sums(np.exp(likeliest), squared, common)
        if scales and turn < SCALE_TURNS - 1:
            scale = np.sqrt(squared * (SCALE_WEIGHT + sums.squares) / (SCALE_WEIGHT + sums.degrees))
    between, about, single = np.exp(likeliest).tolist()
    keys = zip(cells.cell_source.tolist(), cells.cell_group.tolist(), strict=True)
    parts = zip((1.0 / sums.cell).tolist(), (sums.mean / sums.cell).tolist(), strict=True)
    return SourceErrors(
        between, about, single, sums.mu, sums.mu_variance, scale, cells.count, sums.precision, sums.weighted,
        dict(zip(keys, parts, strict=True)),
    )  # fmt: skip


@dataclass(frozen=True)
class _Sums:
    """Of every (source, group): its ``mean`` error and its variance ``cell`` about the source's bias; of
    every source ``precision``, ``weighted``, and the ``squares`` of its standardised errors with their
    ``degrees``; ``mu`` and its variance; and minus twice the restricted log likelihood."""

    mean: Floats
    cell: Floats
    precision: Floats
    weighted: Floats
    squares: Floats
    degrees: Floats
    mu: float
    mu_variance: float
    deviance: float


class _Cells:
    """Errors laid out by (source, group)."""

    def __init__(self, scored: Scored, sources: int) -> None:
        self.scored, self.sources = scored, sources
        pairs = np.column_stack([scored.source, scored.group]).astype(np.int64)
        known, place = np.unique(pairs, axis=0, return_inverse=True)
        self.place: Ints = place.ravel()
        self.cell_source, self.cell_group = known[:, 0], known[:, 1]
        self.count = np.bincount(scored.source, minlength=sources)

    def sums(self, variances: Floats, squared: Floats, common: float) -> _Sums:
        """All sums, from the single errors up: each level is a mean of the one below, weighted by
        precision."""
        between, about, single = variances
        r, source, size = self.scored.error, self.scored.source, self.sources
        own = single * squared[source] + self.scored.known
        A = _summed(self.place, 1.0 / own, len(self.cell_source))
        mean = np.bincount(self.place, r / own, len(A)) / A
        cell = about * squared[self.cell_source] + 1.0 / A
        precision = _summed(self.cell_source, 1.0 / cell, size)
        weighted = _summed(self.cell_source, mean / cell, size)
        seen = precision > 0
        centre = np.divide(weighted, precision, out=np.zeros(size), where=seen)
        within = np.square(r - mean[self.place]) / own
        across = np.square(mean - centre[self.cell_source]) / cell
        squares = _summed(source, within, size) + _summed(self.cell_source, across, size)
        top = between + 1.0 / precision[seen]
        total = float(np.sum(1.0 / top)) + 1.0 / common
        mu = float(np.sum(centre[seen] / top)) / total if total else 0.0
        deviance = (
            np.sum(np.log(own)) + np.sum(np.log(cell * A)) + np.sum(np.log(top * precision[seen]))
            + squares.sum() + np.sum(np.square(centre[seen] - mu) / top) + np.square(mu) / common
            + (np.log(total) if total else 0.0)
        )  # fmt: skip
        mu_variance = 1.0 / total if total else 0.0
        degrees = np.maximum(self.count - 1.0, 0.0)
        return _Sums(mean, cell, precision, weighted, squares, degrees, mu, mu_variance, float(deviance))

    def likeliest(self, start: Floats, squared: Floats, anchor: float, common: float) -> Floats:
        """Logarithms of the variances that make the errors likeliest, from ``start``."""

        def deviance(logs: Floats) -> float:
            return self.deviance(np.exp(logs), squared, anchor, common)

        optimum = optimize.minimize(deviance, start, method="L-BFGS-B", bounds=[BOUNDS] * 3)
        return np.asarray(optimum.x)

    def deviance(self, variances: Floats, squared: Floats, anchor: float, common: float) -> float:
        """Minus twice the restricted log likelihood, and of the starting variances as ``anchor`` errors
        each."""
        prior = anchor * np.sum(np.log(variances) + np.array(STARTING) / variances)
        return self.sums(variances, squared, common).deviance + float(prior)


def _summed(place: Ints, values: Floats, size: int) -> Floats:
    """Sum of the values at each of ``size`` places."""
    return np.bincount(place, values, size).astype(np.float64)
