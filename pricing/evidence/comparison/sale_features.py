"""The sold cars of a market laid out: sorted by group once, then asked many times."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import exp
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.arrays import Bools, Floats, Ints
from pricing.errors import EvidenceError
from pricing.evidence.comparison.choices import Choice, of_action
from pricing.evidence.comparison.date_line import DateLine
from pricing.evidence.comparison.reconciliation import RULE_OF_THUMB
from pricing.evidence.comparison.term_effects import TermEffects
from pricing.evidence.indices.index import sold_cars
from pricing.model.price_model import PriceModel
from pricing.model.regression.hedonic import ONE_THREAD

CHUNK: Final = 65_536

MINIMUM: Final = 3
"""Comparables below which no value is given."""

SHORTLIST: Final = 3
"""Sales looked at in detail for each that is wanted."""

MOST_GROSS: Final = 1.0
"""Sum of the sizes of the log adjustments beyond which a sale is no comparable. Assumption."""

GROUPS: Final = ("make", "model", "variant")

MATCH_LEVELS: Final = ("same variant", "same model", "same make")
"""Where comparables are looked for, nearest first."""

YEAR: Final = 365.2425

AGE_COST: Final = 0.02
"""In choosing, a sale a year older is as far off as a car that differs by this much in log price.
Assumption."""

OUTSIDE_COST: Final = 0.10
"""In choosing, a sale whose adjustments exceed the rule of thumb is as far off as this much more in
log price. Assumption."""

UNGRADED_COST: Final = 0.10
"""In choosing, a sale of a car that no one graded is as far off as this much in log price. Assumption."""


Starts = dict[tuple[str | None, ...], tuple[int, int]]


@dataclass(frozen=True)
class SaleFeatures:
    """Sold cars sorted by make, model, variant and date, with what likeness is reckoned from.

    ``sales`` (n rows; offers that did not sell are in ``offers``), ``days`` (n, since 1970),
    ``attribute_groups`` (n x 5, see ``TermEffects.attribute_groups``), ``band`` (n, code of the condition
    band), ``cost`` (n, of what is not known of the car), ``starts`` (by match level: the first row and the
    number of rows of every group), ``offer_starts`` (the same of the offers, by make and model) and
    ``dates`` (the date line).
    """

    sales: pl.DataFrame
    offers: pl.DataFrame
    effects: TermEffects
    dates: DateLine
    days: Floats
    attribute_groups: NDArray[np.float32]
    band: Ints
    cost: Floats
    starts: tuple[Starts, ...]
    offer_starts: Starts
    currency: str

    @classmethod
    def of(
        cls, sales: pl.DataFrame, model: PriceModel, *, currency: str = "EUR", as_of: date | None = None
    ) -> "SaleFeatures":
        """From ``Market.sales`` and a model fitted to them; with ``as_of`` from what was known then.

        Raises:
            EvidenceError: no car had been sold by then.
        """
        known = sales if as_of is None else sales.filter(pl.col("event_date") <= as_of)
        sold = sold_cars(known).sort(*GROUPS, "event_date", maintain_order=True)
        if sold.is_empty():
            first: Any = sold_cars(sales)["event_date"].min()
            raise EvidenceError(
                f"no sale is on record by {as_of}; the first is of {first}"
                if first
                else "the market has no sale"
            )
        effects = TermEffects(model)
        attribute_groups, band = np.empty((len(sold), 5), np.float32), np.empty(len(sold), np.int64)
        latest: Any = sold["event_date"].max()
        with ONE_THREAD.limit(limits=1, user_api="blas"):
            for start in range(0, len(sold), CHUNK):
                part = sold[start : start + CHUNK]
                encoded = effects.encode(part, latest)
                attribute_groups[start : start + CHUNK] = effects.attribute_groups(encoded)
                band[start : start + CHUNK] = encoded.band
        ungraded = (sold["condition_band"].is_null() & sold["condition_score"].is_null()).to_numpy()
        offers = known.filter(pl.col("outcome").is_in(["asking", "unsold"])).sort(*GROUPS, "event_date")
        return SaleFeatures(
            sales=sold,
            offers=offers,
            effects=effects,
            dates=DateLine.fit(sold, model.spec),
            days=sold["event_date"].to_physical().cast(pl.Float64).to_numpy(),
            attribute_groups=attribute_groups,
            band=band,
            cost=np.where(ungraded, UNGRADED_COST, 0.0),
            starts=tuple(_starts(sold, GROUPS[:depth]) for depth in (3, 2, 1)),
            offer_starts=_starts(offers, GROUPS[:2]),
            currency=currency,
        )

    @property
    def span(self) -> tuple[date, date]:
        """First and last day on which a car was sold."""
        return _day(self.days.min()), _day(self.days.max())

    def graded(self, rows: Ints | slice) -> Bools:
        """Whether somebody graded the car of each sale."""
        return np.asarray(self.band[rows] < len(self.dates.noise) - 1)

    def of_model(self, group: tuple[str | None, ...], day: float) -> int:
        """Sales of the model (make and model come first in ``group``) by a day."""
        return int((self.days[self.at_level(1, group)] <= day).sum())

    def at_level(self, level: int, group: tuple[str | None, ...]) -> slice:
        """Rows of the group of a match level: (make, model, variant), (make, model) or (make,)."""
        start, size = self.starts[level].get(group[: 3 - level], (0, 0))
        return slice(start, start + size)

    def distances(self, attributes: Floats, rows: slice | Ints, day: float) -> Floats:
        """How far sales are from a subject at a day: log price differences by group of attributes, and
        the costs of age and of what is not known; infinite for a sale after the day and for one so different
        that it is no comparable."""
        apart = np.abs(self.attribute_groups[rows] - attributes.astype(np.float32)).sum(axis=1)
        age = (day - self.days[rows]) / YEAR
        fit = (age >= 0) & (apart <= MOST_GROSS)
        return np.where(fit, apart + self.cost[rows] + AGE_COST * age, np.inf)

    def offers_of(self, group: tuple[str | None, ...], day: float, years: float, most: int) -> pl.DataFrame:
        """The latest offers of a model that did not end in a sale and say something: up to ``most``, at most
        ``years`` before the day."""
        start, size = self.offer_starts.get(group[:2], (0, 0))
        at = _day(day)
        informative = pl.col("price").is_not_null() | pl.col("lower_price").is_not_null()
        age = (pl.lit(at) - pl.col("event_date")).dt.total_days()
        near = self.offers[start : start + size].filter(informative, age.is_between(0, years * YEAR))
        return near.sort("event_date", "record_id", descending=[True, False]).head(most)


def unlikeness(gross: Floats, cost: Floats, age: Floats) -> Floats:
    """How far a sale is from a subject, for the order in which sales are taken: its gross adjustment (log),
    what is not known of it, its age in years, and more where the rule of thumb is exceeded.

    >>> unlikeness(np.array([0.2, 0.3]), np.zeros(2), np.zeros(2)).round(6).tolist()
    [0.2, 0.4]
    """
    return np.asarray(gross + cost + AGE_COST * age + OUTSIDE_COST * (gross > RULE_OF_THUMB))


def _starts(sold: pl.DataFrame, names: tuple[str, ...]) -> Starts:
    """First row and number of rows of every group of sorted sales."""
    runs = sold.group_by(names, maintain_order=True).len()
    first = runs["len"].cum_sum() - runs["len"]
    return dict(zip(runs.select(names).rows(), zip(first, runs["len"], strict=True), strict=True))


def _day(days: float) -> date:
    return date.fromordinal(date(1970, 1, 1).toordinal() + int(days))


BEYOND: Final = (
    f"would need its price changed too much to compare (by a factor of {exp(MOST_GROSS):.1f} in all)"
)


def choose(
    indexed: SaleFeatures,
    attributes: Floats,
    group: tuple[Any, ...],
    day: float,
    count: int,
    made: Mapping[tuple[str, str], Choice],
) -> tuple[Ints, Ints, list[dict[str, Any]]]:
    """Rows of the shortlist, the match level of each, and what was left out so far: from the variant outward,
    until there are ``count``."""
    dropped = _rows_of(indexed, made, "drop")
    added = _rows_of(indexed, made, "add")
    for match_level in range(len(MATCH_LEVELS)):
        where = indexed.at_level(match_level, group)
        apart = indexed.distances(attributes, where, day)
        late = int((indexed.days[where] > day).sum())
        far = int(np.isinf(apart).sum()) - late
        inside = dropped[(dropped >= where.start) & (dropped < where.stop)] - where.start
        apart[inside] = np.inf
        if np.isfinite(apart).sum() >= count:
            break
    want = min(SHORTLIST * count, len(apart))
    nearest = np.argpartition(apart, want - 1)[:want] if want else np.empty(0, dtype=np.int64)
    rows = nearest[np.isfinite(apart[nearest])] + where.start
    if len(added) and (indexed.days[added] > day).any():
        raise EvidenceError("a sale after the effective date cannot be added: it was not known then")
    rows = np.unique(np.concatenate([rows, added]))
    levels = np.full(len(rows), len(MATCH_LEVELS), dtype=np.int64)
    for place in reversed(range(len(MATCH_LEVELS))):
        own = indexed.at_level(place, group)
        levels[(rows >= own.start) & (rows < own.stop)] = place
    left: list[dict[str, Any]] = [
        {"reason": f"dropped: {choice.reason}", "sales": 1, "record_id": record}
        for record, choice in of_action(made, "drop").items()
    ]
    wide, level = indexed.at_level(len(MATCH_LEVELS) - 1, group), MATCH_LEVELS[match_level]
    sizes = {
        "sold after the effective date": late,
        BEYOND: far,
        f"less like the subject than those looked at ({level})": int(np.isfinite(apart).sum()) - want,
        f"further out than the {level}": wide.stop - wide.start - (where.stop - where.start),
    }
    left += [
        {"reason": reason, "sales": size, "record_id": None} for reason, size in sizes.items() if size > 0
    ]
    return rows, levels, left


def left_over(sales: pl.DataFrame, usable: Ints, chosen: Ints, beyond: int) -> list[dict[str, Any]]:
    """The sales of the shortlist that were not used: one by one where they could have been."""
    ids = sales["record_id"]
    less = [
        {"reason": "less like the subject", "sales": 1, "record_id": ids[int(k)]}
        for k in usable[len(chosen) :]
    ]
    return [*less, *([{"reason": BEYOND, "sales": beyond, "record_id": None}] if beyond else [])]


def _rows_of(indexed: SaleFeatures, made: Mapping[tuple[str, str], Choice], action: str) -> Ints:
    """Rows of the sales that a person added or dropped; every one must be there."""
    wanted = of_action(made, action)
    if not wanted:
        return np.empty(0, dtype=np.int64)
    rows = indexed.sales.select(pl.col("record_id").is_in(list(wanted)).arg_true()).to_series()
    absent = sorted(wanted.keys() - set(indexed.sales["record_id"][rows]))
    if absent:
        raise EvidenceError(f"to {action} record {absent[0]!r}: the market has no such sale")
    return rows.cast(pl.Int64).to_numpy()
