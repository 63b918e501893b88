"""What of the evidence is newer than the effective date: a document names it, a valuer accounts for it."""

from datetime import date

from pricing.appraisal.evidence import Evidence
from pricing.appraisal.record.record import Appraisal


def newer_evidence(record: Appraisal, evidence: Evidence, days: int = 0) -> list[str]:
    """What is newer than the effective date by more than so many days, each with its day.

    Sales never are: only those known by the effective date are looked at.
    """
    at = record.assignment.effective_date
    if at is None:
        return []
    found, budget = evidence.findings, evidence.budget
    last = None if found is None else found.sheet["seen_on"].max()
    taken = max((shot.taken_on for shot in record.photographs if shot.taken_on is not None), default=None)
    dated = {
        "the inspection": record.inspection.on,
        "entries of the inspection sheet": last if isinstance(last, date) else None,
        "photographs": taken,
        "repair prices": None if budget is None else budget.on,
        "the exchange rate": evidence.conversion.rate_date,
    }
    return [f"{name} of {day}" for name, day in dated.items() if day is not None and (day - at).days > days]
