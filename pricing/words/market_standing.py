"""What has to be known of a market before its numbers are used: that it has no sale, that its last sale is
old, or that its fit is behind."""

from datetime import date, timedelta
from typing import Final, Protocol

from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted

INVENTED: Final = noted("This is a demo market: every make, car and sale in it is invented.")
"""Said of a demo market on every page and command."""

OLD: Final = timedelta(days=365)
"""A last sale longer ago than this is told."""


class MarketStanding(Protocol):
    """A market as it is (``StoredState``), or as it was when an appraisal was made (``MarketState``)."""

    @property
    def last_sale(self) -> date | None:
        """The day of the last sale on record."""

    @property
    def stale(self) -> bool:
        """Whether records or opinions have changed since the fit was made."""

    @property
    def opinions(self) -> int:
        """More than nought where people have said something."""


def market_warning(state: MarketStanding, today: date, words: LocaleWords = PLAIN) -> str | None:
    """One sentence, the same at every door; None where nothing is the matter.

    >>> from pricing.store.state import StoredState
    >>> market_warning(StoredState("", 1, "fit-0001", False, date(2017, 3, 12)), date(2025, 6, 30))
    'The last sale on record is of 12 March 2017, more than a year ago: prices are of that day.'
    >>> market_warning(StoredState("", 1, "fit-0001", True, date(2025, 6, 1)), date(2025, 6, 30))
    'Records have changed since the price model was fitted; a new fit would take them in.'
    >>> market_warning(StoredState("", 0, None, False, None), date(2025, 6, 30))
    'The market holds no sale yet: load sale records first.'
    """
    if state.last_sale is None and state.opinions:
        return words.say("The market holds no sale: prices rest on what people say alone.")
    if state.last_sale is None:
        return words.say("The market holds no sale yet: load sale records first.")
    warnings = []
    if today - state.last_sale > OLD:
        old = noted("The last sale on record is of {day}, more than a year ago: prices are of that day.")
        warnings.append(words.say(old, day=words.day(state.last_sale)))
    if state.stale:
        warnings.append(
            words.say("Records have changed since the price model was fitted; a new fit would take them in.")
        )
    return " ".join(warnings) or None
