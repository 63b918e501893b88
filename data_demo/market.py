"""The demo market as it happened: some 7,400 offers of invented cars over ten years, before anyone wrote
them down."""

from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from currency_converter import CurrencyConverter

from data_demo.offer_records import MONEY, Days, as_records, hide, row_truth
from data_demo.parameters import CHANNELS, COUNTRIES, MODEST_PRICES, Parameters, draw_parameters
from data_demo.premiums import all_in_of, hammer_of, schedule_of
from data_demo.process import Cars, describe_cars, draw_noise, log_price, make_offers
from pricing.arrays import Floats, Ints

FIRST_DAY: Final = date(2016, 7, 1)
LAST_DAY: Final = date(2026, 6, 30)
OFFERS: Final = 7400
RESALES: Final = 420
"""Offers of a car offered before, more than a year earlier: two sales, not one written down twice."""

COUNTRY_SHARES: Final = np.array([0.42, 0.16, 0.12, 0.07, 0.08, 0.15])
"""Where cars are offered, in the order of ``COUNTRIES``; half of them in the country they come from."""

SOURCES: Final = {"GB": "Quenmoor Register", "SE": "Bruksholm Auktionskammare"}
"""Who writes down what happens in a country; the rest goes to ``EXCHANGE``."""

EXCHANGE: Final = "Kelderhaag Exchange"
CURRENCIES: Final = {"GB": "GBP", "SE": "SEK"}
"""Currency of the offers of a country; EUR elsewhere."""

UNGRADED: Final = {"auction": 0.25, "dealer": 0.43, "private": 0.43}
"""Share of offers without a condition band, by channel: 35 % of all."""

PLAIN_NUMBERS: Final = ("Karsund", "Lindvarn")
"""Two makers whose chassis numbers are plain digits, so that one number may stand for two cars."""

TRIMS: Final = {
    "sports": ("roadster", "touring", "coupe", "competition"),
    "": ("standard", "de luxe", "estate", "convertible"),
}
BODIES: Final = {"coupe": "coupe", "estate": "estate", "convertible": "convertible"}


def read_catalogue() -> pl.DataFrame:
    """The invented cars: make, model, origin (country), kind, body_style, construction, first_year,
    last_year, average_price (EUR, of an average one, today) and weight (how plentiful)."""
    return pl.read_csv(Path(__file__).parent / "catalogue.csv")


def draw_demo_parameters(catalogue: pl.DataFrame, rng: np.random.Generator) -> Parameters:
    """Parameters around the catalogue's prices; the first model, modest and plentiful, follows
    ``MODEST_PRICES``."""
    intercept = 9.2
    # An average car as drawn has some options and papers, worth about 5 %, which its typical price includes.
    level = np.log(catalogue["average_price"].to_numpy()) - intercept - 0.05
    days = {"first_day": FIRST_DAY, "last_day": LAST_DAY}
    catalogue = catalogue.with_columns(level=pl.Series(level))
    drawn = draw_parameters(catalogue, rng, **days, interactions=1.0, intercept=intercept)
    condition = drawn.models["condition"].to_numpy().copy()
    condition[0] = np.log(MODEST_PRICES / MODEST_PRICES[3])
    number = pl.col("variant").str.extract(r"(\d+)").cast(pl.Int64) - 1
    sports = pl.Series(catalogue["kind"] == "sports")[drawn.variants["model_index"]]
    trims = [pl.Series(TRIMS[kind])[drawn.variants.select(number).to_series()] for kind in ("sports", "")]
    return replace(
        drawn,
        makes=drawn.makes.with_columns(
            trend=pl.when(pl.int_range(pl.len()) > 0).then("trend").otherwise(0.0)
        ),
        models=drawn.models.with_columns(condition=pl.Series(condition)),
        variants=drawn.variants.with_columns(
            variant=pl.Series(np.where(sports, trims[0], trims[1])),
            level=pl.when(pl.col("model_index") > 0).then("level").otherwise(pl.col("level") * 0.25),
        ),
    )


def draw_market(rng: np.random.Generator) -> tuple[pl.DataFrame, Parameters]:
    """Every offer once, with ``true_`` columns beside the contract's (without record, reference and
    batch)."""
    catalogue = read_catalogue()
    parameters = draw_demo_parameters(catalogue, rng)
    cars, number, day, falling = _draw_cars_and_days(catalogue, parameters, rng)
    month = (day.astype("datetime64[M]") - np.datetime64(FIRST_DAY, "M")).astype(np.int64)
    channel = rng.choice(CHANNELS.height, OFFERS, p=CHANNELS["share"].to_numpy())
    country = COUNTRIES["country"][cars.country]
    source = country.replace_strict(SOURCES, default=EXCHANGE)
    currency = country.replace_strict(CURRENCIES, default="EUR")
    schedule = schedule_of(source, currency, pl.Series(day))
    rate = rates(currency, pl.Series(day))
    expected, noise = log_price(parameters, cars, channel, month), draw_noise(cars, rng)
    hammer = partial(hammer_of, schedule=schedule)
    offers = make_offers(expected, noise, channel, rng, hammer=hammer, rate=rate, round_amounts=True)
    premium = np.round(all_in_of(offers.amount, schedule) - offers.amount, 2)
    records = as_records(parameters, cars, channel, day, offers, car_number=number, premium=premium)
    ungraded = pl.Series(CHANNELS["channel"][channel]).replace_strict(UNGRADED).to_numpy()
    frame = hide(records, rng, ungraded=ungraded, scored=0.4)
    asking = pl.Series(offers.asking, nan_to_null=True).cast(MONEY)
    truth = row_truth(cars, expected, noise).with_columns(rate=rate, asking=asking, oddity=falling)
    truth = truth.select(pl.Series("car", number), pl.all()).select(pl.all().name.prefix("true_"))
    style = parameters.variants["variant"][cars.variant].replace_strict(BODIES, default=None)
    body = style.zip_with(style.is_not_null(), catalogue["body_style"][cars.model])
    frame = frame.with_columns(source=source, currency=currency, body_style=body)
    return pl.concat([_with_chassis(frame, number, rng), truth], how="horizontal"), parameters


def rates(currency: pl.Series, day: pl.Series) -> Floats:
    """Units of each currency for one EUR: the European Central Bank's reference rate, the last one known."""
    converter = CurrencyConverter(fallback_on_missing_rate=True, fallback_on_missing_rate_method="last_known")
    days = pl.DataFrame({"currency": currency, "day": day})
    known = days.unique().filter(pl.col("currency") != "EUR").sort("currency", "day")
    values = [converter.convert(1, "EUR", code, on) for code, on in known.iter_rows()]
    known = known.with_columns(rate=pl.Series(values, dtype=pl.Float64))
    joined = days.join(known, on=["currency", "day"], how="left", maintain_order="left")
    return joined["rate"].fill_null(1.0).to_numpy()


def _draw_cars_and_days(
    catalogue: pl.DataFrame, parameters: Parameters, rng: np.random.Generator
) -> tuple[Cars, Ints, Days, pl.Series]:
    """Cars of every offer, the number of each car, the day, and which odometers were turned back."""
    new = OFFERS - RESALES
    weight = catalogue["weight"].to_numpy() / catalogue["weight"].sum()
    cars = describe_cars(parameters, np.sort(rng.choice(catalogue.height, new, p=weight)), rng)
    places = dict(zip(COUNTRIES["country"], range(6), strict=True))
    home = catalogue["origin"].replace_strict(places).to_numpy()[cars.model]
    abroad = rng.choice(COUNTRIES.height, new, p=COUNTRY_SHARES)
    cars = replace(cars, country=np.where(rng.random(new) < 0.5, home, abroad))
    length = (LAST_DAY - FIRST_DAY).days + 1
    first = rng.integers(0, length, new)
    early = np.flatnonzero(first < length - 500)
    again = rng.choice(early, RESALES, replace=False)
    later = first[again] + 400 + (rng.random(RESALES) * (length - 400 - first[again])).astype(np.int64)
    resold = cars.take(again)
    restored = rng.random(RESALES) < 0.12
    score = np.clip(resold.score + rng.normal(-1.0, 3.0, RESALES), 1, 99)
    turned_back = rng.random(RESALES) < 0.04
    driven: Floats = 8.0 * (later - first[again]) * rng.random(RESALES)
    odometer_km: Floats = np.where(turned_back, resold.odometer_km * 0.4, resold.odometer_km + driven)
    resold = replace(
        resold,
        score=np.where(restored, np.maximum(score, rng.uniform(76, 95, RESALES)), score),
        odometer_km=odometer_km.round(),
    )
    pairs = {name: [values, getattr(resold, name)] for name, values in vars(cars).items()}
    both = Cars(**{name: np.concatenate(pair) for name, pair in pairs.items()})
    day = np.datetime64(FIRST_DAY, "D") + np.concatenate([first, later])
    falls = np.concatenate([np.zeros(new, bool), turned_back])
    oddity = pl.select(pl.when(pl.Series(falls)).then(pl.lit("odometer falls"))).to_series()
    return both, np.concatenate([np.arange(new), again]), day, oddity


def _with_chassis(frame: pl.DataFrame, number: Ints, rng: np.random.Generator) -> pl.DataFrame:
    """Chassis numbers in the form of each maker, seen on three offers in four and on every one of a resold
    car."""
    cars = pl.DataFrame({"number": number, "make": frame["make"]}).unique("number", maintain_order=True)
    rank = pl.int_range(pl.len()).over("make")
    prefix = pl.col("make").str.slice(0, 2).str.to_uppercase()
    plain = (100_000 + rank * 7).cast(pl.String)
    formed = pl.format("{}/{}-{}", prefix, rank % 90 + 10, (rank + 1001).cast(pl.String).str.zfill(5))
    is_plain = pl.col("make").is_in(PLAIN_NUMBERS)
    numbers = cars.select(pl.when(is_plain).then(plain).otherwise(formed)).to_series()
    resold = np.bincount(number)[number] > 1
    seen = pl.Series((rng.random(frame.height) < 0.75) | resold)
    return frame.with_columns(chassis_number=pl.when(seen).then(numbers[number]))
