"""The round of ten minutes: the few checks whose answers move the score of an unseen car most."""

from typing import Final

import numpy as np

from pricing.arrays import Floats
from pricing.condition.assessment import assess
from pricing.condition.checks import Sheet
from pricing.condition.inspection import Inspection
from pricing.condition.score import States
from pricing.memo import Memo

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
    return _CHOSEN.get(("short", *ids), lambda: _choose(sheet), most=32)


def _choose(sheet: Sheet) -> tuple[str, ...]:
    unseen = assess(Inspection(sheet, {}, {}))
    known = {check.id for check in sheet.checks}
    ids = [name for name in unseen.items.ids if name in known]
    places = [place for place, name in enumerate(unseen.items.ids) if name in known]
    best = {ids[place] for place in _most_telling(unseen.states[:, places], unseen.draws)}
    return tuple(check.id for check in sheet.checks if check.id in best)


def _most_telling(states: States, score: Floats) -> list[int]:
    """Columns whose states, taken together, tell most of the score."""
    left = states - states.mean(axis=0)
    rest = score - score.mean()
    chosen: list[int] = []
    for _ in range(min(CHECKS, states.shape[1])):
        size = np.sqrt((left**2).sum(axis=0))
        told = np.abs(left.T @ rest) / np.where(size > 1e-9, size, np.inf)
        told[chosen] = -1.0
        best = int(np.argmax(told))
        chosen.append(best)
        along = left[:, best] / size[best]
        rest = rest - along * (along @ rest)
        left = left - np.outer(along, along @ left)
    return chosen
