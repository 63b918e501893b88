"""Columns to numbers: nested groups, unordered categories and smooth effects (hinges between knots), learnt
once and the same ever after.

Codes are polars expressions over an ``Enum`` made when the names are learnt, so that all columns of a frame
are encoded in one pass and a single car costs next to nothing.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.model.regression.pooling import Tree

UNKNOWN = "unknown"
"""How a null category is spelt: it is a value like any other."""

_SEPARATOR = "\x1f"
_NULL = "\x00"


def _codes(text: pl.Expr, names: list[str]) -> pl.Expr:
    """Place of each text in ``names``, -1 when it is none of them."""
    return text.cast(pl.Enum(names), strict=False).to_physical().cast(pl.Int64).fill_null(-1)


@dataclass(frozen=True)
class GroupEncoder:
    """Codes of nested groups, coarsest level first, in sorted order of their names.

    >>> frame = pl.DataFrame({"make": ["Ash", "Ash", "Elm"], "model": ["1", "2", "1"]})
    >>> encoder = GroupEncoder.fit(frame, ("make", "model"))
    >>> encoder.encode(pl.DataFrame({"make": ["Elm", "Elm", "Oak"], "model": ["1", "9", "1"]})).tolist()
    [[1, 2], [1, -1], [-1, -1]]
    """

    names: tuple[str, ...]
    tables: tuple[pl.DataFrame, ...]
    """The groups of each level: the columns of ``names`` down to it, sorted, null first."""

    @classmethod
    def fit(cls, frame: pl.DataFrame, names: tuple[str, ...]) -> "GroupEncoder":
        """Learn the groups present in ``frame``; a null name is a group of its own."""
        levels = [names[: depth + 1] for depth in range(len(names))]
        return cls(
            names, tuple(frame.select(level).unique().sort(level, nulls_last=False) for level in levels)
        )

    @cached_property
    def tree(self) -> Tree:
        """The groups as a tree."""
        parents: list[Ints] = []
        for depth, table in enumerate(self.tables):
            above = np.zeros(len(table), dtype=np.int64)
            if depth:
                above = table.select(self.expressions[depth - 1]).to_series().to_numpy()
            parents.append(above)
        return Tree(tuple(parents))

    @cached_property
    def expressions(self) -> list[pl.Expr]:
        """One code a level, named ``group 0``, ``group 1`` and so on."""
        result = []
        for depth, table in enumerate(self.tables):
            key = self._key(self.names[: depth + 1])
            names = table.select(key.alias("key"))["key"].to_list()
            result.append(_codes(key, names).alias(f"group {depth}"))
        return result

    @staticmethod
    def _key(names: tuple[str, ...]) -> pl.Expr:
        return pl.concat_str([pl.col(name).fill_null(_NULL) for name in names], separator=_SEPARATOR)

    def encode(self, frame: pl.DataFrame) -> Ints:
        """Rows x levels of codes; -1 for a group never seen, and then at every finer level too."""
        if not self.names:
            return np.zeros((len(frame), 0), dtype=np.int64)
        return self.gathered(frame.select(self.expressions))

    def order(self, frame: pl.DataFrame) -> Ints:
        """The rows of ``frame``, those of a group together."""
        codes = self.encode(frame)
        return np.lexsort(codes.T[::-1]) if codes.shape[1] else np.arange(len(frame))

    def gathered(self, table: pl.DataFrame) -> Ints:
        """The codes out of a table that :attr:`expressions` were evaluated in."""
        columns = [table[f"group {depth}"].to_numpy() for depth in range(len(self.names))]
        return np.column_stack(columns) if columns else np.zeros((len(table), 0), dtype=np.int64)


@dataclass(frozen=True)
class CategoryEncoder:
    """Values of one unordered column that are common enough to have a coefficient of their own.

    >>> column = pl.DataFrame({"side": ["left", "left", "right", "right", None, None]})
    >>> encoder = CategoryEncoder.fit(column["side"], 2)
    >>> encoder.values
    ('left', 'right', 'unknown')
    >>> pl.DataFrame({"side": ["right", "middle", None]}).select(encoder.expression)["side"].to_list()
    [1, -1, 2]
    """

    name: str
    values: tuple[str, ...]

    @classmethod
    def fit(cls, column: pl.Series, rare: int) -> "CategoryEncoder":
        """Values seen in at least ``rare`` rows, sorted."""
        counts = column.cast(pl.String).fill_null(UNKNOWN).alias(column.name).value_counts(sort=False)
        common = counts.filter(pl.col("count") >= rare)[column.name]
        return cls(column.name, tuple(sorted(common.to_list())))

    @cached_property
    def expression(self) -> pl.Expr:
        """Index into ``values``, -1 for a value without a coefficient."""
        return _codes(pl.col(self.name).fill_null(UNKNOWN), list(self.values)).alias(self.name)


NUMERIC_KNOTS = 9

RARE = 5
"""An option, a category or a numeric column needs this many rows to have an effect of its own."""


def hinges(values: Floats, knots: Floats) -> Floats:
    """Ramp columns of a piecewise-linear effect: rows x (knots - 1), each from 0 to 1 between two knots.

    >>> hinges(np.array([0.5, 3.0]), np.array([0.0, 1.0, 2.0]))
    array([[0.5, 0. ],
           [1. , 1. ]])
    """
    return np.clip((values[:, None] - knots[:-1]) / np.diff(knots), 0.0, 1.0)


@dataclass(frozen=True)
class Numeric:
    """One smooth numeric column: optional logarithm, standardisation, knots on the standardised scale."""

    name: str
    log: bool
    centre: float
    scale: float
    knots: Floats
    low: float
    high: float
    has_missing: bool

    @classmethod
    def fit(cls, name: str, values: Floats) -> "Numeric | None":
        """None when the column is constant or empty. The logarithm is taken where it makes the values less
        skew."""
        seen = values[np.isfinite(values)]
        if len(seen) < RARE or seen.min() == seen.max():
            return None
        log = bool(seen.min() > 0) and abs(_skewness(np.log(seen))) < abs(_skewness(seen)) - 0.5
        z = np.log(seen) if log else seen
        centre, scale = float(np.median(z)), float(z.std())
        z = (z - centre) / scale
        knots = np.unique(np.quantile(z, np.linspace(0.0, 1.0, NUMERIC_KNOTS)))
        return cls(
            name,
            log,
            centre,
            scale,
            knots,
            float(seen.min()),
            float(seen.max()),
            bool(len(seen) < len(values)),
        )

    def standardised(self, values: Floats) -> Floats:
        """Values on the design's scale, null as 0, held within twice the span of what was seen."""
        known = np.isfinite(values)
        safe = np.where(known, np.maximum(values, 1e-9) if self.log else values, 1.0)
        z = ((np.log(safe) if self.log else safe) - self.centre) / self.scale
        span = self.knots[-1] - self.knots[0]
        return np.where(known, np.clip(z, self.knots[0] - span, self.knots[-1] + span), 0.0)


def _skewness(values: Floats) -> float:
    spread = values.std()
    return 0.0 if spread == 0 else float(np.mean(((values - values.mean()) / spread) ** 3))
