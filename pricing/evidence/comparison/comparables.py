"""Comparable sales: choose, adjust, weigh, reconcile. The door to the comparable-sales approach."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import ceil
from typing import Any, Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats, Ints
from pricing.car import Car, today
from pricing.errors import EvidenceError
from pricing.evidence.comparison.adjustments import (
    CONDITIONS,
    DATE,
    GROSS_LIMIT,
    LINE_LIMIT,
    NET_LIMIT,
    adjustment_lines,
    overridden,
)
from pricing.evidence.comparison.choices import Choice, in_force, of_action
from pricing.evidence.comparison.comparables_index import FEWEST, ComparablesIndex
from pricing.evidence.comparison.reconciliation import reliability_weights, stated_error, weighted_median
from pricing.evidence.comparison.sale_features import (
    MATCH_LEVELS,
    MINIMUM,
    MOST_GROSS,
    YEAR,
    SaleFeatures,
    choose,
    left_over,
    unlikeness,
)
from pricing.evidence.comparison.support import adjustment_support, line_errors, spans_nought
from pricing.notebook_html import facts_html, range_text

COUNT: Final = 12
"""Comparables used when nothing else is asked for."""

MOST_DAYS_PAST: Final = 731
"""Days past its end that the date line is taken to be level; after two years it says nothing. Assumption."""

OFFERS: Final = 8
OFFER_YEARS: Final = 3.0

SHOWN: Final = (
    "record_id", "event_date", "make", "model", "variant", "year", "condition_band", "condition_score",
    "odometer_km", "options", "channel", "country", "source", "source_ref", "chassis_number", "amount",
    "currency", "price_basis", "price",
)  # fmt: skip


@dataclass(frozen=True)
class Comparables:
    """The evidence about one car at ``as_of``; amounts are all-in, in ``currency``.

    Args:
        subject: one row, the car.
        table: a row a comparable, the nearest first: what was sold, ``match_level``, ``net_per_cent`` and
            ``gross_per_cent`` of its price (from its conditions of sale on), ``adjusted_price``, ``weight``
            (they add up to 1), ``age_years``, ``evidence`` (graded or ungraded sale), ``flags`` and
            ``chosen`` (null, or why a person added it).
        lines: see ``adjustments.adjustment_lines``.
        offers: asking prices (a ceiling) and highest bids on unsold lots (a floor) of the model, brought to
            the subject in the same way; they have no weight, an offer being no sale.
        left_out: ``reason``, ``sales`` (how many) and ``record_id`` where it is a single one.
        low, mid, high: the reconciled value; ``coverage`` of single sales of such a car fall from low to
            high, as it did of ``scores`` sales of its ``kind`` that were held out and valued from the others.
            No low and high where ``reason`` says why.
        sale_spread, mid_error: standard deviations (logs) that low and high are made of, as those sales have
            them; without a range as the normal law of the residuals has them.
        bracketed: whether some comparables, at the effective date, are worth less and some more.
        choices: a person's, all of them.
        support: what stands behind each adjustment (``support.adjustment_support``), where it was asked for.
    """

    subject: pl.DataFrame
    as_of: date
    currency: str
    coverage: float
    table: pl.DataFrame
    lines: pl.DataFrame
    offers: pl.DataFrame
    left_out: pl.DataFrame
    low: Decimal | None
    mid: Decimal
    high: Decimal | None
    sale_spread: float
    mid_error: float
    bracketed: bool
    date_line_ends: date
    choices: tuple[Choice, ...]
    kind: str = ""
    scores: int = 0
    reason: str | None = None
    support: pl.DataFrame | None = None

    def _repr_html_(self) -> str:
        """The reconciled range, and a row a comparable."""
        spread = range_text(self.low, self.mid, self.high, self.currency, self.reason)
        about = f"{self.table.height} comparable sales: {spread}; all-in, on {self.as_of}"
        columns = (
            "event_date",
            "variant",
            "year",
            "condition_band",
            "price",
            "net_per_cent",
            "adjusted_price",
        )
        return facts_html(about, frame=self.table.select(*columns, "weight"))


def find_comparables(
    indexed: ComparablesIndex,
    car: Car,
    *,
    as_of: date | None = None,
    count: int = COUNT,
    coverage: float = 0.8,
    choices: Sequence[Choice] = (),
    leave_out_unsure: bool = False,
    with_support: bool = False,
) -> Comparables:
    """The sales most like a car, adjusted to it and reconciled.

    Args:
        indexed: the market's sales (``ComparablesIndex.build``), laid out once.
        car: a car of that market.
        as_of: the effective date; the last sale's when not given.
        count: comparables wanted.
        coverage: share of single sales that low to high is to hold.
        choices: a person's additions, omissions, weights and adjustments, later ones before earlier.
        with_support: find what stands behind each adjustment too (``Comparables.support``).
        leave_out_unsure: leave out lines of the model whose interval spans nought.

    Raises:
        CarError: the car could not be at ``as_of``.
        EvidenceError: a choice makes no sense, the date is before the first sale, or fewer than
            three sales are usable, or the index of the market ended over two years before it.
    """
    if not 0.0 < coverage < 1.0:
        raise EvidenceError(f"coverage lies strictly between 0 and 1; got {coverage}")
    if count < MINIMUM:
        raise EvidenceError(f"a value needs {MINIMUM} comparables at least; got {count}")
    car.held(None, today() if as_of is None else as_of)
    first, last = indexed.span
    at = last if as_of is None else as_of
    if at < first:
        raise EvidenceError(f"no sale is on record by {at}; the first is of {first}")
    ended = indexed.dates.last_day
    if len(indexed.dates.logs) > 1 and (at - ended).days > MOST_DAYS_PAST:
        raise EvidenceError(
            f"the index that moves prices through time ends at {ended}, more than two years before {at}, and "
            "cannot speak of the time between: sale records of those years would help"
        )
    made = in_force(choices)
    day = float((at - date(1970, 1, 1)).days)
    subject = car.frame(at).drop("event_date")
    own = indexed.effects.encode(subject, at)
    group = (car.make, car.model, car.variant)
    rows, match_level, left = choose(
        indexed, indexed.effects.attribute_groups(own)[0], group, day, count, made
    )
    names = (CONDITIONS, DATE, *indexed.effects.lines)
    sales, offers = indexed.sales[rows], indexed.offers_of(group, day, OFFER_YEARS, OFFERS)
    others = pl.concat([sales, offers])
    days = others["event_date"].to_physical().cast(pl.Float64).to_numpy()
    moved = indexed.dates.between(days, np.full(len(others), day))
    differences = indexed.effects.differences(own, indexed.effects.encode(others, at))
    every = np.column_stack([np.zeros(len(others)), moved, differences])
    logs = every[: len(rows)]
    encoded = indexed.effects.encode(sales, at)
    unsure = np.zeros(logs.shape, dtype=bool)
    if leave_out_unsure:
        unsure[:, 2:] = spans_nought(logs, line_errors(indexed, own, encoded, days[: len(rows)], day))[:, 2:]
        logs = np.where(unsure, 0.0, logs)
    logs = overridden(logs, names, sales["record_id"].to_list(), made)
    gross = np.abs(logs).sum(axis=1)
    age = (day - indexed.days[rows]) / YEAR
    added = sales["record_id"].is_in(list(of_action(made, "add"))).to_numpy()
    near = np.argsort(np.where(added, -1.0, unlikeness(gross, indexed.cost[rows], age)), kind="stable")
    usable = near[(gross[near] <= MOST_GROSS) | added[near]]
    if len(usable) < MINIMUM:
        raise EvidenceError(_refusal(group, at, len(usable), len(rows)))
    chosen = usable[: max(count, int(added.sum()))]
    left += left_over(sales, usable, chosen, len(near) - len(usable))
    comparables = sales[chosen]
    lines = adjustment_lines(
        comparables, subject, logs[chosen], names, at=at, currency=indexed.currency,
        model_source=f"price model fitted to {indexed.effects.sales:,} sales", choices=made,
        left_out=unsure[chosen],
    )  # fmt: skip
    band = indexed.band[rows[chosen]]
    weights = reliability_weights(indexed.dates.noise[band], gross[chosen], age[chosen])
    weights = weights * _by_hand(comparables, made)
    adjusted = np.log(comparables["price"].cast(pl.Float64).to_numpy()) + logs[chosen].sum(axis=1)
    mid = float(weighted_median(adjusted[None], weights[None])[0])
    stated = np.array([indexed.dates.noise[own.band[0]], stated_error(weights.sum())])
    graded, of_model = own.band < len(indexed.dates.noise) - 1, np.array([indexed.of_model(group, day)])
    kind = str(indexed.scores.kinds(graded, of_model)[0])
    scores = len(indexed.scores.scores[kind])
    within = indexed.scores.quantile(kind, coverage)
    reach = None if within is None else within * float(np.hypot(*stated))
    normal = float(stats.norm.ppf((1.0 + coverage) / 2.0))
    sale_spread, mid_error = stated if within is None else stated * (within / normal)
    toward = logs[chosen][:, 2:].sum(axis=1)
    return Comparables(
        subject=subject,
        as_of=at,
        currency=indexed.currency,
        coverage=coverage,
        table=_table(comparables, lines, weights, age[chosen], match_level[chosen], indexed, band, made),
        lines=lines,
        offers=_offers(offers, every[len(rows) :].sum(axis=1)),
        left_out=pl.DataFrame(left, schema={"reason": pl.String, "sales": pl.Int64, "record_id": pl.String}),
        low=None if reach is None else _money(np.exp(mid - reach)),
        mid=_money(np.exp(mid)),
        high=None if reach is None else _money(np.exp(mid + reach)),
        sale_spread=float(sale_spread),
        mid_error=float(mid_error),
        bracketed=bool((toward < 0).any() and (toward > 0).any()),
        date_line_ends=indexed.dates.last_day,
        choices=tuple(choices),
        support=adjustment_support(indexed, own, encoded[chosen], comparables, logs[chosen], names, day)
        if with_support
        else None,
        kind=kind,
        scores=scores,
        reason=None if within is not None else _no_range(kind, scores, coverage),
    )


def _by_hand(sales: pl.DataFrame, made: Mapping[tuple[str, str], Choice]) -> Floats:
    """What a person makes of the weight of each sale, as a factor."""
    weighed = of_action(made, "weigh").items()
    factors = {record: choice.per_cent / 100.0 for record, choice in weighed if choice.per_cent is not None}
    return np.array([factors.get(record, 1.0) for record in sales["record_id"]])


def _table(
    sales: pl.DataFrame,
    lines: pl.DataFrame,
    weights: Floats,
    age: Floats,
    match_level: Ints,
    indexed: SaleFeatures,
    band: Ints,
    made: Mapping[tuple[str, str], Choice],
) -> pl.DataFrame:
    sums = lines.filter(pl.col("step") >= 2).group_by("record_id").agg(
        net=pl.col("money").sum().cast(pl.Float64),
        gross=pl.col("money").abs().sum().cast(pl.Float64),
        adjusted_price=pl.col("price_after").sort_by("step").last(),
        lines=pl.col("line").filter(pl.col("flag")),
    )  # fmt: skip
    price = pl.col("price").cast(pl.Float64)
    reasons = {record: choice.reason for record, choice in of_action(made, "add").items()}
    ungraded = len(indexed.dates.noise) - 1
    return (
        sales.select(SHOWN)
        .join(sums, on="record_id", how="left", maintain_order="left")
        .with_columns(
            net_per_cent=100.0 * pl.col("net") / price,
            gross_per_cent=100.0 * pl.col("gross") / price,
            weight=pl.Series(weights / weights.sum()),
            age_years=pl.Series(age),
            match_level=pl.Series([*MATCH_LEVELS, "other make"]).gather(match_level),
            evidence=pl.Series(
                np.where(band == ungraded, "sale of a car not graded", "sale of a graded car")
            ),
            chosen=pl.col("record_id").replace_strict(reasons, default=None, return_dtype=pl.String),
        )
        .with_columns(
            flags=pl.concat_list(
                pl.col("lines").list.eval(pl.format("{} over " + f"{LINE_LIMIT:.0f}%", pl.element())),
                _flag(pl.col("net_per_cent").abs() > NET_LIMIT, f"net over {NET_LIMIT:.0f}%"),
                _flag(pl.col("gross_per_cent") > GROSS_LIMIT, f"gross over {GROSS_LIMIT:.0f}%"),
            )
        )
        .drop("net", "gross", "lines")
    )


def _flag(beyond: pl.Expr, sentence: str) -> pl.Expr:
    return pl.when(beyond).then(pl.lit([sentence])).otherwise(pl.lit([], dtype=pl.List(pl.String)))


def _offers(offers: pl.DataFrame, logs: Floats) -> pl.DataFrame:
    asking = pl.col("outcome") == "asking"
    price = pl.when(asking).then("price").otherwise("lower_price")
    return offers.select(
        "record_id", "event_date", "variant", "year", "condition_band", "source", "source_ref", "outcome",
        meaning=pl.when(asking).then(pl.lit("ceiling")).otherwise(pl.lit("floor")),
        price=price,
        adjusted_price=(price.cast(pl.Float64) * pl.Series(np.exp(logs))).cast(pl.Decimal(18, 2)),
    )  # fmt: skip


def _refusal(group: tuple[Any, ...], at: date, usable: int, shortlisted: int) -> str:
    named = " ".join(str(part) for part in group[:2])
    far = "" if shortlisted == usable else f", {shortlisted - usable} more being too unlike it"
    return (
        f"{usable} usable sales of the make are on record for a {named} by {at}{far}; a value needs "
        f"{MINIMUM}: more sale records of the make, a condition band for the subject, or sales added by hand "
        "would help"
    )


def _no_range(kind: str, scores: int, coverage: float) -> str:
    return (
        f"{scores} past sales of its kind ({kind}) could be valued from others to see how far off that is; "
        f"a range that holds {coverage:.0%} needs {max(FEWEST, ceil(coverage / (1.0 - coverage) - 1e-9))}"
    )


def _money(amount: float) -> Decimal:
    return Decimal(float(amount)).quantize(Decimal("0.01"))
