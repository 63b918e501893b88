"""A draft text for an advertisement, which states nothing that was not seen."""

from collections.abc import Mapping
from typing import Any, Final

from pricing.condition.assessment import InspectionResult
from pricing.condition.checks import STATES
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.sentences import name_words

MOST_NAMED: Final = 6
"""Findings named one by one; the rest are counted."""


def advertisement(
    car: Mapping[str, Any],
    inspected: InspectionResult | None,
    asking_price: str | None,
    words: LocaleWords = PLAIN,
) -> list[str]:
    """Sentences of the draft: the car's name, what was seen of it and in what state, what was not seen, what
    is asked. What the owner says beside is for the owner to add and to show.

    >>> advertisement({"make": "Corvane", "model": "Six", "year": 1968}, None, "EUR 900")[::2]
    ['1968 Corvane Six.', 'Asked: EUR 900.']
    """
    draft = [f"{name_words(car)}."]
    price = [] if asking_price is None else [words.say("Asked: {price}.", price=asking_price)]
    if inspected is None:
        none = words.say("It has not been inspected: nothing is said of its condition here. Come and see it.")
        return [*draft, none, *price]
    findings = inspected.inspection.frame().select("title", "state").rows()
    for state in STATES:
        checks = _listed([title for title, seen_as in findings if seen_as == state], words)
        if checks and state == STATES[0]:
            draft.append(words.say("Seen and found sound: {checks}.", checks=checks))
        elif checks:
            draft.append(words.say("Seen, {state}: {checks}.", state=words.word(state), checks=checks))
    unseen = 1.0 - inspected.inspection.seen_share
    if unseen > 0.005:
        share = words.share(unseen)
        draft.append(
            words.say("Of what counts, {share} was not seen, and nothing is said of it.", share=share)
        )
    return [*draft, *price]


def _listed(titles: list[str], words: LocaleWords = PLAIN) -> str:
    """The first few by name, the rest by number.

    >>> _listed(["Sills", "Floor"])
    'sills, floor'
    """
    named = [words.word(title) for title in titles[:MOST_NAMED]]
    if words.language != "de":  # whose nouns keep their capitals
        named = [title[0].lower() + title[1:] for title in named]
    first, rest = ", ".join(named), len(titles) - MOST_NAMED
    return words.say("{car} and {more} more", car=first, more=rest) if rest > 0 else first
