"""Markets drawn from a known truth whose common price level moves: sales to fit, and cars to ask about with
the law of their price.

Cars and their effects are those of ``data_demo`` (invented marques); here stand the level that all prices
share, the scatter by condition band, and the lots that stay unsold. Records grow in number: of eight years of
sales a fifth falls into the last.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from data_demo.offer_records import as_records, hide
from data_demo.parameters import CHANNELS, DEGREES_OF_FREEDOM, Parameters, draw_parameters
from data_demo.process import Cars, Offers, draw_cars, log_price
from pricing.arrays import Floats, Ints

LAST_DAY: Final = date(2026, 6, 30)
FALL: Final = float(np.log(0.7))
RISE: Final = float(np.log(1.3))
SCATTER: Final = (0.32, 0.24, 0.18, 0.16)
"""Standard deviation of the log price of one sale about its expectation, by band, worst first."""
TOP_SCATTER: Final = (0.16, 0.16, 0.18, 0.45)
GROWING: Final = 0.7
"""Share of the sales whose dates have a density that rises from nought; those of the others are even."""
POINTS: Final = 25
"""Condition scores that stand for a car of which the band alone is known."""

Level = Callable[[Floats, np.random.Generator], Floats]
"""Log price level by years from the last day (negative: before it)."""


def held(years: Floats, rng: np.random.Generator) -> Floats:
    """A market that does not move."""
    return np.zeros_like(years)


def growing(rate: float) -> Level:
    """A level that rises by ``rate`` a year, the asked date included."""
    return lambda years, rng: np.log1p(rate) * years


def moved(change: float, months: float, over: float = 1.0) -> Level:
    """A level that changed by ``change`` (log), beginning ``months`` ago and taking ``over`` months; it has
    held since and goes on to."""

    def level(years: Floats, rng: np.random.Generator) -> Floats:
        return change * np.clip((12.0 * years + months) / over, 0.0, 1.0)

    return level


def walking(deviation: float) -> Level:
    """A random walk by days with this standard deviation (log) a year, nought on the last day; it goes on at
    random."""

    def level(years: Floats, rng: np.random.Generator) -> Floats:
        steps = rng.normal(0.0, deviation / np.sqrt(365.0), (2, 365 * 40))
        back, ahead = np.insert(np.cumsum(steps, axis=1), 0, 0.0, axis=1)
        days = np.rint(365.0 * years).astype(np.int64)
        return np.where(days > 0, ahead[np.abs(days)], back[np.abs(days)])

    return level


@dataclass(frozen=True)
class Setting:
    """What a market is drawn by. ``top_step`` is the factor on what top condition adds; ``unsold`` the share
    of lots that stay below their reserve, of which ``reserves`` and ``bids`` say what is known."""

    level: Level = held
    sales: int = 2_000
    years: float = 8.0
    models: int = 24
    makes: int = 6
    scatter: tuple[float, ...] = SCATTER
    top_step: float = 1.0
    ungraded: float = 0.15
    scored: float = 0.4
    unsold: float = 0.0
    reserves: bool = False
    bids: bool = False


@dataclass(frozen=True)
class SaleLaw:
    """The law of the log price of one sale of every car: Student-t about its expectation; of a car whose
    score is not known, an even mixture over ``centres`` (cars, points). ``scale`` is (cars, 1)."""

    centres: Floats
    scale: Floats

    def cdf(self, log_price: Floats) -> Floats:
        """Probability that one sale of each car fetches no more."""
        law = stats.t(DEGREES_OF_FREEDOM)
        return np.asarray(law.cdf((log_price[:, None] - self.centres) / self.scale)).mean(axis=1)

    def median(self) -> Floats:
        """Median log price of each car, by bisection."""
        low, high = self.centres.min(axis=1), self.centres.max(axis=1)
        for _ in range(40):
            middle = (low + high) / 2.0
            below = self.cdf(middle) < 0.5
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return (low + high) / 2.0

    def draw(self, size: int, rng: np.random.Generator) -> Floats:
        """Log prices of ``size`` sales of each car: (cars, size)."""
        cars = len(self.centres)
        point = rng.integers(0, self.centres.shape[1], (cars, size))
        return np.take_along_axis(self.centres, point, axis=1) + self.scale * rng.standard_t(
            DEGREES_OF_FREEDOM, (cars, size)
        )


@dataclass(frozen=True)
class KnownMarket:
    """A drawn market: ``sales`` in order of date, ``asked`` cars, and the law of their price on the
    last day."""

    sales: pl.DataFrame
    asked: pl.DataFrame
    law_at_last: SaleLaw
    level: Callable[[float], float]
    """Log level by years from the last day."""
    parameters: Parameters

    @property
    def next_day(self) -> date:
        """The day after the last sale."""
        day = self.sales["event_date"].max()
        assert isinstance(day, date)
        return day + timedelta(days=1)

    def law(self, as_of: date) -> SaleLaw:
        """The law of the asked cars' prices on a day."""
        level = self.level((as_of - LAST_DAY).days / 365.0)
        return replace(self.law_at_last, centres=self.law_at_last.centres + level)


def draw_market(setting: Setting, seed: int, asked: int = 200) -> KnownMarket:
    """Draw a market and ``asked`` cars of the same kinds, each with a band and some with a score.

    >>> market = draw_market(Setting(level=moved(FALL, months=6), sales=300, models=6, makes=2), seed=1)
    >>> market.sales.height, market.asked.height, market.law(LAST_DAY).median().shape
    (300, 200, (200,))
    """
    rng = np.random.default_rng(seed)
    parameters = _parameters(setting, rng)
    path_seed = int(rng.integers(2**32))

    def level(years: Floats) -> Floats:
        return setting.level(years, np.random.default_rng(path_seed))

    first = -setting.years * 365.0
    age = np.where(
        rng.random(setting.sales) < GROWING,
        1.0 - np.sqrt(rng.random(setting.sales)),
        rng.random(setting.sales),
    )
    day = np.ceil(first * age).astype(np.int64)
    cars = draw_cars(parameters, setting.sales, rng)
    channel = rng.choice(CHANNELS.height, setting.sales, p=CHANNELS["share"].to_numpy())
    if setting.unsold:
        channel[:] = 0
    scale = _scale(setting, cars)
    expected = log_price(parameters, cars, channel, np.zeros_like(channel)) + level(day / 365.0)
    fetched = expected + scale * rng.standard_t(DEGREES_OF_FREEDOM, setting.sales)
    dates = np.datetime64(LAST_DAY, "D") + day
    sales = _records(parameters, cars, channel, dates, np.exp(fetched))
    sales = hide(sales, rng, ungraded=setting.ungraded, scored=setting.scored)
    sales = _offered(sales, setting, expected, fetched, rng).sort("event_date", maintain_order=True)

    wanted = draw_cars(parameters, asked, rng)
    wanted_channel = rng.choice(CHANNELS.height, asked, p=CHANNELS["share"].to_numpy())
    if setting.unsold:
        wanted_channel[:] = 0
    frame = _records(
        parameters, wanted, wanted_channel, np.full(asked, LAST_DAY, "datetime64[D]"), np.ones(asked)
    )
    known = rng.random(asked) < setting.scored
    frame = frame.with_columns(pl.when(pl.Series(known)).then("condition_score")).drop("price", "event_date")
    law = SaleLaw(_centres(parameters, wanted, wanted_channel, known), _scale(setting, wanted)[:, None])
    return KnownMarket(sales, frame, law, lambda years: float(level(np.array([years]))[0]), parameters)


def _parameters(setting: Setting, rng: np.random.Generator) -> Parameters:
    """Effects of makes and models as the demo market draws them, without a level or trends of its own."""
    make = np.sort(np.arange(setting.models) % setting.makes)
    first_year = rng.integers(1948, 1980, setting.models)
    catalogue = pl.DataFrame(
        {
            "make": [f"make {number}" for number in make],
            "model": [f"model {number}" for number in range(setting.models)],
            "weight": 1.0 / (rng.permutation(setting.models) + 3.0),
            "first_year": first_year,
            "last_year": first_year + rng.integers(3, 15, setting.models),
        }
    )
    drawn = draw_parameters(catalogue, rng, first_day=LAST_DAY.replace(day=1), last_day=LAST_DAY)
    condition = drawn.models["condition"].to_numpy().copy()
    condition[:, 4:] *= setting.top_step  # knots above the middle of the average band
    return replace(
        drawn,
        months=drawn.months.with_columns(level=pl.lit(0.0)),
        makes=drawn.makes.with_columns(trend=pl.lit(0.0)),
        models=drawn.models.with_columns(condition=pl.Series(condition)),
    )


def _scale(setting: Setting, cars: Cars) -> Floats:
    unit = np.sqrt((DEGREES_OF_FREEDOM - 2) / DEGREES_OF_FREEDOM)
    return np.asarray(unit * np.array(setting.scatter)[cars.band])


def _centres(parameters: Parameters, cars: Cars, channel: Ints, known: NDArray[np.bool_]) -> Floats:
    """Expected log prices: one value for a car with a known score, else one at each of ``POINTS`` scores."""
    size = len(channel)
    within = stats.beta(2.0, 2.0).ppf((np.arange(POINTS) + 0.5) / POINTS)  # as draw_cars draws within a band
    scores = np.where(known[:, None], cars.score[:, None], 25.0 * (cars.band[:, None] + within))
    rows = np.repeat(np.arange(size), POINTS)
    tried = replace(cars.take(rows), score=scores.ravel())
    return log_price(parameters, tried, channel[rows], np.zeros_like(rows)).reshape(size, POINTS)


def _records(
    parameters: Parameters, cars: Cars, channel: Ints, day: NDArray[np.datetime64], price: Floats
) -> pl.DataFrame:
    """Sales in the shape of ``Market.sales()``, as far as a price model reads it."""
    nothing, none = np.full(len(channel), np.nan), np.zeros(len(channel), np.int64)
    offers = Offers(none, price, nothing, nothing, nothing, nothing, nothing, none)
    records = as_records(parameters, cars, channel, day, offers, car_number=none, premium=nothing)
    return records.with_columns(price=pl.Series(price)).drop("amount", "premium", "chassis_number")


def _offered(
    sales: pl.DataFrame, setting: Setting, expected: Floats, fetched: Floats, rng: np.random.Generator
) -> pl.DataFrame:
    """The share ``unsold`` of the lots stays below a reserve set by what was expected, give or take a tenth;
    the highest bid is nine tenths of what the car would fetch, or more."""
    if not setting.unsold:
        return sales
    excess = fetched - (expected + rng.normal(0.0, 0.1, len(expected)))
    reserve = fetched - excess + np.quantile(excess, setting.unsold)
    unsold = pl.Series(fetched < reserve)
    bid = np.exp(fetched) * rng.uniform(0.9, 1.0, len(fetched))
    return sales.with_columns(
        outcome=pl.when(unsold).then(pl.lit("unsold")).otherwise(pl.lit("sold")),
        price=pl.when(~unsold).then("price"),
        upper_price=pl.when(unsold & setting.reserves).then(pl.Series(np.exp(reserve))),
        lower_price=pl.when(unsold & setting.bids).then(pl.Series(bid)),
    )
