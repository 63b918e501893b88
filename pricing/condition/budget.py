"""The repair budget of an inspected car: a distribution by area and by item, not a number."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.condition.checks import AREAS, STATES, bad_state
from pricing.condition.repairs import RepairCosts
from pricing.money.currencies import minor_unit_places


@dataclass(frozen=True, eq=False)
class RepairBudget:
    """What it takes to put the car right.

    ``p10``, ``p50`` and ``p80`` of the total, all taxes in, in ``currency`` at prices of ``on``. ``areas`` is
    a frame of area, p10, p50, p80, expected; ``lines`` of job, title, area, reason, chance, when (what it
    costs on average where it comes), expected, certain, quoted, dearest first. ``certain`` is the expected
    cost of what was seen, ``hidden`` that of what was not. ``without_job`` are findings that no job leads
    from: not in the total. ``notice`` belongs beside every figure.
    """

    draws: Floats
    p10: Decimal
    p50: Decimal
    p80: Decimal
    expected: Decimal
    certain: Decimal
    hidden: Decimal
    areas: pl.DataFrame
    lines: pl.DataFrame
    without_job: tuple[str, ...]
    currency: str
    country: str
    on: date
    notice: str

    def top(self, rows: int = 10) -> pl.DataFrame:
        """The items that matter most to the total."""
        return self.lines.head(rows)


_LEVELS: Final = (0.1, 0.5, 0.8)


def repair_budget(costs: RepairCosts, *, least: str = "needs repair") -> RepairBudget:
    """The budget to put right every finding that is at least as bad as ``least`` (one of ``STATES``).

    Raises ``InspectionError`` for an unknown state.
    """
    result, worst = costs.result, bad_state(least)
    mended = result.states >= worst
    count = costs.times(mended)
    paid = count * costs.unit
    total = paid.sum(axis=1)
    seen = result.items.states >= worst
    certain = float(costs.total(mended & seen).mean())
    places = minor_unit_places(costs.currency)

    def money(value: float) -> Decimal:
        return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places)) + 0  # no minus nought

    by_area = np.array([paid[:, [job.area == area for job in costs.jobs]].sum(axis=1) for area in AREAS])
    levels, quantiles = np.quantile(total, _LEVELS), np.quantile(by_area, _LEVELS, axis=1)
    quoted = {quote.job for quote in costs.quotes}
    known = costs.times(mended & seen).max(axis=0, initial=0) > 0
    lines = pl.DataFrame(
        {
            "job": [job.id for job in costs.jobs],
            "title": [job.title for job in costs.jobs],
            "area": [job.area for job in costs.jobs],
            "reason": _reasons(costs),
            "chance": (count > 0).mean(axis=0),
            "when": paid.sum(axis=0) / np.maximum((count > 0).sum(axis=0), 1),
            "expected": paid.mean(axis=0),
            "certain": known,
            "quoted": [job.id in quoted for job in costs.jobs],
        }
    )
    p10, p50, p80 = quantiles
    areas = pl.DataFrame(
        {"area": AREAS, "p10": p10, "p50": p50, "p80": p80, "expected": by_area.mean(axis=1)}
    )
    unpriced = ~np.isfinite(costs.expected_by_state())
    return RepairBudget(
        draws=total,
        p10=money(levels[0]),
        p50=money(levels[1]),
        p80=money(levels[2]),
        expected=money(total.mean()),
        certain=money(certain),
        hidden=money(total.mean() - certain),
        areas=areas.filter(pl.col("expected") > 0),
        lines=lines.filter(pl.col("expected") > 0).sort("expected", descending=True),
        without_job=tuple(
            result.items.ids[place]
            for place in np.flatnonzero(seen)
            if unpriced[place, result.items.states[place]]
        ),
        currency=costs.currency,
        country=costs.country,
        on=costs.on,
        notice=costs.catalogue.notice,
    )


def _reasons(costs: RepairCosts) -> list[str]:
    """For each line the items that call for it in some draw, at most three by name."""
    titles = {check.id: check.title for check in costs.result.inspection.sheet.scored}
    items: list[dict[str, None]] = [{} for _ in costs.jobs]
    reached = np.array([(costs.result.states == state).any(axis=0) for state in range(len(STATES))])
    for item, state, line, _ in costs.calls:
        if reached[state, item]:
            name = costs.result.items.ids[item]
            items[line][titles.get(name, name)] = None
    return [
        "; ".join(list(names)[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        for names in items
    ]
