"""Sentences that were made in English before any document was: reasons, remarks, sources, open points.

Evidence is frozen with them, so they are read back: what fits one of ``TOLD`` is said in the language of a
document, its values too. What fits none is shown as it is.
"""

import re
from datetime import date
from functools import cache
from typing import Final

from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import PLACE, SOURCE, noted

TOLD: Final = (
    # why there is no range
    noted("{group} {name} is not on record, and {known} others are too few to judge it by"),
    noted("the date {day} is before the first sale on record"),
    noted("{name} {value} is far outside what is on record ({low} to {high})"),
    noted("so little is known that the high price would be over {times} times the low one"),
    noted("{scores} past sales of its kind ({kind}) could be valued from others to see how far off that is; "
          "a range that holds {share} needs {needed}"),
    noted("the market has only {sales} sales; a range needs at least {least}"),
    noted("nobody has said what a {car} in the state '{state}' fetches"),
    # what is to be known of a range
    noted("opinion alone: no sale confirms this range, which is as {sources} said it (last on {day}) and not "
          "brought to another day, for there is no index; the market has {sales} sales, too few for a price "
          "model"),
    noted("on record, cars in the state '{better}' sold for less than those in the state '{worse}', other "
          "things alike; the two are priced as one"),
    noted("no offer on record is of a car in the state '{state}'; the range is wider for it"),
    noted("hardly an offer on record has {field} '{value}'; the range is wider for it"),
    # why there are no comparables, no index, no study
    noted("{usable} usable sales of the make are on record for a {car} by {day}; a value needs {least}: more "
          "sale records of the make, a condition band for the subject, or sales added by hand would help"),
    noted("{usable} usable sales of the make are on record for a {car} by {day}, {more} more being too "
          "unlike it; a value needs {least}: more sale records of the make, a condition band for the "
          "subject, or sales added by hand would help"),
    noted("no sale is on record by {day}; the first is of {first}"),
    noted("the index that moves prices through time ends at {day}, more than two years before {at}, and "
          "cannot speak of the time between: sale records of those years would help"),
    noted("no sales are laid out: the market is priced by opinion alone"),
    noted("comparable sales are adjusted by a price model, for which {sales} sales are too few: this market "
          "is priced by opinion alone"),
    noted("fewer than two quarters have enough sales for an index; prices are left as they are"),
    noted("{sales} sales can be valued from others; {needed} are needed"),
    noted("no kind of the car has {needed} sales that can be valued from others"),
    # comparables left out
    noted("dropped: {reason}"),
    noted("would need its price changed too much to compare (by a factor of {most} in all)"),
    noted("less like the subject than those looked at ({level})"),
    noted("further out than the {level}"),
    # where adjustments come from
    noted("own judgement: {reason}"),
    noted("price model fitted to {sales} sales"),
    noted("reference rate of {day}"),
    # kinds of cars in a ratio study
    noted("{car}: not graded, {tier}"),
    noted("{car}: not graded"),
    noted("{car}: graded, {tier}"),
    noted("{car}: graded, {band}, {tier}"),
    noted("{car}: graded"),
    noted("graded, {group}"),
    noted("{kind} of a model of few sales"),
    noted("{kind} of a model of many sales"),
    # what is newer than the effective date
    noted("the inspection of {day}"),
    noted("entries of the inspection sheet of {day}"),
    noted("repair prices of {day}"),
    noted("the exchange rate of {day}"),
    noted("score {score}"),
    # the inspection
    noted("{count} changes from the factory state: {period} of the period, {reversible} that can be undone, "
          "{badly} done badly."),
    noted("1 change from the factory state: {period} of the period, {reversible} that can be undone, "
          "{badly} done badly."),
    # what is to be asked of a car, and what charges are in force
    noted("Not seen yet: {check} ({points} points of score between best and worst)."),
    noted("Not seen yet: {check}."),
    noted("To settle: {check}: {state}."),
    noted("What will it cost: {lines}? Nothing was said of it, and nothing is counted."),
    noted("In what condition is it? It has not been graded: have it inspected."),
    noted("Which chassis number do car and papers bear, and do they agree?"),
    noted("How far has it gone, and what shows that?"),
    noted("Do engine and chassis belong together, and who has seen it?"),
    noted("Which papers tell its past: bills, tests, owners?"),
    noted("{charge} in force from {day}"),
    # what contradicts itself
    noted("{first} ({day}) is after {second} ({other})"),
    noted("the value holds at {day} and is reported on {reported}, long after"),
    noted("a retrospective value rests on {newer}, and no extraordinary assumption says so"),
    noted("newer than the effective date and not accounted for: {newer}"),
    noted("the evidence is of {name} {value}, the record says {said}"),
    noted("the evidence holds at {day}, not at {other}"),
    noted("the evidence is in {currency}, not in {other}"),
    noted("the inspection sheet is of {name} {value}, the subject of {other}"),
    noted("nothing ties the inspection sheet to chassis number {number}"),
    noted("{basis} does not go with the premise {premise}: {premises} does"),
    noted("{basis} is what a buyer pays, all in; the level {level} leaves the premium out"),
    noted("the basis is {basis}, and its definition is one of {bases}"),
    noted("recorded sales are no {premise}, and nothing says by how much a figure differs, and why"),
    noted("figures are brought by {change}% to a premise, without what that rests on"),
    noted("the records hold {number} sales or offers of this very car in the last {years} years, the last "
          "{outcome} on {day}, and the opinion does not speak of them"),
    noted("photograph {number} was taken in for chassis number {others}, the subject is {own}"),
    noted("photographs {numbers} were taken in for chassis number {others}, the subject is {own}"),
    noted("photograph {number} is tied to the finding {check}, and there is no inspection sheet"),
    noted("photographs {numbers} are tied to the finding {check}, and there is no inspection sheet"),
    noted("photograph {number} is tied to the finding {check}, and the sheet has no such finding"),
    noted("photographs {numbers} are tied to the finding {check}, and the sheet has no such finding"),
    noted("photograph {number} was taken on {day}, after {what} ({other})"),
    noted("photographs {numbers} were taken on {day}, after {what} ({other})"),
    noted("the opinion's low end {low} is above its high end {high}"),
    noted("the opinion {opinion} lies outside every range of the evidence ({ranges})"),
    noted("the opinion {opinion} is {share} off the reconciled figure {figure}; {most} is the most without a "
          "reason"),
    noted("the opinion {opinion} is above the lowest asking price of a like car, {figure} adjusted"),
    noted("{low} to {high}"),
    noted("{one} or {other}"),
)  # fmt: skip
"""The sentences with values; those without are words of ``closed_words``."""

_NUMBER: Final = re.compile(r"\d{1,3}(,\d{3})+(\.\d+)?|\d+\.\d+")
_PER_CENT: Final = re.compile(r"\d+%")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_PLACES: Final = re.compile(r"\d+(, \d+)* and \d+")


def told(text: str | None, words: LocaleWords) -> str:
    """A sentence of the program in the language of a document; what it does not know as it is.

    >>> german = LocaleWords.of("de_DE")
    >>> told("the date 1950-03-01 is before the first sale on record", german)
    'das Datum 1. M\u00e4rz 1950 liegt vor dem ersten aufgezeichneten Verkauf'
    """
    if not text or words.language == SOURCE and not words.messages.texts:
        return text or ""
    if _DAY.fullmatch(text):
        return words.day(date.fromisoformat(text))
    translated = words.word(text)
    if translated != text:
        return translated
    return _matched(text, words) or _split(text, words) or text


def _matched(text: str, words: LocaleWords) -> str | None:
    """The text as a message with values, the fewest letters in its values first."""
    matches = [
        (message, match) for message, pattern in _patterns() if (match := pattern.fullmatch(text)) is not None
    ]
    if not matches:
        return None
    message, match = min(matches, key=lambda one: sum(map(len, one[1].groups())))
    return words.say(message, **{name: _value(value, words) for name, value in match.groupdict().items()})


def _split(text: str, words: LocaleWords) -> str | None:
    """Several sentences, one after another with semicolons, stops or commas, the first of which is known."""
    for mark in ("; ", ". ", " and ", ", "):
        parts = text.split(mark)
        for place in range(1, len(parts)):
            first, rest = mark.join(parts[:place]), mark.join(parts[place:])
            known = words.word(first)
            head = known if known != first else _matched(first, words)
            if head is not None:
                joined = words.say("{one} and {other}", one="", other="") if mark == " and " else mark
                return f"{head}{joined}{told(rest, words)}"
    return None


def _value(text: str, words: LocaleWords) -> str:
    """A value within a sentence: a number, numbers in a row, a share, a day, or words that may be known
    themselves."""
    if _PER_CENT.fullmatch(text):
        return words.share(int(text[:-1]) / 100.0)
    if _PLACES.fullmatch(text):
        return words.listed(re.split(", | and ", text))
    if _NUMBER.fullmatch(text):
        bare = text.replace(",", "")
        return words.number(float(bare), len(bare.partition(".")[2]))
    return told(text, words)


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """Each message as a pattern: no value of it holds a semicolon, which parts sentences."""
    made = []
    for message in TOLD:
        parts = PLACE.split(message)
        pattern = "".join(
            f"(?P<{part}>[^;]+?)" if place % 2 else re.escape(part) for place, part in enumerate(parts)
        )
        made.append((message, re.compile(pattern)))
    return tuple(made)
