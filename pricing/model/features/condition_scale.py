"""The condition scale: where a car stands between the worst band (0) and the best (bands - 1).

A band stands at its whole number; a score of 0-100 stands where it falls between the middles of the bands,
or beyond the outermost of them, so that band and score have one price curve that reaches both ends. An
ungraded car stands at the average of the graded ones and is
marked.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from pricing.arrays import Bools, Floats, Ints
from pricing.model.features.encoding import RARE, hinges
from pricing.vocabulary import BAND_EDGES


@dataclass(frozen=True)
class ConditionScale:
    """The scale of the bands in ``column``, refined by the score in ``score`` where the bands are the
    project's own; ``mean`` is the average position and ``has_ungraded`` whether ungraded cars were seen."""

    column: str
    bands: tuple[str, ...]
    score: str | None
    mean: float = 0.0
    has_ungraded: bool = False
    has_unscored: bool = False
    """Whether some graded cars had a score and others a band alone, which says less of the price."""
    unseen: tuple[str, ...] = ()
    """Bands in which no offer is on record."""
    has_ends: bool = False
    """Whether cars enough have a score beyond the middles of the outermost bands for slopes of their own."""

    @classmethod
    def fit(
        cls, frame: pl.DataFrame, column: str, bands: tuple[str, ...], score: str | None
    ) -> "ConditionScale":
        """Learn the average position from prepared rows."""
        scale = cls(column, bands, score if len(bands) == len(BAND_EDGES) - 1 else None)
        position, band = scale.placed(frame.select(scale.expressions))
        graded = band < len(bands)
        mean = float(position[graded].mean()) if graded.any() else (len(bands) - 1) / 2
        alone = scale.unscored(frame.select(scale.expressions), band)
        both = bool(alone.any() and (graded & ~alone).any())
        unseen = tuple(name for place, name in enumerate(bands) if not (band == place).any())
        beyond = (position < 0.0) | (position > len(bands) - 1.0)
        ends = bool((graded & beyond).sum() >= RARE)
        return cls(column, bands, scale.score, mean, bool((~graded).any()), both, unseen, ends)

    @cached_property
    def knots(self) -> Floats:
        """Positions at which price and spread bend: the bands, and with a score both ends of the scale."""
        middle = np.arange(len(self.bands), dtype=np.float64)
        return np.concatenate([[-0.5], middle, [middle[-1] + 0.5]]) if self.score else middle

    @cached_property
    def points(self) -> Floats:
        """Scores at :attr:`knots`."""
        edges = np.asarray(BAND_EDGES)
        return np.concatenate([edges[:1], (edges[:-1] + edges[1:]) / 2, edges[-1:]])

    @cached_property
    def expressions(self) -> list[pl.Expr]:
        """The band's place and the score, named ``band`` and ``score``."""
        ranks = {band: float(rank) for rank, band in enumerate(self.bands)}
        band = pl.col(self.column).replace_strict(ranks, default=None, return_dtype=pl.Float64).alias("band")
        return [band, pl.col(self.score).alias("score")] if self.score else [band]

    def unscored(self, table: pl.DataFrame, band: Ints) -> Bools:
        """Which cars are graded by band alone, though the scale has a score."""
        if not self.score:
            return np.zeros(len(table), dtype=bool)
        return (band < len(self.bands)) & ~np.isfinite(table["score"].to_numpy())

    def steps(self, position: Floats) -> Floats:
        """Step columns, rows x (bands - 1): each from 0 to 1 between two bands, the outermost going on beyond
        them.

        >>> scale = ConditionScale("state", ("poor", "fair", "good", "best"), "points")
        >>> scale.steps(np.array([-0.5, 1.25, 3.5])).tolist()
        [[-0.5, 0.0, 0.0], [1.0, 0.25, 0.0], [1.0, 1.0, 1.5]]
        """
        result = hinges(position, np.arange(len(self.bands), dtype=np.float64))
        if len(self.bands) > 1:
            result[:, 0] += np.minimum(position, 0.0)
            result[:, -1] += np.maximum(position - (len(self.bands) - 1.0), 0.0)
        return result

    def ends(self, position: Floats) -> Floats:
        """How far each position is below the worst band and above the best, rows x 2: there the price need
        not go on as between the two outermost bands.

        >>> ConditionScale("state", ("poor", "best"), "points").ends(np.array([-0.5, 0.5, 1.25])).tolist()
        [[-0.5, 0.0], [0.0, 0.0], [0.0, 0.25]]
        """
        return np.column_stack(
            [np.minimum(position, 0.0), np.maximum(position - (len(self.bands) - 1.0), 0.0)]
        )

    def placed(self, table: pl.DataFrame) -> tuple[Floats, Ints]:
        """Position and band index (number of bands: ungraded), out of a table with :attr:`expressions`.

        >>> scale = ConditionScale("state", ("poor", "fair", "good", "best"), "points")
        >>> cars = pl.DataFrame({"state": ["fair", None], "points": [None, 100.0]})
        >>> [values.tolist() for values in scale.placed(cars.select(scale.expressions))]
        [[1.0, 3.5], [1, 3]]
        """
        bands = len(self.bands)
        index = table["band"].to_numpy().copy()
        position = index.copy()
        if self.score:
            edges = np.asarray(BAND_EDGES)
            score = table["score"].to_numpy()
            scored = np.isfinite(score)
            position[scored] = np.interp(score[scored], self.points, self.knots)
            band = np.clip(np.searchsorted(edges, score[scored], side="right") - 1, 0, bands - 1)
            index[scored] = np.where(np.isfinite(index[scored]), index[scored], band)
        graded = np.isfinite(index)
        return np.where(graded, position, self.mean), np.where(graded, np.nan_to_num(index), bands).astype(
            np.int64
        )
