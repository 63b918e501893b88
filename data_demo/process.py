"""How the invented markets come about: cars, what they fetch, and what is seen of it.

The log of the price a car fetches, all-in, in one currency, is a sum::

    market level of the month + make (level, trend) + model + variant + condition response of the model
    + options + wear + model year + originality + channel + country + noise

with noise from a Student-t distribution whose standard deviation depends on the condition band. What is seen
of it depends on the offer: an auction lot whose highest bid stays below its reserve goes unsold, a dealer or
a private seller asks more than the car fetches, and the dearer the asking price, the longer the wait.

Everything is drawn in columns (numpy arrays of one value a row) from one ``numpy.random.Generator``.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from data_demo.parameters import (
    ASKING_GAP_CENTRE,
    ASKING_GAP_SLOPE,
    BAND_SHARES,
    CHANNELS,
    COUNTRIES,
    DEGREES_OF_FREEDOM,
    HISTORY_EFFECT,
    NOISE,
    OPTIONS,
    ORIGINALITY,
    PREMIUM_RATE,
    SCORE_KNOTS,
    TIME_TO_SALE,
    Parameters,
)
from pricing.arrays import Bools, Floats, Ints
from pricing.vocabulary import BAND_EDGES


@dataclass(frozen=True)
class Cars:
    """Cars as they are, seen or not: one value a car, indexes into the frames of ``Parameters``."""

    model: Ints
    variant: Ints
    year: Ints
    score: Floats
    odometer_km: Floats
    options: Bools
    """Shape (cars, options): ``OPTIONS`` in its order."""
    matching: Ints
    history: Bools
    country: Ints

    @property
    def band(self) -> Ints:
        """Index into ``CONDITION_BANDS``."""
        return np.searchsorted(BAND_EDGES[1:-1], self.score, side="right")

    def take(self, rows: Ints) -> "Cars":
        """The cars at ``rows``, repeated where an index is."""
        return Cars(**{name: values[rows] for name, values in vars(self).items()})


def draw_cars(parameters: Parameters, cars: int, rng: np.random.Generator) -> Cars:
    """Draw cars: models by weight, the rest by the shares of this file."""
    weight = parameters.models["weight"].to_numpy()
    return describe_cars(parameters, _choose(weight, cars, rng), rng)


def describe_cars(parameters: Parameters, model: Ints, rng: np.random.Generator) -> Cars:
    """Draw everything about cars whose model (an index) is given."""
    cars = model.size
    models = parameters.models
    share = np.cumsum(parameters.variants["share"].to_numpy())
    variant = np.searchsorted(share, model + rng.random(cars) * (1 - 1e-9), side="right")
    first, last = models.select("first_year", "last_year").to_numpy().astype(np.int64)[model].T
    score = 25.0 * (_choose(BAND_SHARES, cars, rng) + rng.beta(2.0, 2.0, cars))
    offered = ~np.isnan(models["options"].to_numpy())
    return Cars(
        model=model,
        variant=np.minimum(variant, share.size - 1),
        year=first + (rng.random(cars) * (last - first + 1)).astype(np.int64),
        score=score,
        odometer_km=np.clip(np.exp(rng.normal(11.6, 0.5, cars) - 0.005 * score), 500, 600_000).round(),
        options=offered[model]
        & (rng.random((cars, OPTIONS.height), np.float32) < OPTIONS["share"].to_numpy()),
        matching=_choose(ORIGINALITY["share"].to_numpy(), cars, rng),
        history=rng.random(cars) < 0.35,
        country=_choose(COUNTRIES["share"].to_numpy(), cars, rng),
    )


def log_price(parameters: Parameters, cars: Cars, channel: Ints, month: Ints) -> Floats:
    """Expected log price, all-in, of each car in a channel and a month (indexes to ``CHANNELS``,
    ``months``)."""
    models, band, model = parameters.models, cars.band, cars.model
    make = models["make_index"].to_numpy()[model]
    years = (month - (parameters.months.height - 1) / 2) / 12
    table = models["condition"].to_numpy()
    right = np.clip(np.searchsorted(SCORE_KNOTS, cars.score, side="right"), 1, SCORE_KNOTS.size - 1)
    along = (cars.score - SCORE_KNOTS[right - 1]) / np.diff(SCORE_KNOTS)[right - 1]
    middle_year = ((models["first_year"] + models["last_year"]) / 2).to_numpy()[model]
    originality = ORIGINALITY["effect"].to_numpy()[cars.matching] + HISTORY_EFFECT * cars.history
    result: Floats = (
        parameters.intercept
        + parameters.months["level"].to_numpy()[month]
        + (parameters.makes["level"].to_numpy()[make] + parameters.makes["trend"].to_numpy()[make] * years)
        + models["level"].to_numpy()[model]
        + parameters.variants["level"].to_numpy()[cars.variant]
        + (table[model, right - 1] * (1 - along) + table[model, right] * along)
        - models["wear"].to_numpy()[model] * (np.log1p(cars.odometer_km / 50_000) - np.log(2.5))
        + models["year_slope"].to_numpy()[model] * (cars.year - middle_year)
        + originality
        + CHANNELS["effect"].to_numpy()[channel]
        + COUNTRIES["effect"].to_numpy()[cars.country]
    )
    effects = np.nan_to_num(models["options"].to_numpy())
    for option in range(OPTIONS.height):
        result += cars.options[:, option] * effects[model, option]
    if parameters.interactions > 0:
        upgrades = cars.options[:, OPTIONS["upgrade"].to_numpy()].sum(axis=1)
        by_band = np.array([0.0, 0.02, 0.02, -0.05])[band] * upgrades
        result += parameters.interactions * (by_band + np.array([-0.8, -0.4, 0.0, 1.0])[band] * originality)
    return result


def draw_noise(cars: Cars, rng: np.random.Generator) -> Floats:
    """Log departure of one sale from its expectation: Student-t, standard deviation by band."""
    unit = np.sqrt((DEGREES_OF_FREEDOM - 2) / DEGREES_OF_FREEDOM)
    noise: Floats = (
        rng.standard_t(DEGREES_OF_FREEDOM, cars.score.size) * unit * NOISE["sd"].to_numpy()[cars.band]
    )
    return noise


@dataclass(frozen=True)
class Offers:
    """What came of each offer: amounts in hammer terms for auctions, NaN where there is none or none is
    seen."""

    outcome: Ints
    """0 sold, 1 unsold, 2 asking, 3 withdrawn: the order of ``pricing.vocabulary.OUTCOMES``."""
    amount: Floats
    asking: Floats
    """What is asked, whatever came of it; NaN for auctions."""
    low_estimate: Floats
    high_estimate: Floats
    reserve: Floats
    highest_bid: Floats
    days_on_offer: Ints
    """Days from listing to sale or to the last day seen on offer; 0 for auctions."""


def simple_premium(all_in: Floats) -> Floats:
    """Hammer price under a buyer's premium of ``PREMIUM_RATE``."""
    return all_in / (1 + PREMIUM_RATE)


def make_offers(
    expected: Floats,
    noise: Floats,
    channel: Ints,
    rng: np.random.Generator,
    *,
    hammer: Callable[[Floats], Floats] = simple_premium,
    rate: Floats | float = 1.0,
    round_amounts: bool = False,
) -> Offers:
    """Let each car meet its buyers.

    ``expected`` and ``noise`` are in the market's base currency; ``rate`` is units of the currency of the
    offer for one of it. ``hammer`` gives the hammer price of an all-in price, in the currency of the offer.

    The highest bid is the hammer price at which a buyer pays what the car fetches. Estimates are set
    beforehand from what is expected, with error; the reserve is at or below the low estimate (common
    practice, no source), one lot in four has none; a bid below the reserve leaves the lot unsold. Outcome is
    thus decided by the price itself, which is why sold lots alone overstate prices.
    """
    rows = expected.size
    auction = channel == 0
    fetched = np.exp(expected + noise) * rate
    gap = rng.normal(CHANNELS["asking_gap"].to_numpy()[channel], CHANNELS["asking_sd"].to_numpy()[channel])
    gap += ASKING_GAP_SLOPE * np.clip(expected - ASKING_GAP_CENTRE, -1.5, 1.5)
    paid, asking = np.where(auction, hammer(fetched), fetched), fetched * np.exp(gap)
    if round_amounts:
        paid, asking = round_to_steps(paid, 0.5), round_to_steps(asking, 0.5)
    low = round_to_steps(hammer(np.exp(expected + rng.normal(-0.05, 0.12, rows)) * rate), 2)
    high = np.maximum(round_to_steps(low * rng.uniform(1.2, 1.45, rows), 2), low)
    reserve = round_to_steps(low * rng.uniform(0.85, 1.0, rows), 0.5, down=True)
    has_reserve = rng.random(rows) < 0.75
    unsold = auction & has_reserve & (paid < reserve)
    withdrawn = rng.random(rows) < np.where(auction, 0.02, 0.05)
    on_offer = ~auction & (rng.random(rows) < 0.6)
    wait = TIME_TO_SALE["elasticity"] * gap + rng.normal(0, TIME_TO_SALE["sd"], rows)
    days = TIME_TO_SALE["days"] * np.exp(wait)
    outcome = np.select([withdrawn, unsold, on_offer], [3, 1, 2], 0)
    seen_bid = round_to_steps(paid * rng.uniform(0.9, 1.0, rows), 0.5, down=True)
    chance = rng.random((3, rows))
    return Offers(
        outcome=outcome,
        amount=np.select([outcome == 0, outcome == 2], [paid, asking], np.nan),
        asking=np.where(auction, np.nan, asking),
        low_estimate=np.where(auction & (chance[0] < 0.9), low, np.nan),
        high_estimate=np.where(auction & (chance[0] < 0.9), high, np.nan),
        reserve=np.where(auction & has_reserve & (chance[1] < 0.35), reserve, np.nan),
        highest_bid=np.where((outcome == 1) & (chance[2] < 0.7), seen_bid, np.nan),
        days_on_offer=np.where(auction, 0, np.clip(days, 1, 720)).astype(np.int64),
    )


def round_to_steps(values: Floats, unit: float, *, down: bool = False) -> Floats:
    """Round to ``unit`` of the second figure, as people do with estimates and bids.

    >>> round_to_steps(np.array([4210.0, 18_640.0]), 2), round_to_steps(np.array([4290.0]), 1, down=True)
    (array([ 4200., 18000.]), array([4200.]))
    """
    step = unit * 10.0 ** (np.floor(np.log10(values)) - 1)
    steps = values / step
    rounded: Floats = np.maximum(np.floor(steps) if down else np.rint(steps), 1.0) * step
    return rounded


def _choose(weight: Floats, size: int, rng: np.random.Generator) -> Ints:
    """Indexes drawn with probability proportional to ``weight``."""
    edges = np.cumsum(weight / weight.sum())
    return np.minimum(np.searchsorted(edges, rng.random(size), side="right"), weight.size - 1)
