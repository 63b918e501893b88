"""The rule from findings to a condition score between 0 and 100, and what is not seen drawn beside it.

With ``w`` the weight of a check, ``d`` the deficiency of its state (0 sound to 1 structural or missing) and
``c`` the load that a state puts on the structure::

    wear  D = sum(w d) / sum(w)                   over all scored checks
    load  L = sum(w c)                            over the checks of the structure
    score   = min(100 (1 - D) ** exponent, 100 exp(-L))

The first term is how the car is as a whole; the second is the cap of its structure. One local repair leaves
the cap high and many bring it down together, as the trade holds (common practice, no source). The constants
are a starting point, chosen so that a car worn everywhere stands at the lower edge of average and one
decisive structural finding keeps a car out of the upper half; ``agreement.refit`` replaces them by what a
market's own bands say.

Both terms fall, or stay, when any ``d`` or ``c`` rises, so worsening a finding never raises the score.

Checks not seen are drawn: a latent state ``x = a + s z + sqrt(1 - s**2) e`` falls into sound (below 0), worn,
needs repair, structural or missing (above 2), with ``z`` shared by the whole car (what was not seen tends to
be bad together) and ``e`` of each check. ``a`` is set so that the expected deficiency equals that of the
checks that were seen, shrunk by credibility weights first to the car and then to a prior. It rises with every
seen deficiency, and the random numbers belong to the check, so each single draw of the score is monotone too.

Beside the score stands a scenario: what was not seen was left out because it is the worst of the car. There
the latent states are ``x = A + s e`` with ``A`` of the car, and the share ``u`` of the items that was not
seen has the largest ``e``: seen items have ``e`` below its quantile ``1 - u``, the others above. ``A`` and
``s`` are drawn from their posterior given the states seen (Bayes, on a grid).
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from pricing.arrays import Bools, Floats
from pricing.condition.checks import AREAS, NOT_SEEN, STATES
from pricing.condition.inspection import Inspection
from pricing.errors import InspectionError
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

States = NDArray[np.int8]

UNSEEN: Final = -1
"""Index that stands for not seen in an array of states."""

THRESHOLDS: Final = np.array([0.0, 1.0, 2.0])
"""Latent values above which an item is worn, needs repair, is structural or missing."""

LATENT_GRID: Final = np.linspace(-6.0, 8.0, 701)


@dataclass(frozen=True)
class ScoreRule:
    """The constants of the rule; see the module for the formula.

    ``deficiency`` and ``structural_load`` by ``STATES`` (load is for each unit of weight);
    ``prior_deficiency`` of a car nobody has looked at, with the weight it carries against what was seen in
    the car and in an area; ``shared_deviation`` ``s`` of what is not seen; ``judgement_deviation``: points by
    which two careful people differ on the same car (an assumption until refitted); ``change_weight``: weight
    of the workmanship of one change; ``area_weights`` multiply the weights of an area (absent: 1).

    >>> ScoreRule(deficiency=(0.0, 0.5, 0.3, 1.0))
    Traceback (most recent call last):
    pricing.errors.InspectionError: deficiency must rise from 0 over 4 states, got (0.0, 0.5, 0.3, 1.0)
    """

    deficiency: tuple[float, ...] = (0.0, 0.29, 0.65, 1.0)
    structural_load: tuple[float, ...] = (0.0, 0.01, 0.06, 0.15)
    exponent: float = 2.0
    prior_deficiency: float = 0.2
    prior_weight_car: float = 60.0
    prior_weight_area: float = 20.0
    shared_deviation: float = 0.7
    judgement_deviation: float = 3.0
    change_weight: float = 2.0
    area_weights: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("deficiency", "structural_load"):
            steps = getattr(self, name)
            if len(steps) != len(STATES) or steps[0] != 0 or not (np.diff(steps) >= 0).all():
                raise InspectionError(f"{name} must rise from 0 over {len(STATES)} states, got {steps}")
        if self.deficiency[-1] > 1:
            raise InspectionError(f"deficiency must not exceed 1, got {self.deficiency[-1]}")
        for name in ("exponent", "prior_weight_car", "prior_weight_area"):
            if not getattr(self, name) > 0:
                raise InspectionError(f"{name} must be above 0, got {getattr(self, name)}")
        for name in ("prior_deficiency", "shared_deviation"):
            if not 0 < getattr(self, name) < 1:
                raise InspectionError(f"{name} must lie between 0 and 1, got {getattr(self, name)}")
        for name in ("judgement_deviation", "change_weight"):
            if not getattr(self, name) >= 0:
                raise InspectionError(f"{name} must not be negative, got {getattr(self, name)}")
        for area, weight in self.area_weights.items():
            if area not in AREAS or not weight > 0:
                raise InspectionError(f"area weight {weight} of {area!r}: expected a known area and above 0")

    def score(self, wear: Floats, load: Floats) -> Floats:
        """Score from wear ``D`` and structural load ``L``, element by element.

        >>> ScoreRule().score(np.array([0.0, 0.29, 0.0]), np.array([0.0, 0.0, 0.75])).round(1).tolist()
        [100.0, 50.4, 47.2]
        """
        whole = 100.0 * np.clip(1.0 - wear, 0.0, 1.0) ** self.exponent
        return np.minimum(whole, self.cap(load))

    def cap(self, load: Floats) -> Floats:
        """The score that the structure allows at most."""
        return 100.0 * np.exp(-load)

    def allowed(self, score: float) -> tuple[float, float]:
        """The most wear and the most structural load with which a car still reaches ``score`` (above 0).

        >>> rule = ScoreRule()
        >>> rule.score(*map(np.array, rule.allowed(62.5))).round(9).item()
        62.5
        """
        return 1.0 - (score / 100.0) ** (1.0 / self.exponent), float(-np.log(score / 100.0))


def band_of(score: ArrayLike) -> NDArray[np.intp]:
    """Index into ``CONDITION_BANDS`` of each score.

    >>> band_of(np.array([0.0, 24.9, 25.0, 75.0, 100.0])).tolist()
    [0, 0, 1, 3, 3]
    """
    return np.clip(np.searchsorted(BAND_EDGES, score, side="right") - 1, 0, len(CONDITION_BANDS) - 1)


@dataclass(frozen=True)
class Items:
    """What enters a score, one place an item: the scored checks of a sheet, then the changes of the car."""

    ids: tuple[str, ...]
    areas: NDArray[np.intp]
    """Index into ``AREAS``."""
    weights: Floats
    structural: Bools
    states: States
    """Index into ``STATES``, ``UNSEEN`` where not seen."""
    total_weight: float
    """Weight of the checks alone: a change adds wear, never a denominator."""

    @classmethod
    def of(cls, inspection: Inspection, rule: ScoreRule) -> "Items":
        """The items of an inspection under a rule."""
        checks, changes = inspection.sheet.scored, inspection.changes
        index = {state: place for place, state in enumerate(STATES)} | {NOT_SEEN: UNSEEN}
        workmanship = {"well": 0, "badly": index["needs repair"], NOT_SEEN: UNSEEN}
        areas = np.array([AREAS.index(check.area) for check in checks])
        factor = np.array([rule.area_weights.get(area, 1.0) for area in AREAS])
        weights = np.array([check.weight for check in checks]) * factor[areas]
        upgrades = AREAS.index("upgrades and originality")
        return cls(
            ids=(*(check.id for check in checks), *(change.item for change in changes)),
            areas=np.append(areas, np.full(len(changes), upgrades, dtype=areas.dtype)),
            weights=np.append(weights, np.full(len(changes), rule.change_weight * factor[upgrades])),
            structural=np.array([check.role == "structure" for check in checks] + [False] * len(changes)),
            states=np.array(
                [index[inspection.state(check.id)] for check in checks]
                + [workmanship[change.done] for change in changes],
                dtype=np.int8,
            ),
            total_weight=float(weights.sum()),
        )

    def wear(self, states: States, rule: ScoreRule) -> Floats:
        """Each item's part of the wear ``D``; shape of ``states``, whose last axis is the items."""
        return np.asarray(rule.deficiency)[states] * (self.weights / self.total_weight)

    def load(self, states: States, rule: ScoreRule) -> Floats:
        """Each item's part of the structural load ``L``; shape of ``states``."""
        return np.asarray(rule.structural_load)[states] * (self.weights * self.structural)

    def latent(self, rule: ScoreRule) -> Floats:
        """The latent mean ``a`` of every item, were it not seen."""
        seen = self.states != UNSEEN
        weight = np.where(seen, self.weights, 0.0)
        damage = np.asarray(rule.deficiency)[np.where(seen, self.states, 0)] * weight
        car = (rule.prior_weight_car * rule.prior_deficiency + damage.sum()) / (
            rule.prior_weight_car + weight.sum()
        )
        by_area = np.bincount(self.areas, damage, len(AREAS)), np.bincount(self.areas, weight, len(AREAS))
        area = (rule.prior_weight_area * car + by_area[0]) / (rule.prior_weight_area + by_area[1])
        steps = np.diff(rule.deficiency)
        expected = ndtr(LATENT_GRID[:, None] - THRESHOLDS) @ steps
        latent: Floats = np.interp(area, expected, LATENT_GRID)
        return latent[self.areas]

    def expected(self, rule: ScoreRule) -> tuple[Floats, Floats]:
        """Expected deficiency and expected load for each unit of weight of every item, shape (items,)."""
        above = ndtr(self.latent(rule)[:, None] - THRESHOLDS)
        seen = self.states != UNSEEN
        states = np.where(seen, self.states, 0)
        deficiency, load = np.asarray(rule.deficiency), np.asarray(rule.structural_load)
        return (
            np.where(seen, deficiency[states], above @ np.diff(deficiency)),
            np.where(seen, load[states], above @ np.diff(load)),
        )

    def draw(self, rule: ScoreRule, draws: int, seed: int) -> States:
        """States of all items in each draw, shape (draws, items): what was seen as it is, the rest drawn."""
        rng = np.random.default_rng(seed)
        shared = rng.standard_normal((draws, 1))
        own = rng.standard_normal((len(self.states), draws)).T
        spread = rule.shared_deviation * shared + np.sqrt(1 - rule.shared_deviation**2) * own
        drawn = ((self.latent(rule) + spread)[..., None] > THRESHOLDS).sum(axis=-1, dtype=np.int8)
        return np.where(self.states == UNSEEN, drawn, self.states)


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
