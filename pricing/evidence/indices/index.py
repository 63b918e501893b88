"""The price index of a market, a make, a model or any filter of sales: the door to the index methods."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final, Self

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Ints
from pricing.errors import EvidenceError
from pricing.evidence.indices import repeat_sales as pairing
from pricing.evidence.indices.cluster_robust import Clusters
from pricing.evidence.indices.imputation import FORMULAS, imputed_index
from pricing.evidence.indices.least_squares import LogIndex
from pricing.evidence.indices.periods import LENGTHS, Periods
from pricing.evidence.indices.time_dummy import cars_of_periods, kept_periods, time_dummy
from pricing.model.features.spec import FeatureSpec
from pricing.notebook_html import facts_html

METHODS: Final = ("time dummy", *FORMULAS, "repeat sales")

MINIMUM: Final = 10
"""Sales (pairs, for repeat sales: their ends) that a period needs, else it is a gap."""

NOT_ENOUGH: Final = "not enough sales"
NOT_JOINED: Final = "no sales that join it to the other periods"

LEAST_FREEDOM: Final = 1.0
"""Degrees of freedom below which a point has no interval: nothing is left to tell its error by."""


@dataclass(frozen=True)
class PriceIndex:
    """An index: what it is, and ``frame``, one row a period, the gaps included.

    Columns of ``frame``: ``period`` (its name), ``starts`` (its first day), ``sales`` (that the method could
    use; ends of pairs for repeat sales), ``index`` (base period = 100), ``low`` and ``high`` (its interval),
    ``log_index`` and ``standard_error`` of it, its degrees of ``freedom`` (null: the base, or no interval),
    ``note`` (null, or why there is no point), and ``real`` (the index over the series that :meth:`deflated`
    was given), null before. ``clusters`` says what the residuals
    go together in (``cluster_robust.KINDS``), where the method allows for it.
    """

    method: str
    period: str
    scope: str
    base: str
    coverage: float
    window: int | None
    frame: pl.DataFrame
    clusters: str = ""

    def _repr_html_(self) -> str:
        """What index it is, and a row a period."""
        about = f"{self.method} index of {self.scope} by {self.period}, {self.base} = 100"
        columns = ("period", "sales", "index", "low", "high", "note")
        return facts_html(about, frame=self.frame.select(columns))

    def deflated(self, series: pl.DataFrame) -> Self:
        """With ``real``: the index over a price series (columns ``date`` and ``value``), both 100 at the
        base.

        A period takes the mean of the values dated in it; one without is null in ``real``. The series is used
        as it is given: whether it fits the currency and the country is for whoever supplies it to know.

        Raises:
            EvidenceError: a column is absent, a value is not positive, or the base period has none.
        """
        absent = [name for name in ("date", "value") if name not in series.columns]
        if absent:
            raise EvidenceError(f"a price series has the columns date and value; absent: {', '.join(absent)}")
        values = pl.col("value").cast(pl.Float64)
        if series.is_empty() or not series.select((values.is_finite() & (values > 0)).all()).item():
            raise EvidenceError(
                "a price series has positive values only; got one that is null or not positive"
            )
        level = (
            series.select(starts=pl.col("date").cast(pl.Date).dt.truncate(LENGTHS[self.period]), value=values)
            .group_by("starts")
            .agg(pl.col("value").mean())
        )
        joined = self.frame.join(level, on="starts", how="left", maintain_order="left")
        base = joined.filter(pl.col("period") == self.base)["value"].item()
        if base is None:
            raise EvidenceError(f"the price series has no value in the base period, {self.base}")
        real = joined.select(real=pl.col("index") / (pl.col("value") / base)).to_series()
        return replace(self, frame=self.frame.with_columns(real))


def sold_cars(
    sales: pl.DataFrame, where: Mapping[str, str] | pl.Expr | None = None, price: str = "price"
) -> pl.DataFrame:
    """The sales with a price, of those for which ``where`` holds: an expression, or values of columns.

    >>> frame = pl.DataFrame({"make": ["Ash", "Elm"], "outcome": ["sold", "sold"], "price": [9.0, 8.0]})
    >>> sold_cars(frame, {"make": "Elm"})["price"].to_list()
    [8.0]
    """
    sold = sales.filter(pl.col("outcome") == "sold") if "outcome" in sales.columns else sales
    sold = sold.filter(pl.col(price).is_not_null())
    if where is None:
        return sold
    if isinstance(where, pl.Expr):
        return sold.filter(where)
    return sold.filter(*(pl.col(name) == value for name, value in where.items()))


def price_index(
    sales: pl.DataFrame,
    *,
    spec: FeatureSpec | None = None,
    method: str = "time dummy",
    period: str = "quarter",
    where: Mapping[str, str] | pl.Expr | None = None,
    window: int | None = None,
    coverage: float = 0.95,
    minimum: int = MINIMUM,
    item: tuple[str, ...] = ("make", "chassis_number"),
    weights: str = "by holding time",
    changes: str = "leave out",
) -> PriceIndex:
    """The index of the sold rows of ``sales``.

    Args:
        sales: as ``Market.sales`` gives them, or any frame that ``spec`` reads.
        spec: the columns' parts; the sale-record contract's when not given.
        method: one of ``METHODS``.
        period: one of ``periods.LENGTHS``.
        where: which sales, such as ``{"make": "Corvane", "model": "Six"}``.
        window: periods in the rolling window of the time dummy; None: one regression over all of them.
        coverage: of the interval, which on the log scale is Student's (for the time dummy see
            ``cluster_robust``).
        minimum: sales that a period needs, else it is a gap with a note and no number.
        item, weights, changes: of repeat sales: what identifies a car; one of ``repeat_sales.WEIGHTS``; one
            of ``repeat_sales.CHANGES``, for pairs whose condition band changed in between.

    Raises:
        EvidenceError: an argument is none of those allowed, or no two periods have enough sales.

    >>> rng = np.random.default_rng(1)
    >>> frame = pl.DataFrame({"model": ["Six", "Four"] * 60, "event_date": [date(2023, 5, 1)] * 60 +
    ...     [date(2024, 5, 1)] * 60, "price": np.exp(rng.normal(9.0, 0.1, 120) + np.repeat([0.0, 0.2], 60))})
    >>> spec = FeatureSpec(groups=("model",), event_date="event_date")
    >>> price_index(frame, spec=spec, period="year").frame["index"].round(1).to_list()
    [100.0, 122.1]
    """
    _one_of("method", method, METHODS)
    _one_of("weights", weights, pairing.WEIGHTS)
    _one_of("changes", changes, pairing.CHANGES)
    if not 0.0 < coverage < 1.0:
        raise EvidenceError(f"coverage lies strictly between 0 and 1; got {coverage}")
    if minimum < 2 or (window is not None and window < 2):
        raise EvidenceError("a period needs 2 sales at least, and a window 2 periods")
    spec = FeatureSpec.cars() if spec is None else spec
    dated = spec.event_date or "event_date"
    sold = sold_cars(sales, where, spec.price).drop_nulls(dated)
    if sold.is_empty():
        raise EvidenceError(
            f"no sale to make an index from: {_scope(where)} has none with a price and a date"
        )
    periods = Periods.spanning(sold[dated], period)
    scope = _scope(where)
    if method == "repeat sales":
        present, counts, index = _repeat(sold, spec, periods, list(item), weights, changes, minimum)
    else:
        code = periods.codes(sold[dated])
        counts, present = np.bincount(code, minlength=len(periods)), kept_periods(code, len(periods), minimum)
        _two(present, period, minimum, scope)
        used, cars = cars_of_periods(sold, spec, code, present)
        if method == "time dummy":
            clusters = Clusters.of(used, list(item), list(spec.groups[:2]), cars.order)
            index = time_dummy(cars, len(present), window, clusters)
        else:
            index = imputed_index(cars, len(present), method)
    known = np.isfinite(index.logs)
    if known.sum() < 2:
        raise EvidenceError(f"{scope} has too few sales a {period} for a {method} index")
    base = int(np.flatnonzero(known)[0])
    logs, errors, freedom = (np.full(len(periods), np.nan) for _ in range(3))
    logs[present], errors[present], freedom[present] = (
        index.logs - index.logs[base],
        index.errors,
        index.freedom,
    )
    freedom[present[base]] = np.inf
    frame = index_frame(periods.names, periods.starts, counts, LogIndex(logs, errors, freedom), coverage)
    enough = pl.Series(np.isin(np.arange(len(periods)), present) & (method not in FORMULAS))
    note = pl.when(enough).then(pl.lit(NOT_JOINED)).otherwise(pl.lit(NOT_ENOUGH))
    return PriceIndex(
        method, period, scope, periods.names[present[base]], coverage,
        window if method == "time dummy" else None,
        frame.with_columns(note=pl.when(pl.col("index").is_null()).then(note)), index.clusters,
    )  # fmt: skip


def index_frame(
    names: Sequence[str], starts: Sequence[date], sales: Ints, index: LogIndex, coverage: float
) -> pl.DataFrame:
    """The columns of ``PriceIndex.frame`` for a log index of every period, that of the base being nought and
    its degrees of freedom infinite; Student's interval where there are ``LEAST_FREEDOM``."""
    supported = index.freedom >= LEAST_FREEDOM
    errors = np.where(supported, index.errors, np.nan)
    reach = stats.t.ppf((1.0 + coverage) / 2.0, np.where(supported, index.freedom, 1.0)) * errors
    numbers = {
        "index": 100.0 * np.exp(index.logs),
        "low": 100.0 * np.exp(index.logs - reach),
        "high": 100.0 * np.exp(index.logs + reach),
        "log_index": index.logs,
        "standard_error": errors,
        "freedom": index.freedom,
    }
    first_days = pl.Series(starts, dtype=pl.Date)
    return pl.DataFrame({"period": names, "starts": first_days, "sales": sales, **numbers}).with_columns(
        *(pl.when(pl.col(name).is_finite()).then(name).alias(name) for name in numbers),
        note=pl.lit(None, dtype=pl.String),
        real=pl.lit(None, dtype=pl.Float64),
    )


def _repeat(
    sold: pl.DataFrame,
    spec: FeatureSpec,
    periods: Periods,
    item: list[str],
    weights: str,
    changes: str,
    minimum: int,
) -> tuple[Ints, Ints, LogIndex]:
    """The periods with enough ends of pairs, the ends of all periods, and the index."""
    absent = [name for name in item if name not in sold.columns]
    if absent:
        raise EvidenceError(f"repeat sales are matched by {', '.join(item)}; absent: {', '.join(absent)}")
    pairs = pairing.sale_pairs(sold, item, date=spec.event_date or "event_date", price=spec.price)
    if changes == "leave out":
        pairs = pairs.filter(~pairing.changed(pairs))
    ends = [periods.codes(pairs[f"{name}_date"]) for name in ("first", "second")]
    pairs, (first, second) = (
        pairs.filter(pl.Series(ends[0] != ends[1])),
        (e[ends[0] != ends[1]] for e in ends),
    )
    counts = np.bincount(np.concatenate([first, second]), minlength=len(periods))
    present = np.flatnonzero(counts >= minimum)
    _two(present, periods.length, minimum, "the set of cars sold twice")
    use = np.isin(first, present) & np.isin(second, present)
    pairs = pairs.filter(pl.Series(use))
    return (
        present,
        counts,
        pairing.repeat_sales(
            np.log((pairs["second_price"] / pairs["first_price"]).to_numpy()),
            np.searchsorted(present, first[use]),
            np.searchsorted(present, second[use]),
            len(present),
            days=pairs["days"].cast(pl.Float64).to_numpy() if weights == "by holding time" else None,
            controls=pairing.band_changes(pairs) if changes == "model" else None,
        ),
    )


def _two(present: Ints, period: str, minimum: int, scope: str) -> None:
    if len(present) < 2:
        raise EvidenceError(
            f"an index needs {minimum} sales in each of two {period}s at least; {scope} has that many in "
            f"{len(present)}: a longer period or a wider choice of sales would help"
        )


def _one_of(name: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise EvidenceError(f"{name} is one of {', '.join(allowed)}; got {value!r}")


def _scope(where: Any) -> str:
    if where is None or (not isinstance(where, pl.Expr) and not where):
        return "the whole market"
    return (
        "a filter of the market" if isinstance(where, pl.Expr) else " ".join(str(v) for v in where.values())
    )


MOST_POINTS = 400
"""Sales that are given, the newest first; more would hide each other."""


def sale_points(index: PriceIndex, sales: pl.DataFrame, where: dict[str, str]) -> pl.DataFrame:
    """Sold cars of a make or model with ``relative``: the price as a per cent of the median of like sales
    (model and condition band) brought to the base of the index by the index itself, so that a sale of the
    middling kind lies on the line.

    Returns:
        ``event_date``, ``make``, ``model``, ``year``, ``condition_band``, ``price``, ``relative``, newest
        first; no rows where the index has no points.
    """
    points = index.frame.drop_nulls("index").select(pl.col("starts").cast(pl.Date), "index").sort("starts")
    sold = (
        sales.filter(pl.col("outcome") == "sold", pl.col("price").is_not_null(), **where)
        .select("event_date", "make", "model", "year", "condition_band", pl.col("price").cast(pl.Float64))
        .sort("event_date")
    )
    joined = sold.join_asof(points, left_on="event_date", right_on="starts").drop_nulls("index")
    like = ("make", "model", "condition_band")
    level = (pl.col("price") / pl.col("index")).median().over(*like)
    return (
        joined.with_columns(relative=pl.col("price") / level)
        .drop("starts", "index")
        .sort("event_date", descending=True)
        .head(MOST_POINTS)
    )
