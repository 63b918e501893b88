"""A draft text for an advertisement, which states nothing that was not seen."""

from collections.abc import Mapping
from typing import Any, Final

from pricing.condition.assessment import InspectionResult
from pricing.condition.checks import STATES

MOST_NAMED: Final = 6
"""Findings named one by one; the rest are counted."""


def name_words(car: Mapping[str, Any]) -> str:
    """Year, make, model and variant.

    >>> name_words({"make": "Corvane", "model": "Six", "year": 1968, "variant": None})
    '1968 Corvane Six'
    """
    return " ".join(
        str(car[part]) for part in ("year", "make", "model", "variant") if car.get(part) is not None
    )


def advertisement(car: Mapping[str, Any], seen: InspectionResult | None, asked: str | None) -> list[str]:
    """Sentences of the draft: the car's name, what was seen of it and in what state, what was not seen, what
    is asked. What the owner says beside is for the owner to add and to show.

    >>> advertisement({"make": "Corvane", "model": "Six", "year": 1968}, None, "EUR 900")[::2]
    ['1968 Corvane Six.', 'Asked: EUR 900.']
    """
    said = [f"{name_words(car)}."]
    if seen is None:
        return [
            *said,
            "It has not been inspected: nothing is said of its condition here. Come and see it.",
            *([] if asked is None else [f"Asked: {asked}."]),
        ]
    findings = seen.inspection.frame().select("title", "state").rows()
    by_state = {state: [title for title, found in findings if found == state] for state in STATES}
    sound, unseen = by_state[STATES[0]], seen.inspection.seen_share
    if sound:
        said.append(f"Seen and found sound: {_listed(sound)}.")
    said += [f"Seen, {state}: {_listed(by_state[state])}." for state in STATES[1:] if by_state[state]]
    if unseen < 0.995:
        said.append(f"Of what counts, {1.0 - unseen:.0%} was not seen, and nothing is said of it.")
    return [*said, *([] if asked is None else [f"Asked: {asked}."])]


def _listed(titles: list[str]) -> str:
    """The first few by name, the rest by number.

    >>> _listed(["Sills", "Floor"])
    'sills, floor'
    """
    named = ", ".join(title[0].lower() + title[1:] for title in titles[:MOST_NAMED])
    rest = len(titles) - MOST_NAMED
    return f"{named} and {rest} more" if rest > 0 else named
