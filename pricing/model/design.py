"""Frame to design matrix, block by block.

Every smooth or ordered effect is a sum of *ramps*: columns that rise from 0 to 1 between two knots, so that
their coefficients are increments. A random walk in time, a piecewise-linear spline and the steps between
condition bands are then one thing with independent priors, and an ordered effect is one whose increments
are not negative.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.model.encoding import CategoryEncoder, GroupEncoder
from pricing.model.pooling import Floats, Ints, Priors
from pricing.model.smooth import RARE, Numeric, ramps
from pricing.model.spec import FeatureSpec
from pricing.vocabulary import BAND_EDGES

DAYS_A_YEAR = 365.2425
DAYS_A_MONTH = DAYS_A_YEAR / 12
TREND_REACH = DAYS_A_YEAR
"""Days of trend that a forecast can add in all: a trend is carried on, but ever less of it."""

TIME_KNOTS = 48
DRIFT_KNOTS = 10


@dataclass(frozen=True)
class Block:
    """Columns of the design that share their prior variances and, in an explanation, a term.

    ``market`` is the starting prior variance of the market-wide coefficients (infinite: never pooled),
    ``levels`` that of the deviations at each level of groups (nought: does not vary there).
    """

    name: str
    term: str
    columns: Ints
    market: float
    levels: tuple[float, ...]


def damped(days: Floats) -> Floats:
    """Days of trend carried on, ``days`` after the last sale: as many at first, ``TREND_REACH`` at most.

    >>> damped(np.array([0.0, 1e9])).tolist()
    [0.0, 365.2425]
    """
    return TREND_REACH * -np.expm1(-days / TREND_REACH)


@dataclass(frozen=True)
class Encoded:
    """Rows ready for the regression: design ``X`` with the intercept in column 0, group ``codes`` (rows x
    levels,
    -1 unseen), ``position`` on the condition scale (0 to bands - 1), ``band`` (bands: ungraded), days
    ``late`` past the last sale, and ``novelty``, the number of categories never seen."""

    X: Floats
    codes: Ints
    position: Floats
    band: Ints
    late: Floats
    novel: NDArray[np.bool_]


class Design:
    """Learns knots, codes and columns from a frame of sales; then turns any frame of cars into
    :class:`Encoded`."""

    def __init__(self, spec: FeatureSpec) -> None:
        self.spec = spec

    def learn(self, frame: pl.DataFrame, asking: NDArray[np.bool_] | None = None) -> "Design":
        """Learn from prepared rows (see :meth:`FeatureSpec.prepared`); ``asking`` marks asking prices."""
        spec = self.spec
        self.asking_values: tuple[str, ...] = ()
        self.has_asking = asking is not None and int(asking.sum()) >= RARE
        if asking is not None and self.has_asking and spec.asking_by:
            self.asking_values = CategoryEncoder.learn(frame.filter(asking)[spec.asking_by], RARE).values
        self.groups = GroupEncoder.learn(frame, spec.groups)
        self.bands = spec.condition_bands if spec.condition else ()
        self.mean_position = 0.0
        self.has_ungraded = False
        if spec.condition:
            position, band = self._condition(frame)
            graded = band < len(self.bands)
            self.has_ungraded = bool((~graded).any())
            self.mean_position = float(position[graded].mean()) if graded.any() else (len(self.bands) - 1) / 2
        found = (Numeric.learn(name, frame[name].to_numpy()) for name in spec.numerics)
        self.numerics = [numeric for numeric in found if numeric is not None]
        self.options = [(name, None) for name in spec.options]
        for name in spec.option_lists:
            counts = frame[name].explode().drop_nulls().value_counts(sort=False)
            codes = counts.filter((pl.col("count") >= RARE) & (pl.col("count") <= len(frame) - RARE))
            self.options += [(name, code) for code in sorted(codes[name].to_list())]
        self.categories = [CategoryEncoder.learn(frame[name], RARE) for name in spec.categories]
        self.categories = [category for category in self.categories if len(category.values) > 1]
        self._learn_time(frame)
        self.lay_out()
        return self

    def _learn_time(self, frame: pl.DataFrame) -> None:
        self.time_knots = self.drift_knots = np.empty(0)
        self.first_day = self.last_day = 0.0
        if not self.spec.event_date:
            return
        days = self._days(frame)
        self.first_day, self.last_day = float(days.min()), float(days.max())
        months = (self.last_day - self.first_day) / DAYS_A_MONTH
        if months < 1:
            return
        step = int(np.ceil(months / TIME_KNOTS))
        count = max(int(np.round(months / step)), 1)
        self.time_knots = np.linspace(self.first_day, self.last_day, count + 1)
        self.drift_knots = np.linspace(self.first_day, self.last_day, min(count, DRIFT_KNOTS) + 1)

    def lay_out(self) -> None:
        """Fix the order of columns and the blocks they form."""
        depth = len(self.spec.groups)
        self.blocks: list[Block] = []
        self.columns: list[str] = []

        def add(name: str, term: str, labels: list[str], market: float, vary: float, deepest: int) -> None:
            if labels:
                start = len(self.columns)
                levels = tuple(vary if level < deepest else 0.0 for level in range(depth))
                self.columns.extend(labels)
                self.blocks.append(Block(name, term, np.arange(start, len(self.columns)), market, levels))

        steps = list(zip(self.bands[:-1], self.bands[1:], strict=True))
        add("level", "level", ["level"], np.inf, 0.2, depth)
        add("condition", "condition", [f"{low} to {high}" for low, high in steps], np.inf, 0.02, depth)
        add("ungraded", "condition", ["ungraded"] if self.has_ungraded else [], np.inf, 0.02, min(depth, 2))
        for numeric in self.numerics:
            name = numeric.name
            add(f"{name} slope", name, [name], np.inf, 0.01, depth)
            bends = [f"{name} bend {k}" for k in range(1, len(numeric.knots))]
            add(f"{name} bends", name, bends if len(bends) > 1 else [], 0.01, 0.001, min(depth, 1))
            add(
                f"{name} missing",
                name,
                [f"{name} missing"] if numeric.has_missing else [],
                0.1,
                0.01,
                min(depth, 2),
            )
        option_labels = [name if code is None else code for name, code in self.options]
        add("options", "options", option_labels, 0.05, 0.005, min(depth, 2))
        for category in self.categories:
            labels = [f"{category.name} {value}" for value in category.values]
            add(category.name, category.name, labels, 0.05, 0.005, min(depth, 1))
        add("asking", "asking", ["asking"] if self.has_asking else [], np.inf, 0.0, 0)
        add("asking by", "asking", [f"asking {value}" for value in self.asking_values], 0.01, 0.0, 0)
        add("date", "date", [f"date step {k}" for k in range(1, len(self.time_knots))], 0.005, 0.0, 0)
        add("trend", "date", [f"trend turn {k}" for k in range(1, len(self.drift_knots))], 0.001, 0.0, 0)
        drift = [f"drift step {k}" for k in range(1, len(self.drift_knots))] if depth else []
        add("drift", "date", drift, 0.0, 0.002, min(depth, 1))

    def priors(self) -> Priors:
        """Starting prior variances, column by column."""
        market = np.empty(len(self.columns))
        levels = np.zeros((len(self.spec.groups), len(self.columns)))
        for block in self.blocks:
            market[block.columns] = block.market
            for level, variance in enumerate(block.levels):
                levels[level, block.columns] = variance
        return Priors(np.where(market == 0.0, 1e-12, market), levels)

    @property
    def spread_columns(self) -> Ints:
        """Columns that the residual spread may depend on: all but those of time."""
        timeless = [block.columns for block in self.blocks if block.term != "date"]
        return np.sort(np.concatenate(timeless))

    @property
    def ordered_columns(self) -> Ints:
        """Columns whose coefficients, the steps between condition bands, may not be negative in any group."""
        return next(
            (block.columns for block in self.blocks if block.name == "condition"), np.empty(0, dtype=np.int64)
        )

    def unforeseen(self, encoded: Encoded, priors: Priors) -> Floats:
        """Variance that the design cannot carry: market moves after the last sale, and categories never
        seen."""
        result = np.zeros(len(encoded.late))
        for block in self.blocks:
            knots = {"date": self.time_knots, "drift": self.drift_knots}.get(block.name)
            if knots is not None:
                step = priors.market[block.columns[0]] + priors.levels[:, block.columns[0]].sum()
                result += encoded.late * step / (knots[1] - knots[0])
            elif any(block.name == category.name for category in self.categories):
                result[encoded.novel] += priors.market[block.columns[0]]
        return result

    def encode(
        self, frame: pl.DataFrame, asking: NDArray[np.bool_] | None = None, dtype: Any = np.float64
    ) -> Encoded:
        """Rows (prepared) to :class:`Encoded`, in the frame's order; rows in ``asking`` carry the asking
        gap."""
        rows = len(frame)
        X = np.zeros((rows, len(self.columns)), dtype=dtype)
        at = {block.name: block.columns for block in self.blocks}
        novel = np.zeros(rows, dtype=bool)
        X[:, 0] = 1.0
        position, band = np.zeros(rows), np.zeros(rows, dtype=np.int64)
        if self.bands:
            position, band = self._condition(frame)
            X[:, at["condition"]] = ramps(position, np.arange(len(self.bands), dtype=float))
            if self.has_ungraded:
                X[:, at["ungraded"][0]] = band == len(self.bands)
        for numeric in self.numerics:
            values = frame[numeric.name].to_numpy()
            z = numeric.standardised(values)
            X[:, at[f"{numeric.name} slope"][0]] = z
            if f"{numeric.name} bends" in at:
                X[:, at[f"{numeric.name} bends"]] = ramps(z, numeric.knots)
            if numeric.has_missing:
                X[:, at[f"{numeric.name} missing"][0]] = ~np.isfinite(values)
        for column, (name, code) in zip(at.get("options", np.empty(0, dtype=int)), self.options, strict=True):
            source = frame[name] if code is None else frame[name].list.contains(code)
            X[:, column] = source.cast(pl.Float64).fill_null(0.0).to_numpy()
        for category in self.categories:
            codes = category.encode(frame[category.name])
            novel |= codes < 0
            seen = np.flatnonzero(codes >= 0)
            X[seen, at[category.name][0] + codes[seen]] = 1.0
        if self.has_asking and asking is not None:
            X[:, at["asking"][0]] = asking
            if self.asking_values:
                codes = CategoryEncoder(self.spec.asking_by or "", self.asking_values).encode(
                    frame[self.spec.asking_by or ""]
                )
                seen = np.flatnonzero((codes >= 0) & asking)
                X[seen, at["asking by"][0] + codes[seen]] = 1.0
        late = np.zeros(rows)
        if self.spec.event_date:
            days = self._days(frame)
            late = np.maximum(days - self.last_day, 0.0)
            if "date" in at:
                X[:, at["date"]] = ramps(days, self.time_knots)
            if "trend" in at:
                reach = np.minimum(days, self.last_day) + damped(late)
                X[:, at["trend"]] = np.maximum(reach[:, None] - self.drift_knots[:-1], 0.0) / DAYS_A_YEAR
            if "drift" in at:
                X[:, at["drift"]] = ramps(days, self.drift_knots)
        return Encoded(X, self.groups.encode(frame), position, band, late, novel)

    def _days(self, frame: pl.DataFrame) -> Floats:
        """Days since 1970; a null date is the last day seen."""
        return (
            frame[self.spec.event_date or ""]
            .to_physical()
            .cast(pl.Float64)
            .fill_null(self.last_day)
            .to_numpy()
        )

    def _condition(self, frame: pl.DataFrame) -> tuple[Floats, Ints]:
        """Position on the condition scale (band index at a band's centre) and band index (bands:
        ungraded)."""
        bands = len(self.bands)
        lookup = {band: float(index) for index, band in enumerate(self.bands)}
        index = (
            frame[self.spec.condition or ""]
            .replace_strict(lookup, default=None, return_dtype=pl.Float64)
            .to_numpy()
            .copy()
        )
        position = index.copy()
        if self.spec.condition_score and bands == len(BAND_EDGES) - 1:
            edges = np.asarray(BAND_EDGES)
            centres = (edges[:-1] + edges[1:]) / 2
            score = frame[self.spec.condition_score].to_numpy()
            scored = np.isfinite(score)
            position[scored] = np.interp(score[scored], centres, np.arange(bands))
            found = np.clip(np.searchsorted(edges, score[scored], side="right") - 1, 0, bands - 1)
            index[scored] = np.where(np.isfinite(index[scored]), index[scored], found)
        graded = np.isfinite(index)
        band = np.where(graded, np.nan_to_num(index), bands).astype(np.int64)
        return np.where(graded, position, self.mean_position), band
