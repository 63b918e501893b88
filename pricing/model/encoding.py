"""Names to numbers: nested groups and unordered categories, learnt once and the same ever after."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pricing.model.pooling import Ints, Tree

UNKNOWN = "unknown"
"""How a null category is spelt: it is a value like any other."""


@dataclass(frozen=True)
class GroupEncoder:
    """Codes of nested groups, coarsest level first, in sorted order of their names.

    >>> frame = pl.DataFrame({"make": ["Ash", "Ash", "Elm"], "model": ["1", "2", "1"]})
    >>> encoder = GroupEncoder.learn(frame, ("make", "model"))
    >>> encoder.encode(pl.DataFrame({"make": ["Elm", "Elm", "Oak"], "model": ["1", "9", "1"]})).tolist()
    [[1, 2], [1, -1], [-1, -1]]
    """

    names: tuple[str, ...]
    tables: tuple[pl.DataFrame, ...]
    tree: Tree

    @classmethod
    def learn(cls, frame: pl.DataFrame, names: tuple[str, ...]) -> "GroupEncoder":
        """Learn the groups present in ``frame``; a null name is a group of its own."""
        return cls.from_tables(
            names,
            tuple(
                frame.select(names[: depth + 1]).unique().sort(names[: depth + 1], nulls_last=False)
                for depth in range(len(names))
            ),
        )

    @classmethod
    def from_tables(cls, names: tuple[str, ...], groups: tuple[pl.DataFrame, ...]) -> "GroupEncoder":
        """From the sorted names of each level's groups, as :attr:`tables` gives them."""
        tables = tuple(
            table.select(*names[: depth + 1], pl.int_range(pl.len(), dtype=pl.Int64).alias("code"))
            for depth, table in enumerate(groups)
        )
        parents: list[Ints] = []
        for depth, table in enumerate(tables):
            if depth == 0:
                parents.append(np.zeros(len(table), dtype=np.int64))
            else:
                joined = table.drop("code").join(
                    tables[depth - 1], on=names[:depth], how="left", nulls_equal=True, maintain_order="left"
                )
                parents.append(joined["code"].to_numpy())
        return cls(names, tables, Tree(tuple(parents)))

    def encode(self, frame: pl.DataFrame) -> Ints:
        """Rows x levels of codes; -1 for a group never seen, and then at every finer level too."""
        columns = [
            frame.select(self.names[: depth + 1])
            .join(table, on=self.names[: depth + 1], how="left", nulls_equal=True, maintain_order="left")[
                "code"
            ]
            .fill_null(-1)
            .to_numpy()
            for depth, table in enumerate(self.tables)
        ]
        if not columns:
            return np.zeros((len(frame), 0), dtype=np.int64)
        return np.column_stack(columns)


@dataclass(frozen=True)
class CategoryEncoder:
    """Values of one unordered column that are common enough to have a coefficient of their own.

    >>> encoder = CategoryEncoder.learn(pl.Series("side", ["left", "left", "right", "right", None, None]), 2)
    >>> encoder.values
    ('left', 'right', 'unknown')
    >>> encoder.encode(pl.Series("side", ["right", "middle", None])).tolist()
    [1, -1, 2]
    """

    name: str
    values: tuple[str, ...]

    @classmethod
    def learn(cls, column: pl.Series, rare: int) -> "CategoryEncoder":
        """Values seen in at least ``rare`` rows, sorted."""
        counts = column.cast(pl.String).fill_null(UNKNOWN).alias(column.name).value_counts(sort=False)
        common = counts.filter(pl.col("count") >= rare)[column.name]
        return cls(column.name, tuple(sorted(common.to_list())))

    def encode(self, column: pl.Series) -> Ints:
        """Index into ``values``, -1 for a value without a coefficient."""
        lookup = {value: index for index, value in enumerate(self.values)}
        spelt = column.cast(pl.String).fill_null(UNKNOWN)
        return spelt.replace_strict(lookup, default=-1, return_dtype=pl.Int64).to_numpy()
