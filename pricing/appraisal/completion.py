"""Completing an appraisal: the one act by which a draft becomes an appraisal.

It is the valuer's alone: every point of the certification is answered, under the valuer's own name, of a
record that lacks nothing and contradicts nothing. Nothing is signed: that is done by hand on the document.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Final

from pricing.appraisal.consistency import contradictions
from pricing.appraisal.contents import missing
from pricing.appraisal.register import Entry, keep_completed
from pricing.errors import AppraisalError
from pricing.store.market import Market

CERTIFICATION: Final[dict[str, str]] = {
    "facts": "the statements of fact are true and correct to the best of my knowledge",
    "own": "the analyses, opinions and conclusions are my own, impartial and unbiased",
    "interest": "my present or prospective interest in the car, or that I have none",
    "services": "my services about this car in the last three years, or that there were none",
    "bias": "that I have no bias about the car or the parties",
    "fee": "that my engagement and fee do not depend on a value or an outcome reported",
    "inspected": "whether I have inspected the car in person",
    "help": "who gave significant help, by name, or that nobody did",
}
"""What a certification states, by a word for each point: answered in words by the valuer, and signed by hand.
Source: USPAP 2024, Standard 8, certification (from memory)."""


def unanswered(certified: Mapping[str, str]) -> list[str]:
    """The points of the certification that nothing is said of.

    >>> unanswered({"facts": "confirmed", "own": " "})[:2]
    ['own', 'interest']
    """
    return [point for point in CERTIFICATION if not certified.get(point, "").strip()]


def complete(
    market: Market, entry: Entry, certified: Mapping[str, str], *, name: str, by: str, on: date | None = None
) -> int:
    """Complete an appraisal as its valuer; returns the number of the revision that is complete.

    ``certified`` answers every point of ``CERTIFICATION`` in the valuer's words, ``name`` is the valuer's as
    the record has it, ``by`` goes into the log, ``on`` is the day, today by default.

    Raises:
        AppraisalError: it is a model report, another person's, lacks or contradicts something, or a point is
            not answered.
        MarketError: somebody else has revised it meanwhile.
    """
    record = entry.record
    if record.assignment.kind == "model report":
        raise AppraisalError("a model report is never an appraisal, so there is nothing to complete")
    if not name.strip() or name.split() != record.valuer.name.split():
        raise AppraisalError(
            f"only the valuer completes an appraisal: valuer.name is {record.valuer.name!r}, got {name!r}"
        )
    unknown = sorted(set(certified) - set(CERTIFICATION))
    open_points = unanswered(certified)
    if unknown or open_points:
        which = f"no point {unknown[0]!r}" if unknown else f"not answered: {', '.join(open_points)}"
        raise AppraisalError(f"the certification: {which}; its points are {', '.join(CERTIFICATION)}")
    day = datetime.now(UTC).date() if on is None else on
    answers = {point: certified[point].strip() for point in CERTIFICATION}
    done = replace(record, valuer=replace(record.valuer, completed_on=day, certification=answers))
    against = [f"missing: {content.name}" for content in missing(done, entry.evidence)]
    against += [f"{each.sentence}: {each.mends}" for each in contradictions(done, entry.evidence)]
    if against:
        raise AppraisalError(f"{entry.appraisal_id} cannot be completed: {'; '.join(against)}")
    return keep_completed(market, entry, done, by=by)
