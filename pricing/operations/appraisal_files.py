"""What an appraisal record names beside the market: its inspection sheet, its repair catalogue, a fit."""

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from pricing.appraisal.consistency import contradictions
from pricing.appraisal.evidence import Evidence, Known, gather, wanting
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry, needs_evidence, revise
from pricing.condition.assessment import InspectionResult, assess
from pricing.condition.catalogue import Catalogue
from pricing.condition.inspection_files import open_inspection
from pricing.condition.repairs import RepairCosts, price_repairs
from pricing.errors import AppraisalError
from pricing.operations.bundled import EXTENSIONS
from pricing.operations.opening import Display, fitted_market, no_display
from pricing.store.market import Market
from pricing.untrusted.photographs import ReadPhotograph


def known_on(market: Path, at: date, fit: str = "", display: Display = no_display) -> Known:
    """What the market knew on a day, with the fit of that id, the newest, or one made for an earlier day.

    Raises:
        MarketError: there is no such market or fit.
    """
    snapshot = fitted_market(market, at, fit if fit else None, display)
    newest = snapshot.market.fits().row(-1, named=True)
    kept = fit if fit else newest["fit_id"]
    made = not fit and at < date.fromisoformat(json.loads(newest["facts"])["last_date"])
    return Known.on(snapshot, at, None if made else kept)


def evidence_for(
    market: Path, record: Appraisal, extensions: Path = EXTENSIONS, display: Display = no_display
) -> Evidence | None:
    """The evidence for a record, gathered now; None while the record does not say enough to look for any.

    Raises:
        PricingError: a file it names cannot be read, or the evidence cannot be had.
    """
    at = record.assignment.effective_date
    if wanting(record) or at is None:
        return None
    known = known_on(market, at, record.evidence.fit, display)
    inspection = inspected(record, extensions)
    costs = repair_costs(record, inspection, known.base_currency)
    return gather(record, known, inspection=inspection, costs=costs)


def revised(
    market: Market,
    before: Entry,
    record: Appraisal,
    *,
    by: str,
    reason: str,
    anew: bool = False,
    photographs: Sequence[ReadPhotograph] = (),
    display: Display = no_display,
) -> int:
    """Keep a changed record as a revision, its evidence gathered anew where it asks for other evidence or
    ``anew`` is said; gives its number.

    Raises:
        PricingError: as ``evidence_for`` and ``register.revise``.
    """
    fresh = anew or needs_evidence(before, record)
    evidence = evidence_for(market.path, record, display=display) if fresh else before.evidence
    return revise(market, before, record, evidence, by=by, reason=reason, photographs=photographs)


def revision_facts(entry: Entry) -> dict[str, Any]:
    """What programs are told of a revision: which it is, who made it, and the rules that it breaks."""
    names = ("appraisal_id", "revision", "evidence_digest", "made_at", "made_by")
    return {
        **{name: getattr(entry, name) for name in names},
        "completed": entry.record.completed,
        "contradictions": contradictions(entry.record, entry.evidence),
    }


def inspected(record: Appraisal, extensions: Path = EXTENSIONS) -> InspectionResult | None:
    """The assessed inspection sheet of a record, if it names one."""
    if not record.inspection.sheet:
        return None
    return assess(open_inspection(Path(record.inspection.sheet), extensions=extensions))


def repair_costs(record: Appraisal, inspection: InspectionResult | None, currency: str) -> RepairCosts | None:
    """What the repairs of an inspected car would cost, if the record names a catalogue."""
    repairs = record.repairs
    if not repairs.catalogue:
        return None
    if inspection is None:
        raise AppraisalError(
            "repairs.catalogue: a repair budget needs an inspection sheet; inspection.sheet is empty"
        )
    country, catalogue = repairs.country or record.subject.country, Catalogue.open(Path(repairs.catalogue))
    return price_repairs(inspection, catalogue, country=country, currency=currency)
