"""What an inspection and a repair budget came to, as an appraisal keeps them: no draws, only conclusions."""

from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import repair_budget
from pricing.condition.checks import STATES
from pricing.condition.repairs import RepairCosts
from pricing.condition.score import UnseenWorst

IDENTITY: Final = ("make", "model", "variant", "year", "chassis_number")
"""What a sheet may say of the car that it is of."""


@dataclass(frozen=True)
class Findings:
    """An inspection's conclusions.

    ``sheet`` is a row a check (check, area, title, state, note, photo, seen_by, seen_on; without check in
    evidence of an earlier version); ``holding`` the findings
    that hold the score down (title, state, points); ``papers`` those about what the car is (title, state,
    note); ``bands`` the share of each condition band; low, mid, high are P10, P50 and P90 of the score,
    ``general_cautions`` are those of ``cautions`` that are of the sheet as a whole (none in evidence of an
    earlier version), ``if_unseen_worst`` the same were what was not seen the worst of the car, and ``car``
    what the sheet says that it is of (empty in evidence of an earlier version).
    """

    construction: str
    score: float
    band: str
    low: float
    mid: float
    high: float
    structure_cap: float
    seen_share: float
    bands: dict[str, float]
    sheet: pl.DataFrame
    holding: pl.DataFrame
    papers: pl.DataFrame
    changes: tuple[str, ...]
    preservation: str | None
    originality: str
    cautions: tuple[str, ...]
    if_unseen_worst: UnseenWorst | None = None
    car: dict[str, Any] = field(default_factory=dict)
    general_cautions: tuple[str, ...] = ()

    @classmethod
    def of(cls, result: InspectionResult) -> "Findings":
        """The conclusions of an assessed inspection."""
        inspection = result.inspection
        low, mid, high = result.quantiles()
        return cls(
            construction=inspection.sheet.construction,
            score=result.score,
            band=result.band,
            low=low,
            mid=mid,
            high=high,
            structure_cap=result.structure_cap,
            seen_share=inspection.seen_share,
            bands=result.band_shares,
            sheet=inspection.frame().select(
                "check", "area", "title", "state", "note", "photo", "seen_by", "seen_on"
            ),
            holding=result.holding.select("title", "state", "points").head(8),
            papers=result.papers.select("title", "state", "note"),
            changes=tuple(change.item for change in inspection.changes),
            preservation=inspection.preservation,
            originality=result.originality,
            cautions=tuple(result.cautions),
            if_unseen_worst=result.if_unseen_worst,
            car={name: inspection.car.get(name) for name in IDENTITY},
            general_cautions=inspection.sheet.general_cautions,
        )


@dataclass(frozen=True)
class Budget:
    """A repair budget: P10, P50 and P80 of the total, all taxes in; ``lines`` dearest first (title, area,
    reason, expected)."""

    currency: str
    country: str
    on: date
    catalogue: str
    notice: str
    least: str
    p10: Decimal
    p50: Decimal
    p80: Decimal
    expected: Decimal
    certain: Decimal
    hidden: Decimal
    areas: pl.DataFrame
    lines: pl.DataFrame
    without_job: tuple[str, ...]

    @classmethod
    def of(cls, costs: RepairCosts, least: str) -> "Budget":
        """The budget to put right what is at least as bad as ``least``; the second worst state where that is
        not said."""
        least = least if least else STATES[2]
        budget = repair_budget(costs, least=least)
        own: dict[str, Any] = {
            "catalogue": costs.catalogue.name,
            "least": least,
            "areas": budget.areas.select("area", "p10", "p50", "p80", "expected"),
            "lines": budget.lines.select("title", "area", "reason", "expected").head(12),
        }
        return cls(
            **own, **{part.name: getattr(budget, part.name) for part in fields(cls) if part.name not in own}
        )
