"""How right the comparable-sales approach is: every sale valued from the others, and held against its price.

A sale is valued as of its own day from sales up to that day, itself and any record of the same car within
``DUPLICATE_DAYS`` held out. The date line is refitted without it, exactly (one observation left out of least
squares, its weight as it was). The price model that supplies the adjustments is the one given: fitted to
these sales, it has seen the one that is valued, which flatters its own error and, far less, that of the
comparables; ``from_day`` and a model fitted to earlier sales avoid both.
"""

from datetime import date
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.evidence.reconciliation import reconciled, trust
from pricing.evidence.sales_book import AGE_COST, MINIMUM, MOST_GROSS, SHORTLIST, YEAR, SalesBook
from pricing.evidence.term_effects import Encoded
from pricing.model.hedonic import ONE_THREAD
from pricing.model.pooling import Floats, Ints
from pricing.model.price_model import PriceModel
from pricing.model.ratio_study import ratio_study

DUPLICATE_DAYS: Final = 60
COVERAGE: Final = 0.8
_PAIRS: Final = 20_000
_CELLS: Final = 4_000_000

Where = NDArray[np.bool_]


def leave_one_out(
    book: SalesBook, model: PriceModel, *, count: int = 12, from_day: date | None = None
) -> pl.DataFrame:
    """One row a sold car (from a day on): ``record_id``, ``evidence`` (depth class of the model), ``graded``,
    ``price``, ``comparables`` (how many were found), ``low``, ``value``, ``high`` (null under ``MINIMUM``)
    and ``model`` (the model's own mid)."""
    n = len(book.sales)
    asked = np.ones(n, dtype=bool)
    if from_day is not None:
        asked = (book.sales["event_date"] >= from_day).to_numpy()
    prices = np.log(book.sales["price"].cast(pl.Float64).to_numpy())
    encoded = book.effects.encode(book.sales, book.sales["event_date"].max())  # type: ignore[arg-type]
    influence = book.dates.influence()
    same = _same_car(book)
    parts = []
    with ONE_THREAD.limit(limits=1, user_api="blas"):
        for start, size in book.starts[2].values():
            subjects = np.flatnonzero(asked[start : start + size]) + start
            step = max(1, min(_PAIRS // (SHORTLIST * count), _CELLS // size))
            for first in range(0, len(subjects), step):
                chunk = subjects[first : first + step]
                near = _nearest(book, same, chunk, slice(start, start + size), count)
                parts.append(_value(book, encoded, prices, influence, chunk, near, count))
    values, found, rows = (np.concatenate(part) for part in zip(*parts, strict=True))
    values = np.where((found >= MINIMUM)[:, None], np.exp(values), np.nan)
    cars = book.sales[rows]
    ranges = pl.concat([model.price_range(part) for part in cars.iter_slices(5_000)])
    return pl.DataFrame(
        {
            "record_id": cars["record_id"],
            "evidence": ranges["evidence"],
            "graded": pl.Series(book.band[rows] < len(book.dates.noise) - 1),
            "price": cars["price"].cast(pl.Float64),
            "comparables": found,
            "low": values[:, 0],
            "value": values[:, 1],
            "high": values[:, 2],
            "model": ranges["mid"],
        },
        nan_to_null=True,
    )


def summary(valued: pl.DataFrame) -> pl.DataFrame:
    """The ratio study (``pricing.model.ratio_study``) of the comparables' value and of the model's mid, by
    depth class and for all, on the sales that both value: ``estimate``, ``evidence``, ``asked`` (sales), the
    measures, and ``inside`` (share of prices between the comparables' low and high)."""
    both = valued.drop_nulls(["value", "model"])
    classes = [*both["evidence"].unique().sort().to_list(), None]
    rows = []
    for evidence in classes:
        part = both if evidence is None else both.filter(pl.col("evidence") == evidence)
        if len(part) < 2:
            continue
        asked = valued if evidence is None else valued.filter(pl.col("evidence") == evidence)
        inside = part.select(pl.col("price").is_between("low", "high").mean()).item()
        for name in ("value", "model"):
            study = ratio_study(part[name].to_numpy(), part["price"].to_numpy())
            rows.append(
                {
                    "estimate": "comparables" if name == "value" else "price model",
                    "evidence": evidence or "all",
                    "asked": len(asked),
                    **study.to_dict(),
                    "inside": inside if name == "value" else None,
                }
            )
    return pl.DataFrame(rows, infer_schema_length=None)


def _same_car(book: SalesBook) -> Ints:
    """A number for every car, of its own where the chassis number is not known."""
    known = book.sales["chassis_number"].is_not_null()
    ids = book.sales.select(pl.struct("make", "chassis_number").rank("dense")).to_series().cast(pl.Int64)
    own = pl.int_range(-len(ids), 0, eager=True)
    return pl.select(pl.when(known).then(ids).otherwise(own)).to_series().to_numpy()


def _nearest(book: SalesBook, same: Ints, subjects: Ints, make: slice, count: int) -> Ints:
    """The shortlist of every subject among the sales of its make (subjects x m), -1 where there are fewer."""
    apart = np.zeros((len(subjects), make.stop - make.start), dtype=np.float32)
    for k in range(book.bundles.shape[1]):
        apart += np.abs(book.bundles[subjects, k][:, None] - book.bundles[make, k])
    far = apart > MOST_GROSS
    age = (book.days[subjects][:, None] - book.days[make]) / YEAR
    apart += (book.cost[make] + AGE_COST * age).astype(np.float32)
    held = (same[subjects][:, None] == same[make]) & (age * YEAR <= DUPLICATE_DAYS)
    barred = far | (age < 0) | held | (subjects[:, None] == np.arange(make.start, make.stop))
    apart[barred] = np.inf
    apart[~_ring_mask(book, subjects, make, ~barred, count)] = np.inf
    kept = min(SHORTLIST * count, apart.shape[1])
    columns = np.argpartition(apart, kept - 1, axis=1)[:, :kept]
    finite = np.isfinite(np.take_along_axis(apart, columns, axis=1))
    return np.where(finite, columns + make.start, -1)


def _ring_mask(book: SalesBook, subjects: Ints, make: slice, usable: Where, count: int) -> Where:
    """Which sales are in the narrowest ring that has ``count`` usable ones."""
    columns = np.arange(make.start, make.stop)
    mask = np.ones_like(usable)
    for ring in (1, 0):
        ends = np.array(list(book.starts[ring].values()))
        group = np.searchsorted(ends[:, 0], columns, side="right")
        inside = group[subjects - make.start][:, None] == group
        enough = (inside & usable).sum(axis=1) >= count
        mask[enough] = inside[enough]
    return mask


def _value(
    book: SalesBook,
    encoded: Encoded,
    prices: Floats,
    influence: Floats,
    subjects: Ints,
    near: Ints,
    count: int,
) -> tuple[Floats, Ints, Ints]:
    """Low, mid and high (log) of every subject, and how many comparables it had."""
    place, column = np.nonzero(near >= 0)
    s, c = subjects[place], near[place, column]
    lines = book.effects.differences(encoded[s], encoded[c])
    date = book.dates.between(book.days[c], book.days[s], influence[s])
    gross = np.abs(lines).sum(axis=1) + np.abs(date)
    age = (book.days[s] - book.days[c]) / YEAR
    apart = np.full(near.shape, np.inf)
    near_enough = gross <= MOST_GROSS
    apart[place, column] = np.where(near_enough, gross + book.cost[c] + AGE_COST * age, np.inf)
    weights, adjusted = np.zeros(near.shape), np.zeros(near.shape)
    weights[place, column] = near_enough * trust(book.dates.noise[book.band[c]], gross, age)
    adjusted[place, column] = prices[c] + lines.sum(axis=1) + date
    if near.shape[1] > count:
        chosen = np.argpartition(apart, count - 1, axis=1)[:, :count]
        weights, adjusted = (np.take_along_axis(part, chosen, axis=1) for part in (weights, adjusted))
    noise = book.dates.noise[book.band[subjects]]
    return reconciled(adjusted, weights, noise, COVERAGE), (weights > 0).sum(axis=1), subjects
