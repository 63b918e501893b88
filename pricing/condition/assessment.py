"""From an inspection to its result: the score and its spread, the band, what holds the car there and what
would lift it, what to look at next, and the cautions that go with all of it; and the round of ten minutes:
the few checks whose answers move the score of an unseen car most."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Bools, Floats
from pricing.condition.checks import NOT_SEEN, STATES
from pricing.condition.inspection import Inspection, originality_note
from pricing.condition.score import UNSEEN, Items, ScoreRule, States, UnseenWorst, band_of, unseen_worst
from pricing.errors import InspectionError
from pricing.memo import Memo
from pricing.vocabulary import BAND_EDGES, CONDITION_BANDS

DRAWS = 4000
"""Draws of a score: the deviation of a share estimated from them is below 0.01."""


@dataclass(frozen=True, eq=False)
class InspectionResult:
    """What an inspection says.

    ``score`` is the expectation over what was not seen, 0-100; ``spread`` the standard deviation of
    ``draws``, which also holds the difference of judgement between two people. ``holding``, ``lifting`` and
    ``look_next`` are frames with check, title, area, state and ``points`` of score: by how much one finding
    made sound would raise the score; the fewest repairs in order that reach the next band; what lies between
    sound and structural or missing at each check not seen. ``papers`` are the findings about what the car is:
    never in the score.
    """

    inspection: Inspection
    rule: ScoreRule
    items: Items
    states: States
    """State of every item in every draw, shape (draws, items)."""
    draws: Floats
    """Score of every draw with the difference of judgement, shape (draws,)."""
    score: float
    structure_cap: float
    holding: pl.DataFrame
    lifting: pl.DataFrame
    look_next: pl.DataFrame
    papers: pl.DataFrame
    cautions: tuple[str, ...]
    originality: str
    if_unseen_worst: UnseenWorst | None
    """The score were what was not seen the worst of the car; None where all was seen, or nothing."""

    @property
    def band(self) -> str:
        """The condition band of the score."""
        return CONDITION_BANDS[int(band_of(np.array([self.score]))[0])]

    @property
    def spread(self) -> float:
        """Standard deviation of the score, points."""
        return float(self.draws.std())

    @property
    def band_shares(self) -> dict[str, float]:
        """Share of the draws in each condition band; the shares sum to 1."""
        counts = np.bincount(band_of(self.draws), minlength=len(CONDITION_BANDS))
        return dict(zip(CONDITION_BANDS, (counts / counts.sum()).tolist(), strict=True))

    def quantiles(self, levels: tuple[float, ...] = (0.1, 0.5, 0.9)) -> list[float]:
        """Quantiles of the score at those levels."""
        return np.quantile(self.draws, levels).tolist()


def assess(
    inspection: Inspection, *, rule: ScoreRule | None = None, draws: int = DRAWS, seed: int = 0
) -> InspectionResult:
    """Score an inspection, half done or whole.

    The same inspection, rule, draws and seed give the same result to the last digit. Raises
    ``InspectionError`` for fewer than 100 draws.

    >>> from pricing.condition.inspection import Finding
    >>> walk = Inspection.start("monocoque", {"make": "Wexcombe", "model": "Marram"})
    >>> walk = walk.fill(Finding(check.id, "sound") for check in walk.sheet.checks)
    >>> assess(walk).band, assess(walk).score
    ('top condition', 100.0)
    >>> assess(walk.record("shell_outer_sills", "structural or missing")).band
    'solid restorable'
    """
    if draws < 100:
        raise InspectionError(f"a score needs at least 100 draws, got {draws}")
    rule = ScoreRule() if rule is None else rule
    items = Items.of(inspection, rule)
    states = items.draw(rule, draws, seed)
    wear, load = items.wear(states, rule), items.load(states, rule)
    clean = rule.score(wear.sum(axis=1), load.sum(axis=1))
    judgement = np.random.default_rng([seed, 1]).normal(0.0, rule.judgement_deviation, draws)
    without = _without(rule, wear, load)
    worst = np.full(len(items.ids), len(STATES) - 1, dtype=np.int8)
    others = wear.sum(axis=1, keepdims=True) - wear, load.sum(axis=1, keepdims=True) - load
    at_worst = rule.score(others[0] + items.wear(worst, rule), others[1] + items.load(worst, rule))

    def ranked(points: Floats, chosen: Bools) -> pl.DataFrame:
        """Chosen items with their points, most first."""
        places = [int(place) for place in np.argsort(-points, kind="stable") if chosen[place]]
        return _described(inspection, items, places, points[places].tolist())

    named = dict.fromkeys(check.caution for check in inspection.sheet.checks if check.caution)
    return InspectionResult(
        inspection=inspection,
        rule=rule,
        items=items,
        states=states,
        draws=np.clip(clean + judgement, 0.0, 100.0),
        score=float(clean.mean()),
        structure_cap=float(rule.cap(load.sum(axis=1)).mean()),
        holding=ranked(without - clean.mean(), items.states > 0),
        lifting=_described(inspection, items, *_lifting(rule, wear, load, items.states > 0)),
        look_next=ranked(without - at_worst.mean(axis=0), items.states == UNSEEN),
        papers=inspection.frame()
        .filter((pl.col("role") == "papers") & (pl.col("state") != STATES[0]))
        .select("check", "title", "area", "state", "note"),
        cautions=(*inspection.sheet.general_cautions, *(inspection.sheet.cautions[name] for name in named)),
        originality=originality_note(inspection.changes),
        if_unseen_worst=unseen_worst(items, rule, judgement, seed),
    )


def _described(inspection: Inspection, items: Items, chosen: list[int], points: list[float]) -> pl.DataFrame:
    """Rows about chosen items."""
    checks = {check.id: check for check in inspection.sheet.scored}
    number = len(checks)
    rows = [
        (
            items.ids[place],
            checks[items.ids[place]].title if place < number else items.ids[place],
            checks[items.ids[place]].area if place < number else "upgrades and originality",
            NOT_SEEN if items.states[place] == UNSEEN else STATES[items.states[place]],
            point,
        )
        for place, point in zip(chosen, points, strict=True)
    ]
    schema = dict.fromkeys(("check", "title", "area", "state"), pl.String()) | {"points": pl.Float64()}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _without(rule: ScoreRule, wear: Floats, load: Floats) -> Floats:
    """Mean score were each item made sound by itself, shape (items,)."""
    return rule.score(wear.sum(axis=1, keepdims=True) - wear, load.sum(axis=1, keepdims=True) - load).mean(
        axis=0
    )


def _lifting(rule: ScoreRule, wear: Floats, load: Floats, left: Bools) -> tuple[list[int], list[float]]:
    """Greedy: mend what gains most, until the mean score reaches the next band or nothing is ``left``."""
    wear, load = wear.copy(), load.copy()
    score = float(rule.score(wear.sum(axis=1), load.sum(axis=1)).mean())
    target = next((edge for edge in BAND_EDGES[1:-1] if edge > score), None)
    chosen: list[int] = []
    points: list[float] = []
    while target is not None and score < target and left.any():
        after = np.where(left, _without(rule, wear, load), -np.inf)
        best = int(after.argmax())
        chosen.append(best)
        points.append(float(after[best]) - score)
        score = float(after[best])
        wear[:, best] = load[:, best] = 0.0
        left[best] = False
    return chosen, points


CHECKS: Final = 15
"""Checks of a short round."""

_CHOSEN: Final = Memo()


def short_round(inspection: Inspection) -> tuple[str, ...]:
    """The checks of the short round of a sheet, by id, in the order of the walk.

    Chosen by value of information, one after another: of a car of that construction of which nothing is known
    yet, the check whose answer, beside those chosen before, leaves least of the scatter of the score (forward
    selection on the draws of an unseen car). Prices follow the score. Papers never enter the score, and are
    asked for all the same where money changes hands.

    >>> chosen = short_round(Inspection.start("monocoque", {}))
    >>> len(chosen), len(set(chosen))
    (15, 15)
    """
    sheet = inspection.sheet
    ids = tuple(check.id for check in sheet.checks)

    def choose() -> tuple[str, ...]:
        unseen = assess(Inspection(sheet, {}, {}))
        places = [place for place, name in enumerate(unseen.items.ids) if name in ids]
        telling = _most_telling(unseen.states[:, places], unseen.draws)
        best = {unseen.items.ids[places[place]] for place in telling}
        return tuple(name for name in ids if name in best)

    return _CHOSEN.get(("short", *ids), choose, most=32)


def _most_telling(states: States, score: Floats) -> list[int]:
    """Columns whose states, taken together, tell most of the score."""
    left = states - states.mean(axis=0)
    rest = score - score.mean()
    chosen: list[int] = []
    for _ in range(min(CHECKS, states.shape[1])):
        size = np.sqrt((left**2).sum(axis=0))
        correlation = np.abs(left.T @ rest) / np.where(size > 1e-9, size, np.inf)
        correlation[chosen] = -1.0
        best = int(np.argmax(correlation))
        chosen.append(best)
        along = left[:, best] / size[best]
        rest = rest - along * (along @ rest)
        left = left - np.outer(along, along @ left)
    return chosen
