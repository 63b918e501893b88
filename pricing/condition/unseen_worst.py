"""A scenario beside the score: what was not seen was left out because it is the worst of the car.

The score itself takes what was not seen for what the rest leads to expect (missing at random). Here the
latent states of ``score`` are ``x = A + s e`` with ``A`` of the car, and the share ``u`` of the items that
was not seen has the largest ``e``: seen items have ``e`` below its quantile ``1 - u``, the others above.
``A`` and ``s`` are drawn from their posterior given the states seen (Bayes, on a grid).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from pricing.arrays import Floats
from pricing.condition.checks import STATES
from pricing.condition.score import LATENT_GRID, THRESHOLDS, UNSEEN, Items, ScoreRule, States, band_of
from pricing.vocabulary import CONDITION_BANDS

LEVELS: Final = (0.1, 0.5, 0.9)

SPREADS: Final = np.array([0.5, 0.7, 1.0, 1.4, 2.0])
"""Spreads ``s`` of the items of a car about its own level, equally likely beforehand."""


@dataclass(frozen=True)
class UnseenWorst:
    """The score if the ``share`` of the items that was not seen is the worst of the car: ``low``, ``mid`` and
    ``high`` (P10, P50 and P90, the difference of judgement included) and the ``band`` of ``mid``."""

    share: float
    low: float
    mid: float
    high: float
    band: str


def unseen_worst(items: Items, rule: ScoreRule, judgement: Floats, seed: int) -> UnseenWorst | None:
    """The scenario, a draw for each of ``judgement`` (points by which two people differ); None where all was
    seen, or nothing was: then there is no rest that it could be worse than.

    >>> from pricing.condition.inspection import Inspection
    >>> blank = Items.of(Inspection.start("monocoque", {}), ScoreRule())
    >>> unseen_worst(blank, ScoreRule(), np.zeros(100), 0) is None
    True
    """
    unseen = items.states == UNSEEN
    share = float(unseen.mean())
    if share in (0.0, 1.0):
        return None
    states = _drawn(items, rule, share, len(judgement), seed)
    clean = rule.score(items.wear(states, rule).sum(axis=1), items.load(states, rule).sum(axis=1))
    low, mid, high = np.quantile(np.clip(clean + judgement, 0.0, 100.0), LEVELS).tolist()
    return UnseenWorst(share, low, mid, high, CONDITION_BANDS[int(band_of(np.array([mid]))[0])])


def _drawn(items: Items, rule: ScoreRule, share: float, draws: int, seed: int) -> States:
    expected = ndtr(LATENT_GRID[:, None] - THRESHOLDS) @ np.diff(rule.deficiency)
    middle = np.interp(rule.prior_deficiency, expected, LATENT_GRID)
    car, own = np.repeat(LATENT_GRID, len(SPREADS)), np.tile(SPREADS, len(LATENT_GRID))
    below = ndtr((np.append(THRESHOLDS, np.inf) - car[:, None]) / own[:, None])
    chance = np.diff(np.minimum(below / (1.0 - share), 1.0), axis=1, prepend=0.0)
    counts = np.bincount(items.states[items.states != UNSEEN], minlength=len(STATES))
    weight = np.log(np.maximum(chance, 1e-12)) @ counts
    weight -= 0.5 * np.square((car - middle) / rule.shared_deviation)
    posterior = np.cumsum(np.exp(weight - weight.max()))
    rng = np.random.default_rng([seed, 2])
    place = np.searchsorted(posterior, posterior[-1] * rng.random(draws))
    tail = ndtri(1.0 - share + share * rng.random((draws, len(items.states))))
    latent = car[place, None] + own[place, None] * tail
    states = (latent[..., None] > THRESHOLDS).sum(axis=-1, dtype=np.int8)
    return np.where(items.states == UNSEEN, states, items.states)
