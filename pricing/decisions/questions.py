"""Questions still open about a car: what was not seen, not said, not reckoned."""

from collections.abc import Sequence
from typing import Final

import polars as pl

from pricing.car import Car
from pricing.condition.assessment import InspectionResult
from pricing.condition.checks import found_words

MOST: Final = 5
"""Checks named that were not seen: those that could move the score most."""

_SAID: Final = {
    "condition_band": "In what condition is it? It has not been graded: have it inspected.",
    "chassis_number": "Which chassis number do car and papers bear, and do they agree?",
    "odometer_km": "How far has it gone, and what shows that?",
    "matching_numbers": "Do engine and chassis belong together, and who has seen it?",
    "history_file": "Which papers tell its past: bills, tests, owners?",
}


def buyer_questions(
    car: Car, inspection: InspectionResult | None, open_lines: Sequence[str]
) -> tuple[str, ...]:
    """Questions to settle before money changes hands, the weightiest first."""
    questions = []
    if inspection is not None:
        unseen = inspection.look_next.head(MOST)
        questions += [
            f"Not seen yet: {row['title']}{_matters(row['points'])}." for row in unseen.iter_rows(named=True)
        ]
        questions += [
            f"To settle: {row['title']}: {found_words('papers', row['state'])}."
            for row in inspection.papers.filter(pl.col("state") != "not seen").iter_rows(named=True)
        ]
    questions += [question for name, question in _SAID.items() if getattr(car, name) is None]
    if open_lines:
        questions.append(
            f"What will it cost: {', '.join(open_lines)}? Nothing was said of it, and nothing is counted."
        )
    return tuple(questions)


def _matters(points: float) -> str:
    """What a check could do to the score, where that is a point or more."""
    return f" ({points:.0f} points of score between best and worst)" if points >= 1 else ""
