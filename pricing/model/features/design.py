"""Frame to design matrix, block by block.

Every smooth or ordered effect is a sum of *hinges*: columns that rise from 0 to 1 between two knots, so that
their coefficients are increments. A random walk in time, a piecewise-linear spline and the steps between
condition bands are then one thing with independent priors, and an ordered effect is one whose increments
are not negative.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.arrays import Aligned, Bools, Floats, Ints
from pricing.model.calibration.market_shift import DAYS_A_YEAR, MarketShift, damped
from pricing.model.features.asking import AskingGap
from pricing.model.features.condition_scale import ConditionScale
from pricing.model.features.encoding import RARE, UNKNOWN, CategoryEncoder, GroupEncoder, Numeric, hinges
from pricing.model.features.evidence import SaleEvidence
from pricing.model.features.spec import FeatureSpec
from pricing.model.regression.pooling import Priors, Structure
from pricing.model.regression.threads import shared_out

DAYS_A_MONTH = DAYS_A_YEAR / 12

ANCHOR = 1.0
"""How many well-determined coefficients the starting variances below count for."""

BATCH = 16_384
"""Rows encoded at once, so that a batch's columns are filled while they are near at hand."""

TIME_KNOTS = 48
SEASON_YEARS = 2
"""Years of sales from which a season can be told from the rest of time."""

DRIFT_KNOTS = 10

JUMPING = ("date",)
"""Blocks whose market-wide increments may jump."""


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


@dataclass(frozen=True)
class Encoded(Aligned):
    """Rows ready for the regression: design ``X`` with the intercept in column 0, group ``codes`` (rows x
    levels, -1 unseen), ``band`` (number of bands: ungraded) and ``position`` on the condition scale, days
    ``late`` past the last sale, and for each category column whether the value was ``novel``; ``values`` are
    the car's own, for the trees: position on the condition scale first (if there is one), numerics, options,
    categories."""

    X: Floats
    codes: Ints
    band: Ints
    position: Floats
    late: Floats
    novel: Bools
    values: Floats


class Design:
    """Learns knots, codes and columns from sales; then turns any frame of cars into :class:`Encoded`."""

    condition: ConditionScale | None
    time_knots: Floats
    drift_knots: Floats

    def __init__(self, spec: FeatureSpec, shift: MarketShift | None = None, season: bool = True) -> None:
        self.spec = spec
        self.shift = MarketShift() if shift is None else shift
        self.season = season

    def fit(self, rows: SaleEvidence, also: pl.DataFrame | None = None) -> "Design":
        """Learn from evidence of prices; groups that only the prepared frame ``also`` has are known too."""
        spec, frame = self.spec, rows.features
        named = frame if also is None else pl.concat([frame, also])
        self.groups = GroupEncoder.fit(named, spec.groups)
        bands, score = spec.condition_bands, spec.condition_score
        self.condition = ConditionScale.fit(frame, spec.condition, bands, score) if spec.condition else None
        fitted = (Numeric.fit(name, frame[name].to_numpy()) for name in spec.numerics)
        self.numerics = [numeric for numeric in fitted if numeric is not None]
        self.options: list[tuple[str, str | None]] = [(name, None) for name in spec.options]
        for name in spec.option_lists:
            counts = frame[name].explode().drop_nulls().value_counts(sort=False)
            codes = counts.filter((pl.col("count") >= RARE) & (pl.col("count") <= len(frame) - RARE))
            self.options += [(name, code) for code in sorted(codes[name].to_list())]
        learnt = (CategoryEncoder.fit(frame[name], RARE) for name in spec.categories)
        self.categories = [category for category in learnt if category.values not in ((), (UNKNOWN,))]
        self.asking = AskingGap.fit(rows, spec.asking_by, spec.groups)
        self._learn_time(frame)
        self.lay_out()
        return self

    def _learn_time(self, frame: pl.DataFrame) -> None:
        self.time_knots = self.drift_knots = np.empty(0)
        self.first_day = self.last_day = 0.0
        if not self.spec.event_date:
            return
        days = self.spec.days(frame)
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

        add("level", "level", ["level"], np.inf, 0.2, depth)
        if self.condition is not None:
            bands = self.condition.bands
            steps = [f"{low} to {high}" for low, high in zip(bands[:-1], bands[1:], strict=True)]
            ends = ["below the worst", "above the best"] if self.condition.has_ends else []
            ungraded = ["ungraded"] if self.condition.has_ungraded else []
            add("condition", "condition", steps, 1.0, 0.02, depth)
            add("condition ends", "condition", ends, 0.1, 0.0, 0)
            add("ungraded", "condition", ungraded, np.inf, 0.02, min(depth, 2))
            unscored = ["graded by band alone"] if self.condition.has_unscored else []
            add("unscored", "condition", unscored, 0.001, 0.0, 0)
        for numeric in self.numerics:
            name = numeric.name
            add(f"{name} slope", name, [name], np.inf, 0.004, depth)
            bends = [f"{name} bend {k}" for k in range(1, len(numeric.knots))]
            add(f"{name} bends", name, bends if len(bends) > 1 else [], 0.01, 0.0004, min(depth, 1))
            missing = [f"{name} missing"] if numeric.has_missing else []
            add(f"{name} missing", name, missing, 0.1, 0.001, min(depth, 2))
        option_labels = [name if code is None else code for name, code in self.options]
        add("options", "options", option_labels, 0.05, 0.0009, min(depth, 2))
        for category in self.categories:
            labels = [f"{category.name} {value}" for value in category.values]
            add(category.name, category.name, labels, 0.05, 0.0004, min(depth, 1))
        for name, labels, market in self.asking.blocks:
            add(name, "asking", labels, market, 0.0, 0)
        add("date", "date", [f"date step {k}" for k in range(1, len(self.time_knots))], 0.005, 0.0, 0)
        turns = [f"trend turn {k}" for k in range(1, len(self.drift_knots))]
        add("trend", "date", turns[:1], 0.01, 0.0, 0)
        add("turns", "date", turns[1:], 0.001, 0.0, 0)
        drift = [f"drift step {k}" for k in range(1, len(self.drift_knots))] if depth else []
        add("drift", "date", drift, 0.0, 0.0004, min(depth, 1))
        seasonal = self.season and self.last_day - self.first_day >= SEASON_YEARS * DAYS_A_YEAR
        add("season", "date", ["season sine", "season cosine"] if seasonal else [], 0.001, 0.0, 0)
        self._at = {block.name: block.columns for block in self.blocks}
        self._expressions = self._encoders()

    def _encoders(self) -> list[pl.Expr]:
        """What is wanted of a frame's columns, all in one pass."""
        wanted = list(self.groups.expressions)
        if self.condition is not None:
            wanted += self.condition.expressions
        wanted += [pl.col(numeric.name) for numeric in self.numerics]
        for name, code in self.options:
            held = pl.col(name) if code is None else pl.col(name).list.contains(code)
            wanted.append(held.cast(pl.Float64).fill_null(0.0).alias(f"option {code or name}"))
        wanted += [category.expression for category in self.categories]
        if self.spec.event_date:
            days = pl.col(self.spec.event_date).to_physical().cast(pl.Float64).fill_null(self.last_day)
            wanted.append(days.alias("days"))
        return wanted

    def carried(self, other: "Design", priors: Priors) -> Priors:
        """The variances found with another design laid over this one's blocks: theirs where the other has a
        block of the same name, the starting ones elsewhere."""
        carried_priors = self.priors()
        for block in self.blocks:
            columns = other._at.get(block.name)
            if columns is not None:
                carried_priors.market[block.columns] = float(np.median(priors.market[columns]))
                carried_priors.levels[:, block.columns] = priors.levels[:, columns[0], None]
        return carried_priors

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
        return self._at.get("condition", np.empty(0, dtype=np.int64))

    @property
    def scale_columns(self) -> Ints:
        """The columns that ``place_on_scale`` fills in."""
        filled = [self._at[name] for name in ("condition", "condition ends") if name in self._at]
        return np.concatenate([np.empty(0, dtype=np.int64), *filled])

    def place_on_scale(self, X: NDArray[Any], position: Floats) -> None:
        """Fill in the columns of the condition scale."""
        if self.condition is not None:
            X[:, self._at["condition"]] = self.condition.steps(position)
            if self.condition.has_ends:
                X[:, self._at["condition ends"]] = self.condition.ends(position)

    def structure(self) -> Structure:
        """What the regression is to know of the columns."""
        blocks = [block.columns for block in self.blocks]
        jumping = tuple(self._at[name] for name in JUMPING if name in self._at)
        ordered = self.ordered_columns
        return Structure(
            self.groups.tree, self.priors(), blocks, self.spread_columns, ordered, jumping, ANCHOR
        )

    def unforeseen(self, encoded: Encoded, priors: Priors) -> Floats:
        """Variance that the design cannot carry: groups' own drift after the last sale, and categories never
        seen; the market's shift is the calibration's."""
        result = encoded.late / DAYS_A_YEAR * self.group_walk(priors)
        for place, category in enumerate(self.categories):
            result[encoded.novel[:, place]] += priors.market[self._at[category.name][0]]
        return result

    def walk(self, priors: Priors) -> float:
        """Variance a year of the market's level as the regression's own random walk has it."""
        if "date" not in self._at:
            return 0.0
        step = float(self.time_knots[1] - self.time_knots[0])
        return float(priors.market[self._at["date"]].mean()) * DAYS_A_YEAR / step

    def group_walk(self, priors: Priors) -> float:
        """Variance a year by which groups drift from the market."""
        if "drift" not in self._at:
            return 0.0
        step = float(self.drift_knots[1] - self.drift_knots[0])
        return float(priors.levels[:, self._at["drift"][0]].sum()) * DAYS_A_YEAR / step

    @property
    def trend_columns(self) -> Ints:
        """Columns that sum up, at the last sale, to the trend a year."""
        blocks = [self._at[name] for name in ("trend", "turns") if name in self._at]
        return np.concatenate(blocks) if blocks else np.empty(0, dtype=np.int64)

    @property
    def season_columns(self) -> Ints:
        """Columns of the season; none where it does not enter."""
        return self._at.get("season", np.empty(0, dtype=np.int64))

    def season_at(self, days: Floats) -> Floats:
        """The season's columns at some days: one wave a year; none where season does not enter."""
        if "season" not in self._at:
            return np.zeros((len(days), 0))
        angle = 2.0 * np.pi * days / DAYS_A_YEAR
        return np.column_stack([np.sin(angle), np.cos(angle)])

    def encode(self, frame: pl.DataFrame, asking: Bools | None = None, dtype: Any = np.float64) -> Encoded:
        """Rows (prepared) to :class:`Encoded`, in the frame's order; rows in ``asking`` carry the gap."""
        parts = [slice(start, start + BATCH) for start in range(0, max(len(frame), 1), BATCH)]
        encoded = shared_out(
            lambda part: self._encode(frame[part], None if asking is None else asking[part], dtype), parts
        )
        return Encoded.joined(list(encoded))

    def _encode(self, frame: pl.DataFrame, asking: Bools | None, dtype: Any) -> Encoded:
        rows, at = len(frame), self._at
        table = frame.select(self._expressions)
        X = np.zeros((rows, len(self.columns)), dtype=dtype)
        X[:, 0] = 1.0
        codes = self.groups.gathered(table) if self.spec.groups else np.zeros((rows, 0), dtype=np.int64)
        band, position = np.zeros(rows, dtype=np.int64), np.zeros(rows)
        values: list[Floats] = []
        if self.condition is not None:
            position, band = self.condition.placed(table)
            values.append(position)
            self.place_on_scale(X, position)
            if self.condition.has_ungraded:
                X[:, at["ungraded"][0]] = band == len(self.condition.bands)
            if self.condition.has_unscored:
                X[:, at["unscored"][0]] = self.condition.unscored(table, band)
        for numeric in self.numerics:
            seen_values = table[numeric.name].to_numpy()
            values.append(seen_values)
            z = numeric.standardised(seen_values)
            X[:, at[f"{numeric.name} slope"][0]] = z
            if f"{numeric.name} bends" in at:
                X[:, at[f"{numeric.name} bends"]] = hinges(z, numeric.knots)
            if numeric.has_missing:
                X[:, at[f"{numeric.name} missing"][0]] = ~np.isfinite(seen_values)
        held = [table[f"option {code or name}"].to_numpy() for name, code in self.options]
        for column, present in zip(at.get("options", ()), held, strict=True):
            X[:, column] = present
        values += held
        novel = np.zeros((rows, len(self.categories)), dtype=bool)
        for place, category in enumerate(self.categories):
            value = table[category.name].to_numpy()
            values.append(np.where(value < 0, np.nan, value))
            novel[:, place] = value < 0
            seen = np.flatnonzero(value >= 0)
            X[seen, at[category.name][0] + value[seen]] = 1.0
        if asking is not None and asking.any():
            self.asking.fill(X, at, frame, asking)
        late = np.zeros(rows)
        if self.spec.event_date:
            days = table["days"].to_numpy()
            late = np.maximum(days - self.last_day, 0.0)
            self._fill_time(X, days)
        own = np.column_stack(values) if values else np.zeros((rows, 0))
        return Encoded(X, codes, band, position, late, novel, own)

    def _fill_time(self, X: NDArray[Any], days: Floats) -> None:
        """The columns of time, which come last: worked out once for each day."""
        at = self._at
        if "date" not in at:
            return
        day, place = np.unique(days, return_inverse=True)
        late = np.maximum(day - self.last_day, 0.0)
        reach = np.minimum(day, self.last_day) + damped(late, self.shift.reach)
        trend = np.maximum(reach[:, None] - self.drift_knots[:-1], 0.0) / DAYS_A_YEAR
        columns = [hinges(day, self.time_knots), trend]
        if "drift" in at:
            columns.append(hinges(day, self.drift_knots))
        columns.append(self.season_at(day))
        X[:, at["date"][0] :] = np.column_stack(columns).astype(X.dtype)[place]
