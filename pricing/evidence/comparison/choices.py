"""What a person decides about the evidence: sales added, dropped or adjusted otherwise, each with a
reason."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from pydantic import ConfigDict, with_config

from pricing.errors import EvidenceError
from pricing.store.market import Market

ACTIONS: Final = ("add", "drop", "weigh", "adjust")
LONGEST_REASON: Final = 2_000


@with_config(ConfigDict(extra="forbid"))
@dataclass(frozen=True)
class Choice:
    """One decision: ``add`` a sale to the comparables, ``drop`` one, or ``weigh`` one at
    ``per_cent`` of the weight it would have, or ``adjust`` a ``line`` of one by ``per_cent`` in place of
    what the model or the index says.

    Raises:
        EvidenceError: there is no reason, or something else is missing or makes no sense.

    >>> Choice("r-7", "adjust", "sold between brothers", line="conditions of sale", per_cent=8.0).per_cent
    8.0
    >>> Choice("r-7", "drop", " ")
    Traceback (most recent call last):
    pricing.errors.EvidenceError: to drop record 'r-7' needs a reason in writing; got none
    """

    record_id: str
    action: str
    reason: str
    line: str | None = None
    per_cent: float | None = None

    def __post_init__(self) -> None:
        if self.action not in ACTIONS:
            raise EvidenceError(f"a choice is one of {', '.join(ACTIONS)}; got {self.action!r}")
        if not self.record_id:
            raise EvidenceError(f"to {self.action} a sale needs its record id; got none")
        if not self.reason.strip():
            raise EvidenceError(
                f"to {self.action} record {self.record_id!r} needs a reason in writing; got none"
            )
        if len(self.reason) > LONGEST_REASON:
            raise EvidenceError(f"a reason has at most {LONGEST_REASON} characters; got {len(self.reason)}")
        wanted = {"adjust": (True, True), "weigh": (False, True)}.get(self.action, (False, False))
        if (self.line is not None, self.per_cent is not None) != wanted:
            raise EvidenceError(
                f"to adjust needs a line and a per cent, to weigh a per cent, and nothing else has them; got "
                f"{self.action} with line {self.line!r}, per cent {self.per_cent!r}"
            )
        if self.action == "weigh" and self.per_cent is not None and not 0.0 < self.per_cent <= 1000.0:
            raise EvidenceError(
                f"a weight is over 0 and up to 1000 per cent of its own; got {self.per_cent}: drop the "
                "sale instead"
            )
        if self.per_cent is not None and not -95.0 <= self.per_cent <= 1000.0:
            raise EvidenceError(f"an adjustment lies between -95 and 1000 per cent; got {self.per_cent}")


def in_force(choices: Sequence[Choice]) -> dict[tuple[str, str], Choice]:
    """The last choice about each record and line: a later ``add`` or ``drop`` replaces an earlier one.

    >>> made = in_force([Choice("a", "drop", "wreck"), Choice("a", "add", "seen, it is sound")])
    >>> [choice.action for choice in made.values()]
    ['add']
    """
    return {
        (choice.record_id, "weight" if choice.action == "weigh" else choice.line or ""): choice
        for choice in choices
    }


def of_action(made: Mapping[tuple[str, str], Choice], action: str) -> dict[str, Choice]:
    """Of the choices in force those of one action, by record."""
    return {record: choice for (record, _), choice in made.items() if choice.action == action}


def keep(market: Market, subject: str, choices: Sequence[Choice]) -> None:
    """Write choices about a subject (a name of the user's) into a market file, where they stay."""
    rows = [(c.record_id, c.action, c.line, c.per_cent, c.reason) for c in choices]
    if not subject.strip():
        raise EvidenceError("choices are kept under a name for the subject; got none")
    market.choices.keep(subject, rows)


def kept(market: Market, subject: str) -> tuple[Choice, ...]:
    """The choices about a subject that a market file keeps, oldest first."""
    rows = market.choices.about(subject).drop("made_at")
    return tuple(Choice(**row) for row in rows.iter_rows(named=True))
