"""Upgrades and originality: what is no longer as the factory made it, item by item, and how far the car is
preserved.

Three things that are easily mixed up are kept apart here. How *well* a change was made touches the condition
score.
*That* it was made is a term of the price model where it is one of its options. How much of the car is still
the one that left the factory is *preservation*, an axis of its own that never touches the score.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Final

from pydantic import ConfigDict, Strict, with_config

from pricing.condition.checks import NOT_SEEN
from pricing.errors import InspectionError
from pricing.vocabulary import OPTION_CODES

PRESERVATION: Final = ("authentic", "original", "restored", "rebuilt")
"""How far the car is preserved, after the FIVA technical code (class names from memory)."""

WORKMANSHIP: Final = ("well", "badly", NOT_SEEN)
"""How a change was made; not seen is unknown, never well."""


@with_config(ConfigDict(extra="forbid"))
@dataclass(frozen=True)
class Change:
    """One change from how the car left the factory.

    ``item`` in words; ``option`` the option code it stands for, or "" when it is none; ``period``: made of
    parts and in a manner of the car's own time; ``reversible``: can be unbolted without trace; ``done``: one
    of ``WORKMANSHIP``; ``done_by`` whom, as far as known.

    >>> Change("front discs", option="front_disc_brakes", period=True, reversible=True, done="well").done
    'well'
    >>> Change("radio", done="nicely")
    Traceback (most recent call last):
    pricing.errors.InspectionError: change 'radio': done is 'nicely', expected one of well, badly, not seen
    """

    item: str
    option: str = ""
    period: Annotated[bool, Strict()] = False
    reversible: Annotated[bool, Strict()] = False
    done: str = NOT_SEEN
    done_by: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.item, str) or not self.item.strip():
            raise InspectionError("a change without an item: say what was changed")
        if not isinstance(self.done_by, str):
            raise InspectionError(f"change {self.item!r}: done_by is {self.done_by!r}, expected a text")
        for key in ("period", "reversible"):
            if not isinstance(getattr(self, key), bool):
                raise InspectionError(
                    f"change {self.item!r}: {key} is {getattr(self, key)!r}, expected true or false"
                )
        if self.option and self.option not in OPTION_CODES:
            raise InspectionError(f"change {self.item!r}: unknown option code {self.option!r}")
        if self.done not in WORKMANSHIP:
            raise InspectionError(
                f"change {self.item!r}: done is {self.done!r}, expected one of {', '.join(WORKMANSHIP)}"
            )


def options_for_model(options: Iterable[str], changes: Iterable[Change]) -> list[str]:
    """The option codes that the price model should see: those of the car and of the changes done well.

    A change done badly, or not seen, is not paid for: its code is left out even when the car lists it.

    >>> changes = [Change("later engine", option="later_engine", done="well"),
    ...            Change("overdrive", option="overdrive", done="badly")]
    >>> options_for_model(["overdrive", "wire_wheels"], changes)
    ['later_engine', 'wire_wheels']
    """
    made = {change.option: change.done for change in changes if change.option}
    well = {option for option, done in made.items() if done == "well"}
    return sorted((set(options) - set(made)) | well)


def originality_note(changes: tuple[Change, ...]) -> str:
    """One sentence on originality, for the result and the print.

    >>> originality_note((Change("wide arches", done="well"), Change("radio", reversible=True, done="well")))
    '2 changes from the factory state: 0 of the period, 1 that can be undone, 0 done badly.'
    """
    if not changes:
        return "No change from the factory state is recorded."
    return (
        f"{len(changes)} change{'s' if len(changes) > 1 else ''} from the factory state: "
        f"{sum(change.period for change in changes)} of the period, "
        f"{sum(change.reversible for change in changes)} that can be undone, "
        f"{sum(change.done == 'badly' for change in changes)} done badly."
    )
