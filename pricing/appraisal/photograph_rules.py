"""What must hold of the photographs of an appraisal: rules of the consistency gate.

A photograph's day is that of its camera's clock, which may be wrong; where the camera wrote none, no rule of
days speaks of it. One day after is let pass, for a clock that is set to another zone of time.
"""

from collections.abc import Sized
from datetime import date, timedelta
from typing import Final

from pricing.appraisal.evidence import Evidence
from pricing.appraisal.record.record import Appraisal
from pricing.intake.duplicates import chassis_key

ZONES: Final = timedelta(days=1)
"""Exif's time says no zone: the day may be one off."""


def photographs_of_subject(record: Appraisal, _: Evidence) -> str:
    """Photographs that were taken in for a car of another chassis number."""
    own = record.subject.chassis_number
    if not own:
        return ""
    other = {
        number: shot.chassis
        for number, shot in enumerate(record.photographs, 1)
        if shot.chassis and chassis_key(shot.chassis) != chassis_key(own)
    }
    if not other:
        return ""
    whose = ", ".join(dict.fromkeys(other.values()))
    return f"{_named(list(other))} {_were(other)} taken in for chassis number {whose}, the subject is {own}"


def photographs_of_findings(record: Appraisal, evidence: Evidence) -> str:
    """Photographs that are tied to a check which the sheet does not have."""
    sheet = None if evidence.findings is None else evidence.findings.sheet
    known = set() if sheet is None or "check" not in sheet.columns else set(sheet["check"])
    loose = [number for number, shot in enumerate(record.photographs, 1) if shot.check not in {"", *known}]
    if not loose:
        return ""
    checks = ", ".join(dict.fromkeys(repr(record.photographs[number - 1].check) for number in loose))
    why = "there is no inspection sheet" if sheet is None else "the sheet has no such finding"
    return f"{_named(loose)} {_are(loose)} tied to the finding {checks}, and {why}"


def taken_by_inspection(record: Appraisal, _: Evidence) -> str:
    """Photographs of findings that were taken after the inspection."""
    return _taken_by(record, "the inspection", record.inspection.on, of_findings=True)


def taken_by_report(record: Appraisal, _: Evidence) -> str:
    """Photographs that were taken after the report date."""
    return _taken_by(record, "the report date", record.assignment.report_date)


def taken_by_completion(record: Appraisal, _: Evidence) -> str:
    """Photographs that were taken after the completion."""
    return _taken_by(record, "the completion", record.valuer.completed_on)


def photographs_there(record: Appraisal, _: Evidence) -> str:
    """A car that was valued from photographs none of which is kept."""
    if record.inspection.manner != "from photographs" or record.photographs:
        return ""
    return "the record says that the car was seen from photographs, and has none"


def _taken_by(record: Appraisal, what: str, day: date | None, *, of_findings: bool = False) -> str:
    if day is None:
        return ""
    late = {
        number: shot.taken_on
        for number, shot in enumerate(record.photographs, 1)
        if shot.taken_on is not None and shot.taken_on - day > ZONES and (shot.check or not of_findings)
    }
    if not late:
        return ""
    return f"{_named(list(late))} {_were(late)} taken on {max(late.values())}, after {what} ({day})"


def _named(numbers: list[int]) -> str:
    """Photographs by number.

    >>> _named([2]), _named([1, 2, 5])
    ('photograph 2', 'photographs 1, 2 and 5')
    """
    if len(numbers) == 1:
        return f"photograph {numbers[0]}"
    return f"photographs {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def _were(numbers: Sized) -> str:
    return "was" if len(numbers) == 1 else "were"


def _are(numbers: Sized) -> str:
    return "is" if len(numbers) == 1 else "are"
