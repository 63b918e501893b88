"""What people say of prices as rows of the regression: pseudo-observations of a group's level and of its
steps between bands.

A statement says that a share of the sales of some cars lies between two prices. The middle of its span (in
logs) is an observation of the price of such a car on the day it was said, off by the source's bias, by what
the source has wrong about the group and by an error of its own; statements of one source about a group are
wrong together. Its variance is made of

- the span: the middle is known no better than by ``REMEMBERED`` sales of such scatter;
- the source: what statements were off by against later sales (:mod:`pricing.model.source_errors`);
- age: how far groups drift from the market between the day it was said and the last sale.

Sales come first: the fit is to sales alone, variances and all, and statements enter its last system of
equations as rows beside those of the sales, so that they weigh less the more sales there are, and from
``ENOUGH`` of them nothing; they tell of the model that they are about and of nothing above it. A statement
that stands far off what the fit without it expects counts for less, as a sale does (Student-t weights).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np
import polars as pl
from scipy.special import ndtri

from pricing.arrays import Bools, Floats, Ints
from pricing.errors import ModelError, TableError
from pricing.model.calibration.market_shift import DAYS_A_YEAR
from pricing.model.features.design import Design, Encoded
from pricing.model.features.spec import FeatureSpec
from pricing.model.regression.hedonic import FittedRows, HedonicRegression, Sums, updated
from pricing.model.regression.rows import Rows
from pricing.model.source_errors import Scored, SourceErrors, learn_sources
from pricing.vocabulary import SPANS

COLUMNS: Final = ("source", "low", "middle", "high", "share")
"""Columns of a frame of statements beside those of the cars and of the day."""

STATED: Final = {
    "low": pl.col("low_price"), "middle": pl.col("middle_price"), "high": pl.col("high_price"),
    "share": pl.col("holds").replace_strict(SPANS, return_dtype=pl.Float64),
}  # fmt: skip
"""Those of them that make up a span, of a statement as a market keeps it."""

REMEMBERED: Final = 10.0
"""Sales that stand behind the middle of a span: who says how far prices scatter has seen no more than a
handful of them (common practice, no source)."""

USUAL_SPREAD: Final = 0.25
"""Standard deviation (log) of the sales that a statement with one end only is taken to speak of, where its
source says no other span."""

DEGREES: Final = 4.0
"""Of the Student-t weights of statements."""

ENOUGH: Final = 20
"""Sales of a model on record from which on what people say of it counts for nothing; below, a statement keeps
the share of its weight that is missing to them. Whoever knows a model has seen its sales: what they say of it
is no news beside these, and counted in full it would count the same sales twice."""


@dataclass(frozen=True)
class Statements:
    """Statements that a model can read, in order of the day: prepared ``features``, ``source`` as codes of
    ``names``, ``middle`` (log) and ``spread``, the standard deviation (log) of sales as the span has it."""

    features: pl.DataFrame
    names: tuple[str, ...]
    source: Ints
    middle: Floats
    spread: Floats

    def __len__(self) -> int:
        return len(self.middle)

    @classmethod
    def gather(cls, frame: pl.DataFrame, spec: FeatureSpec) -> Self:
        """From a frame with the spec's columns and ``COLUMNS``: ends of the span in the unit of the price,
        either null, and the share of the sales that the span with both its ends holds.

        Raises:
            TableError: a column is absent.
            ModelError: a span has no end, or ends that are not positive and rising, or a share that is not
                between 0 and 1.
        """
        absent = [name for name in (*COLUMNS, *spec.groups) if name not in frame.columns]
        if absent:
            raise TableError(f"the frame of statements lacks the column {', '.join(absent)}")
        if spec.event_date:
            frame = frame.drop_nulls(spec.event_date).sort(spec.event_date, maintain_order=True)
        low, middle, high, share = (frame[name].cast(pl.Float64) for name in COLUMNS[1:])
        possible = (low.is_not_null() | high.is_not_null()) & (share > 0) & (share < 1)
        for rule in (low > 0, high > 0, low < high, low < middle, middle < high):
            possible &= rule.fill_null(True)
        if not possible.fill_null(False).all():
            wrong = frame.filter(~possible.fill_null(False)).row(0, named=True)
            raise ModelError(
                f"a span has a low below a high, both positive, and holds a share between 0 and 1; got low "
                f"{wrong['low']}, middle {wrong['middle']}, high {wrong['high']}, share {wrong['share']}"
            )
        names, source = np.unique(frame["source"].cast(pl.String).to_numpy(), return_inverse=True)
        centre, spread = middles(frame)
        return cls(spec.prepared(frame), tuple(str(name) for name in names), source.ravel(), centre, spread)

    def __getitem__(self, rows: Ints) -> "Statements":
        aligned = ("features", "source", "middle", "spread")
        return replace(self, **{name: getattr(self, name)[rows] for name in aligned})


def as_rows(opinions: pl.DataFrame) -> pl.DataFrame:
    """Statements as a market keeps them (``Market.opinions``) in the columns that a price model of cars
    reads: all-in prices, the middle of the years, the day as ``event_date``."""
    return opinions.select(
        "source", "make", "model", "variant", "country", "channel", "condition_band", "condition_score",
        event_date="stated_on", year=pl.mean_horizontal("year_from", "year_to"), **STATED,
    ).filter(pl.any_horizontal(pl.col("low", "high").is_not_null()))  # fmt: skip


def middles(spans: pl.DataFrame) -> tuple[Floats, Floats]:
    """Middle (log) and standard deviation (log) of what each span says (``COLUMNS``); of a span with one end
    the deviation is what the same source says elsewhere, or ``USUAL_SPREAD``.

    >>> spans = pl.DataFrame({"source": "A. Rowe", "low": [1000.0, None], "middle": [None, None],
    ...                       "high": [2000.0, 1000.0], "share": [0.8, 0.8]})
    >>> centre, spread = middles(spans)
    >>> np.exp(centre).round(1).tolist(), spread.round(3).tolist()
    ([1414.2, 707.1], [0.27, 0.27])
    """
    low, middle, high, share = (spans[name].cast(pl.Float64).to_numpy() for name in COLUMNS[1:])
    source = np.unique(spans["source"].cast(pl.String).to_numpy(), return_inverse=True)[1].ravel()
    with np.errstate(invalid="ignore"):
        lows, mids, highs = np.log(low), np.log(middle), np.log(high)
    spread = (highs - lows) / (2.0 * ndtri((1.0 + share) / 2.0))
    whole = np.isfinite(spread)
    count = np.bincount(source[whole], minlength=int(source.max(initial=0)) + 1)
    total = np.bincount(source[whole], spread[whole], minlength=len(count))
    usual = np.where(count > 0, total / np.maximum(count, 1), USUAL_SPREAD)[source]
    spread = np.where(whole, spread, usual)
    reach = ndtri((1.0 + share) / 2.0) * spread
    centre = np.where(whole, (lows + highs) / 2.0, np.where(np.isfinite(highs), highs - reach, lows + reach))
    return np.where(np.isfinite(mids), mids, centre), spread


@dataclass(frozen=True)
class Heard:
    """What a fit made of statements: the ``regression`` with them and that ``without`` them; how many were
    ``counted`` of each group that statements are about; and, for whoever asks what is known of sources, their
    ``names`` with the ``bias`` and ``scale`` of each and how many of its statements were ``held`` against
    later sales."""

    regression: HedonicRegression
    without: HedonicRegression
    counted: Ints
    names: tuple[str, ...]
    bias: Floats
    scale: Floats
    held: Ints


@dataclass(frozen=True)
class SalesSeen:
    """The sales of a fit: encoded, those ``sold``, their ``days``, and what the fit left of them."""

    encoded: Encoded
    sold: Ints
    days: Floats
    left: FittedRows


def hear(
    statements: Statements,
    design: Design,
    regression: HedonicRegression,
    sales: SalesSeen,
    sums: Sums,
    reference: Floats,
    beside: Callable[[Encoded], Floats],
) -> Heard:
    """Take statements into a fit to sales. ``reference`` is the design's row of the average sale, which
    stands for whatever a statement leaves open; ``beside`` gives what is added to the regression's mid of
    cars."""
    level = kind_level(design)
    encoded = _typical(design, statements, reference)
    age = _age(design, statements, regression)
    model = _kind(encoded)
    scored = _held_against(statements, encoded, model, design, regression, sales)
    errors = learn_sources(scored, len(statements.names))
    sold = np.bincount(_kind(sales.encoded)[sales.sold] + 1, minlength=int(model.max()) + 2)[1:]
    missing = np.where(model < 0, 1.0, np.clip(1.0 - sold[model] / ENOUGH, 0.0, 1.0))
    latest = _in_force(statements, encoded)
    latest = latest[missing[latest] > 0]
    rows, codes, y = _whitened(
        statements[latest], encoded[latest], model[latest], errors, age[latest], beside(encoded[latest]),
        missing[latest], regression,
    )  # fmt: skip
    lain = Rows(rows, codes, design.groups.tree, design.priors().varying())
    products = lain.cross_products(np.ones(len(rows)), (y - sums.centre * rows[:, 0])[lain.order])
    both, alone = updated(regression, sums, design.structure(), products, _unmoved(design, sales))
    counted = np.bincount(model[latest], minlength=design.groups.tree.sizes[level])
    return Heard(both, alone, counted, statements.names, errors.biases()[0], errors.scale, errors.count)


def _kind(encoded: Encoded) -> Ints:
    """The group that a statement is about: the model, or that of the only level."""
    return encoded.codes[:, min(1, encoded.codes.shape[1] - 1)]


def kind_level(design: Design) -> int:
    """The level of the groups that statements are about: models, or the only one there is.

    Raises:
        ModelError: the design has no groups.
    """
    if not design.spec.groups:
        raise ModelError("statements are about groups of cars, and the feature spec has none")
    return min(1, len(design.spec.groups) - 1)


def _unmoved(design: Design, sales: SalesSeen) -> list[Bools]:
    """The groups that statements leave as they are: those above the models, such as makes, that have sales.
    What people say of a model tells of that model and of its variants alone."""
    sizes = design.groups.tree.sizes
    unmoved = [np.zeros(size, dtype=bool) for size in sizes]
    if len(sizes) > 1:
        unmoved[0][sales.encoded.codes[sales.sold, 0]] = True
    return unmoved


def _typical(design: Design, statements: Statements, reference: Floats) -> Encoded:
    """The design's rows of the cars that statements speak of: what is left open is as in the average sale."""
    encoded = design.encode(statements.features)
    X, spec = encoded.X, design.spec
    features = statements.features
    open_rows = {
        **{name: features[name].is_null().to_numpy() for name in (*spec.numerics, *spec.categories)},
        **{name: np.ones(len(X), dtype=bool) for name in ("options", "asking")},
    }
    for block in design.blocks:
        if block.name == "unscored":
            X[:, block.columns] = reference[block.columns]
        elif block.term in open_rows:
            rows = np.flatnonzero(open_rows[block.term])
            X[np.ix_(rows, block.columns)] = reference[block.columns]
    return encoded


def _age(design: Design, statements: Statements, regression: HedonicRegression) -> Floats:
    """Variance by which groups drift from the market between the day of a statement and the last sale."""
    apart = np.abs(design.last_day - design.spec.days(statements.features))
    return apart / DAYS_A_YEAR * design.group_walk(regression.estimates.priors)


def _held_against(
    statements: Statements,
    encoded: Encoded,
    model: Ints,
    design: Design,
    regression: HedonicRegression,
    sales: SalesSeen,
) -> Scored:
    """The error of every statement after which cars of that kind and band were sold. The sales are brought to
    the statement's car and day by the fit: what is left of them is what counts."""
    none = np.empty(0, dtype=np.int64)
    if not design.spec.event_date or not len(sales.sold):
        return Scored(np.empty(0), np.empty(0), none, none)
    kind = _kind(sales.encoded)[sales.sold]
    bands = len(design.condition.bands) + 1 if design.condition else 1
    key = kind * bands + sales.encoded.band[sales.sold]
    order = np.lexsort((sales.days[sales.sold], key))
    key, day = key[order], sales.days[sales.sold][order]
    weight = sales.left.weights[sales.sold][order]
    run = np.concatenate([[0.0], np.cumsum(weight)])
    total = np.concatenate([[0.0], np.cumsum(weight * sales.left.residual[sales.sold][order])])
    own = model * bands + encoded.band
    said_on = design.spec.days(statements.features)
    span = float(day.max() - day.min()) + float(np.abs(said_on).max()) + 2.0
    place = key * (4.0 * span) + day
    first = np.searchsorted(place, own * (4.0 * span) + said_on, side="right")
    last = np.searchsorted(key, own, side="right")
    seen = np.flatnonzero((last > first) & (model >= 0))
    precision = (run[last] - run[first])[seen]
    rest = (total[last] - total[first])[seen] / precision
    error = statements.middle[seen] - regression.predict(encoded.X[seen], encoded.codes[seen]) - rest
    known = 1.0 / precision + np.square(statements.spread[seen]) / REMEMBERED
    return Scored(error, known, statements.source[seen], model[seen])


def _in_force(statements: Statements, encoded: Encoded) -> Ints:
    """The last that each source said of each car: what it said before is superseded."""
    cars = statements.features.select(pl.exclude(pl.Date)).with_columns(
        source=pl.Series(statements.source), position=pl.Series(encoded.position)
    )
    keys = [name for name in cars.columns if not isinstance(cars.schema[name], pl.List)]
    last = cars.with_row_index("row").unique(keys, keep="last", maintain_order=True)["row"]
    return np.sort(last.to_numpy().astype(np.int64))


def _whitened(
    statements: Statements,
    encoded: Encoded,
    model: Ints,
    errors: SourceErrors,
    age: Floats,
    beside: Floats,
    missing: Floats,
    regression: HedonicRegression,
) -> tuple[Floats, Ints, Floats]:
    """Rows, codes and responses with independent errors of variance one: those of each finest group times the
    inverse root of their covariance."""
    if not len(statements):
        return encoded.X, encoded.codes, statements.middle
    bias, doubt, share = errors.bias(statements.source, model)
    squared = np.square(errors.scale[statements.source])
    single = errors.single * squared + np.square(statements.spread) / REMEMBERED + age
    together = errors.about * squared + doubt
    y = statements.middle - bias - beside
    weight = missing * _robust(statements.source, encoded, y, single, together, regression)
    single, together = single / weight, together / weight
    order = np.lexsort((statements.source, *encoded.codes.T[::-1]))
    X, codes, y = encoded.X[order].astype(np.float64), encoded.codes[order], y[order]
    source, share = statements.source[order], share[order]
    single, together = single[order], together[order]
    finest = codes[:, -1]
    edges = np.flatnonzero(np.concatenate([[True], finest[1:] != finest[:-1], [True]]))
    for start, stop in zip(edges[:-1], edges[1:], strict=True):
        own = slice(start, stop)
        same = source[own, None] == source[None, own]
        covariance = np.diag(single[own]) + same * np.sqrt(together[own, None] * together[None, own])
        covariance += errors.mu_variance * np.outer(share[own], share[own])
        root = np.linalg.cholesky(covariance)
        both = np.linalg.solve(root, np.column_stack([X[own], y[own]]))
        X[own], y[own] = both[:, :-1], both[:, -1]
    return X, codes, y


def _robust(
    source: Ints, encoded: Encoded, y: Floats, single: Floats, together: Floats, regression: HedonicRegression
) -> Floats:
    """Student-t weight, 1 at most, of all that a source says of a group, by how far its mean stands off what
    the fit without it expects."""
    keys = np.column_stack([source, encoded.codes[:, -1:]])
    place = np.unique(keys, axis=0, return_inverse=True)[1].ravel()
    total = np.bincount(place, 1.0 / single)
    order = np.argsort(place, kind="stable")
    starts = np.flatnonzero(np.concatenate([[True], np.diff(place[order]) != 0]))
    scaled = encoded.X[order] / single[order, None]
    mean = np.add.reduceat(scaled, starts, axis=0) / total[:, None]
    codes = encoded.codes[order][starts]
    off = np.bincount(place, y / single) / total - regression.predict(mean, codes)
    estimates = regression.estimates
    variance = 1.0 / total + together[order][starts]
    variance = variance + estimates.posterior.variance(mean, codes, estimates.priors)
    return np.minimum((DEGREES + 1.0) / (DEGREES + np.square(off) / variance), 1.0)[place]
