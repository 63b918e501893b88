"""One joint simulation of a car: what it fetches on each channel, in each state of repair, and what repairs
cost, drawn together and by seed. Every figure of buying, selling and mending is read from these draws, so
that what holds in each draw (net is paid less charges) holds in what is said.

Draw ``i`` has standard scores of the car among like cars, of the day's luck on each channel, of another car
and of the wait for a buyer. Scores are turned into equally spaced levels in the order of the draws (ranks),
so that the draws of a price are its distribution's own quantiles: their shares differ from its by less than
one draw.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import ndtri

from pricing.arrays import Bools, Floats
from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.decisions.car_price import GivesDistributions, PriceByScore
from pricing.errors import DecisionError
from pricing.model.distribution import PriceDistribution
from pricing.vocabulary import CHANNELS

DRAWS: Final = 4000
"""Draws of a car; of an inspected one as many as its inspection has."""

SAME_CAR: Final = 0.8
"""Correlation of the standard scores of one car on two channels: they share car, market and model, not the
bidders of the day. An assumption, not an estimate."""

ALIKE: Final = 0.5
"""The same of two cars of one kind: they share the market and the model, not the luck of the buyer. An
assumption, not an estimate."""


@dataclass(frozen=True, eq=False)
class Levels:
    """Levels between 0 and 1, each of shape (draws,): of the ``car`` among like cars on each channel (None:
    no channel said), of ``other``, another car, of the ``wait`` for a buyer, and of the ``top`` bidder above
    the last one who gave up."""

    car: Mapping[str | None, Floats]
    other: Floats
    wait: Floats
    top: Floats


@lru_cache(maxsize=4)
def levels_of(draws: int, seed: int) -> Levels:
    """The levels of so many draws under a seed, shared by whoever asks and never written to.

    >>> levels_of(4, 0).wait is levels_of(4, 0).wait, sorted(levels_of(4, 0).car[None].tolist())
    (True, [0.125, 0.375, 0.625, 0.875])
    """
    rng = np.random.default_rng([seed, 3])
    own = ndtri(_even(rng.random(draws)))
    luck = rng.standard_normal((len(CHANNELS) + 1, draws))
    car: dict[str | None, Floats] = {None: _even(own)}
    for place, channel in enumerate(CHANNELS):
        car[channel] = _even(SAME_CAR * own + np.sqrt(1.0 - SAME_CAR**2) * luck[place])
    other = _even(ALIKE * own + np.sqrt(1.0 - ALIKE**2) * luck[-1])
    levels = Levels(car, other, _even(rng.random(draws)), rng.random(draws))
    for part in (*car.values(), levels.other, levels.wait, levels.top):
        part.setflags(write=False)
    return levels


def _even(values: Floats) -> Floats:
    """Equally spaced levels in the order of the values."""
    level = np.empty(len(values))
    level[np.argsort(values, kind="stable")] = (np.arange(len(values)) + 0.5) / len(values)
    return level


@dataclass(frozen=True, eq=False)
class CarDraws:
    """One car on one channel: all-in prices in the model's currency, each of shape (draws,).

    ``law`` is the distribution of its price as it stands and ``price`` are its draws; of an inspected car
    draw ``i`` is in the states that the inspection drew there, and its repairs cost what was drawn there.
    """

    car: Car
    at: date
    law: PriceDistribution
    level: Floats
    price: Floats
    levels: Levels
    by_score: PriceByScore | None
    inspection: InspectionResult | None

    def mended(self, mask: Bools) -> Floats:
        """Its price were the items of ``mask`` (draws x items, or items) put right: never below ``price``.

        Raises:
            DecisionError: the car was not inspected.
        """
        by_score, seen = self._inspected
        before = by_score.draw(seen.draws, self.level)
        after = by_score.draw(_score_without(seen, mask), self.level)
        return np.asarray(self.price * np.maximum(after / before, 1.0))

    def another(self, mask: Bools) -> Floats:
        """What another car costs that is already as this one were with the items of ``mask`` put right."""
        by_score, seen = self._inspected
        return by_score.draw(_score_without(seen, mask), self.levels.other)

    def another_in_band(self, band: int) -> Floats:
        """What another car costs of which only the condition band is known."""
        return self._inspected[0].draw_in_band(band, self.levels.other)

    def in_band(self, model: GivesDistributions, band: str) -> Floats:
        """Its price were it in a better condition band: never below ``price``."""
        car = replace(self.car, condition_band=band, condition_score=None)
        return np.maximum(model.distribution(car.frame(self.at)).ppf(self.level)[0], self.price)

    @property
    def _inspected(self) -> tuple[PriceByScore, InspectionResult]:
        if self.by_score is None or self.inspection is None:
            raise DecisionError("the car was not inspected, so that no repair of it is known")
        return self.by_score, self.inspection


def _score_without(seen: InspectionResult, mask: Bools) -> Floats:
    """Scores of all draws with the items of ``mask`` sound, the difference of judgement kept."""
    wear, load = seen.items.wear(seen.states, seen.rule), seen.items.load(seen.states, seen.rule)
    clean = seen.rule.score(wear.sum(axis=1), load.sum(axis=1))
    sound = np.where(mask, 0.0, wear).sum(axis=1), np.where(mask, 0.0, load).sum(axis=1)
    return np.asarray(np.clip(seen.draws + seen.rule.score(*sound) - clean, 0.0, 100.0))


def simulate(
    model: GivesDistributions,
    car: Car,
    at: date,
    *,
    law: PriceDistribution | None = None,
    inspection: InspectionResult | None = None,
    seed: int = 0,
) -> CarDraws:
    """Draw a car on its channel at a date.

    Args:
        law: the distribution of its price, where it is known already.
        inspection: what was found of it, in place of a condition that is said.
        seed: the same seed gives the same draws of the same car at every door.
    """
    size = DRAWS if inspection is None else len(inspection.draws)
    levels = levels_of(size, seed)
    level = levels.car[car.channel]
    if inspection is None:
        own = model.distribution(car.frame(at)) if law is None else law
        return CarDraws(car, at, own, level, own.ppf(level)[0], levels, None, None)
    by_score = PriceByScore.ask(model, car.frame(at))
    own = by_score.mixture(inspection.draws) if law is None else law
    rank = _even(by_score.draw(inspection.draws, level))
    return CarDraws(car, at, own, level, own.ppf(rank)[0], levels, by_score, inspection)
