"""The facts of valuing one car: its range, an asking price's standing, what makes up the price, the sales."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any, Final, Protocol

import numpy as np
import polars as pl

from pricing.car import Car, frame_of, today
from pricing.condition.assessment import InspectionResult
from pricing.decisions.car_price import GivesDistributions, inspected, price_of
from pricing.decisions.plain import PlainFacts
from pricing.errors import DecisionError
from pricing.model.distribution import PriceDistribution
from pricing.model.explanation import Ground
from pricing.model.opinion_bands import ALONE
from pricing.notebook_html import facts_html, range_text
from pricing.opinions.statement import TYPES as STATED
from pricing.records.entered_amounts import entered
from pricing.vocabulary import CONDITION_BANDS, OPTION_CODES

SALE_COLUMNS: Final = (
    "event_date",
    "make",
    "model",
    "variant",
    "year",
    "condition_band",
    "condition_score",
    "odometer_km",
    "options",
    "channel",
    "country",
    "price",
    "chassis_number",
    "source",
    "source_ref",
)
"""What is shown of a sale behind a valuation; the price is all-in, in the market's base currency."""

OPINION_COLUMNS: Final = (
    "stated_on",
    *(name for name in STATED if name not in ("stated_on", "make", "model", "middle")),
    "low_price",
    "high_price",
)
"""What is shown of a statement about the car's model; ``low_price`` and ``high_price`` are all-in, in the
market's base currency on the day it was said."""

BRACKETS: Final = 16
"""About as many price brackets as the distribution is cut into; each is a round number wide."""

BASIS: Final = "all-in"
"""Every price here is all that a buyer pays."""

_CENT: Final = Decimal("0.01")


class HasSales(Protocol):
    """What a valuation reads of a market: a ``Snapshot`` is one."""

    @property
    def base_currency(self) -> str:
        """The currency of every price (ISO 4217)."""

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        """The sales and offers, as ``Market.sales`` gives them."""

    def opinions(self, as_of: date | None = None) -> pl.DataFrame:
        """What people say, as ``Market.opinions`` gives it."""


class FittedModel(GivesDistributions, Protocol):
    """What a valuation asks of a price model: ``pricing.PriceModel``, fitted, is one."""

    @property
    def facts(self) -> Mapping[str, Any]:
        """What the fit was made from, as ``PriceModel.facts``."""

    def grounds(self, cars: pl.DataFrame, as_of: date | None = None) -> list[Ground]:
        """What the range of each car rests on."""


@dataclass(frozen=True)
class Valuation(PlainFacts):
    """What is known of one car's price. Amounts are in ``currency``, on ``basis``, at the date ``as_of``.

    Args:
        car: the car as priced, its names spelt as the market spells them; null where nothing was said.
        coverage: share of like cars expected to sell between ``low`` and ``high``.
        low, mid, high: the range; null where ``reason`` says why there is none.
        evidence: how deep the evidence behind the range is, in the model's words.
        remark: what a reader should know of the price, such as a state that the records contradict; or null.
        standing: share of like cars that would sell for less than ``asking``, 0..1.
        distribution: price brackets, each with the share of like cars that would sell in it:
            ``from_price``, ``to_price``, ``share``; no rows without a range.
        terms: what makes up the mid price: ``term``, ``value``, ``factor``, ``low``, ``high``;
            factors multiply to it. What the car's absent options do is one term, without an interval.
        bands: the car in each condition band: ``condition_band``, ``low``, ``mid``, ``high``, ``reason``.
        sales: sold cars of the same model, nearest first (``SALE_COLUMNS``).
        unsold, asked: how many offers of the same model found no buyer, and how many are asking prices only.
        ground: what mid and width rest on, sales, relations and opinions; null without a range.
        opinions: what people say of the same model, the latest first (``OPINION_COLUMNS``); no sales.
    """

    car: dict[str, Any]
    currency: str
    as_of: date
    coverage: float
    low: Decimal | None
    mid: Decimal | None
    high: Decimal | None
    evidence: str
    reason: str | None
    asking: Decimal | None
    standing: float | None
    distribution: pl.DataFrame
    terms: pl.DataFrame
    bands: pl.DataFrame
    sales: pl.DataFrame
    unsold: int
    asked: int
    basis: str = BASIS
    remark: str | None = None
    ground: Ground | None = None
    opinions: pl.DataFrame = field(default_factory=pl.DataFrame)

    @property
    def opinion_alone(self) -> bool:
        """Whether no sale, of this model or another, is behind the range."""
        return self.evidence == ALONE

    def _repr_html_(self) -> str:
        """The range, and the car in each condition band."""
        named = " ".join(str(self.car[name]) for name in ("year", "make", "model"))
        spread = range_text(self.low, self.mid, self.high, self.currency, self.reason)
        about = f"{spread}; {self.basis}, on {self.as_of}, {100 * self.coverage:.0f}% of like cars"
        return facts_html(named, about, frame=self.bands)


def day_of(model: FittedModel, as_of: date | None) -> date:
    """The date a value holds at: that of the last sale the model has seen when not given.

    Raises:
        DecisionError: the model has seen sales after it.
    """
    last = date.fromisoformat(model.facts["last_date"])
    at = last if as_of is None else as_of
    if at < last:
        raise DecisionError(
            f"the price model has seen sales up to {last}, after {at}: fit one on the sales up to {at}"
        )
    return at


def value_car(
    market: HasSales,
    model: FittedModel,
    car: Car,
    *,
    asking: Decimal | None = None,
    as_of: date | None = None,
    coverage: float = 0.8,
    inspection: InspectionResult | None = None,
) -> Valuation:
    """Value one car.

    Args:
        market: where the sales are.
        model: a price model fitted on that market's sales.
        car: a car of that market.
        asking: a price asked for the car, all-in, in the market's base currency.
        as_of: the date the price holds at; the last sale the model has seen when not given.
        coverage: share of like cars that the range is to hold, between 0 and 1.
        inspection: what was found of the car, in place of a condition that is said: range, standing and
            distribution are then a mixture over its draws, wider the less was seen.

    Raises:
        CarError: the car could not be at ``as_of``.
        MoneyError: the price asked cannot be meant.
        DecisionError: the model has seen sales after ``as_of``.
    """
    return valued(market, model, car, asking=asking, as_of=as_of, coverage=coverage, inspection=inspection)[0]


def valued(
    market: HasSales,
    model: FittedModel,
    car: Car,
    *,
    asking: Decimal | None = None,
    as_of: date | None = None,
    coverage: float = 0.8,
    inspection: InspectionResult | None = None,
) -> tuple[Valuation, PriceDistribution]:
    """:func:`value_car` with the price distribution that it was read from, for what is decided next."""
    at = day_of(model, as_of)
    entered("asking price", asking, market.base_currency)
    car.held(None, today() if as_of is None else as_of)
    sales = market.sales(as_of=at)
    car = inspected(car, inspection)
    in_bands = [replace(car, condition_band=band, condition_score=None) for band in CONDITION_BANDS]
    prices = model.distribution(frame_of([car, *in_bands], at))
    price = prices[:1] if inspection is None else price_of(model, car, at, inspection)
    own = price.ranges(coverage, [None if asking is None else float(asking)]).row(0, named=True)
    has_range = own["reason"] is None
    ends: dict[str, Any] = {
        end: None if own[end] is None else Decimal(own[end]).quantize(_CENT) for end in ("low", "mid", "high")
    }
    own_model = pl.col("make") == car.make, pl.col("model") == car.model
    of_model = sales.select(*SALE_COLUMNS, "outcome").filter(*own_model)
    outcomes = of_model["outcome"]
    valuation = Valuation(
        car=car.to_dict(),
        currency=market.base_currency,
        as_of=at,
        coverage=coverage,
        **ends,
        evidence=own["evidence"],
        reason=own["reason"],
        asking=asking,
        remark=own["remark"],
        standing=own["standing"],
        distribution=_brackets(price if has_range else None),
        terms=_terms(prices[:1].terms()) if has_range else _NO_TERMS,
        bands=pl.DataFrame({"condition_band": CONDITION_BANDS}).hstack(
            prices[1:].ranges(coverage).select("low", "mid", "high", "reason")
        ),
        sales=_nearest_first(of_model.filter(pl.col("outcome") == "sold").drop("outcome"), car),
        unsold=int((outcomes == "unsold").sum()),
        asked=int((outcomes == "asking").sum()),
        ground=model.grounds(frame_of([car], at))[0] if has_range else None,
        opinions=market.opinions(at).filter(*own_model).select(OPINION_COLUMNS).reverse(),
    )
    return valuation, price


_NO_TERMS: Final = pl.DataFrame(
    schema={"term": pl.String, "value": pl.String} | dict.fromkeys(("factor", "low", "high"), pl.Float64)
)


def _brackets(price: PriceDistribution | None) -> pl.DataFrame:
    """Share of like cars in each of about ``BRACKETS`` price brackets, each a round number wide."""
    if price is None:
        return pl.DataFrame(schema={"from_price": pl.Float64, "to_price": pl.Float64, "share": pl.Float64})
    ends = price.ppf([0.01, 0.99])[0]
    width = _round_width((ends[1] - ends[0]) / BRACKETS)
    edges = np.arange(np.floor(ends[0] / width), np.ceil(ends[1] / width) + 1) * width
    below = price.cdf(edges[None, :])[0]
    return pl.DataFrame({"from_price": edges[:-1], "to_price": edges[1:], "share": np.diff(below)})


def _round_width(width: float) -> float:
    """The nearest of 1, 2, 2.5, 5 times a power of ten, not below ``width``.

    >>> _round_width(310.0)
    500.0
    """
    power = 10.0 ** np.floor(np.log10(width))
    return float(next(step for step in power * np.array([1, 2, 2.5, 5, 10]) if step >= width))


def _terms(contributions: pl.DataFrame) -> pl.DataFrame:
    """The terms of one car, its absent options as one: a car has few options and lacks many."""
    lines = contributions.select("term", "value", "factor", "low", "high")
    absent = (pl.col("term").is_in(OPTION_CODES) & (pl.col("value") == "no")).fill_null(False)
    return (
        lines.with_columns(place=pl.when(absent).then(-1).otherwise(pl.int_range(pl.len())))
        .group_by("place", maintain_order=True)
        .agg(
            pl.when(absent.any()).then(pl.lit("options absent")).otherwise(pl.first("term")).alias("term"),
            pl.when(absent.any()).then(pl.len().cast(pl.String)).otherwise(pl.first("value")).alias("value"),
            pl.col("factor").product(),
            *(pl.when(~absent.any()).then(pl.first(end)).alias(end) for end in ("low", "high")),
        )
        .drop("place")
    )


def _nearest_first(sold: pl.DataFrame, car: Car) -> pl.DataFrame:
    """The same car's own sales first, then the same variant, then the nearest band, then the newest."""
    places = {band: place for place, band in enumerate(CONDITION_BANDS)}
    band = pl.col("condition_band").replace_strict(places, default=None, return_dtype=pl.Int8)
    own = pl.lit(None if car.condition_band is None else places[car.condition_band], dtype=pl.Int8)
    return sold.sort(
        (pl.col("chassis_number") == pl.lit(car.chassis_number, dtype=pl.String)).fill_null(False).not_(),
        pl.col("variant").eq_missing(pl.lit(car.variant, dtype=pl.String)).not_(),
        (band - own).abs().fill_null(len(CONDITION_BANDS)),
        pl.col("event_date"),
        descending=[False, False, False, True],
    )
