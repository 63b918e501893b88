"""A draft text for an advertisement, which states nothing that was not seen."""

from collections.abc import Mapping
from typing import Any, Final

from pricing.condition.assessment import InspectionResult
from pricing.condition.checks import STATES
from pricing.words.language.locale import PLAIN, LocaleWords

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


def advertisement(
    car: Mapping[str, Any], seen: InspectionResult | None, asked: str | None, words: LocaleWords = PLAIN
) -> list[str]:
    """Sentences of the draft: the car's name, what was seen of it and in what state, what was not seen, what
    is asked. What the owner says beside is for the owner to add and to show.

    >>> advertisement({"make": "Corvane", "model": "Six", "year": 1968}, None, "EUR 900")[::2]
    ['1968 Corvane Six.', 'Asked: EUR 900.']
    """
    said = [f"{name_words(car)}."]
    price = [] if asked is None else [words.say("Asked: {price}.", price=asked)]
    if seen is None:
        none = words.say("It has not been inspected: nothing is said of its condition here. Come and see it.")
        return [*said, none, *price]
    findings = seen.inspection.frame().select("title", "state").rows()
    by_state = {state: [title for title, found in findings if found == state] for state in STATES}
    sound, unseen = by_state[STATES[0]], seen.inspection.seen_share
    if sound:
        said.append(words.say("Seen and found sound: {checks}.", checks=_listed(sound, words)))
    said += [
        words.say("Seen, {state}: {checks}.", state=words.word(state), checks=_listed(by_state[state], words))
        for state in STATES[1:]
        if by_state[state]
    ]
    if unseen < 0.995:
        said.append(
            words.say(
                "Of what counts, {share} was not seen, and nothing is said of it.",
                share=words.share(1.0 - unseen),
            )
        )
    return [*said, *price]


def _listed(titles: list[str], words: LocaleWords = PLAIN) -> str:
    """The first few by name, the rest by number.

    >>> _listed(["Sills", "Floor"])
    'sills, floor'
    """
    named = [words.word(title) for title in titles[:MOST_NAMED]]
    if words.language != "de":  # whose nouns keep their capitals
        named = [title[0].lower() + title[1:] for title in named]
    said, rest = ", ".join(named), len(titles) - MOST_NAMED
    return words.say("{car} and {more} more", car=said, more=rest) if rest > 0 else said
