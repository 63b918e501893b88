"""From findings to repair jobs to a repair budget: a distribution, not a number.

Every draw of an inspection's states calls for jobs; each job costs parts and hours drawn from their
three-point estimates. Costs within an area are correlated (a rusty car is rusty all over; a Gaussian copula
with one factor an area), so a budget is wider than the sum of independent lines. What was not seen is in it
with its own chance.

A three-point estimate is a PERT distribution (Malcolm, Roseboom, Clark and Fazar 1959, from memory). With low
``a``, likely ``m`` and high ``b``: mean ``(a + 4m + b) / 6``; published deviation ``(b - a) / 6``. What is
drawn is the beta on ``[a, b]`` with shapes ``1 + 4 (m - a) / (b - a)`` and ``1 + 4 (b - m) / (b - a)``, whose
mean is exactly that and whose deviation is ``sqrt((mean - a) (b - mean) / 7)``, at most 1.14 times the
published one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtr

from pricing.arrays import Bools, Floats
from pricing.condition.assessment import InspectionResult
from pricing.condition.catalogue import Catalogue, Job, Quote
from pricing.condition.checks import AREAS, STATES, Check
from pricing.errors import InspectionError, MoneyError
from pricing.money.currencies import minor_unit_places, with_rates


def pert_mean(low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """Mean of the estimate, element by element.

    >>> float(pert_mean(2, 5, 14))
    6.0
    """
    return np.asarray((np.asarray(low) + 4.0 * np.asarray(likely) + np.asarray(high)) / 6.0)


def pert_quantile(level: ArrayLike, low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """Quantile of the estimate at ``level`` (0 to 1); arguments broadcast. A width of nought gives that
    value.

    >>> pert_quantile([0.0, 0.5, 1.0], 2, 5, 14).round(3).tolist()
    [2.0, 5.766, 14.0]
    """
    bottom, middle, top = (np.asarray(value, dtype=np.float64) for value in (low, likely, high))
    width = np.where(top > bottom, top - bottom, 1.0)
    first, second = 1.0 + 4.0 * (middle - bottom) / width, 1.0 + 4.0 * (top - middle) / width
    share = np.asarray(level, dtype=np.float64)
    share = np.where(share < 1e-100, 0.0, share)  # scipy gives nan at the very smallest
    return np.asarray(bottom + (top - bottom) * betaincinv(first, second, share))


_SCORES = np.linspace(-5.0, 5.0, 401)
_STEP = _SCORES[1] - _SCORES[0]


def pert_at_score(score: Floats, low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """The estimate of each column at standard normal scores of shape (draws, columns): ``pert_quantile`` of
    their probability, linear between 401 scores from -5 to 5.

    >>> pert_at_score(np.array([[-9.0], [0.0], [9.0]]), [2], [5], [14]).round(2).ravel().tolist()
    [2.0, 5.77, 14.0]
    """
    bounds = [np.asarray(value, dtype=np.float64) for value in (low, likely, high)]
    table = pert_quantile(ndtr(_SCORES)[:, None], *bounds)
    table[0], table[-1] = bounds[0], bounds[2]
    place = np.clip((score - _SCORES[0]) / _STEP, 0.0, len(_SCORES) - 1.0)
    below = np.minimum(place.astype(np.intp), len(_SCORES) - 2)
    columns = np.arange(score.shape[1])
    part = place - below
    return np.asarray((1.0 - part) * table[below, columns] + part * table[below + 1, columns])


CORRELATION = 0.5
"""Correlation of the normal scores of two costs in one area: an assumption, not an estimate."""

CHANGE_JOBS = "upgrades_workmanship"
"""The check whose jobs put right a change that was done badly."""


@dataclass(frozen=True, eq=False)
class RepairCosts:
    """What every repair of one inspected car would cost, drawn once; budgets and decisions sum over it.

    A line is a job at one finding (``per`` "place") or for the car. ``calls`` says which line is called for
    by which item in which state; ``unit`` is the cost of each line in each draw, all taxes in, in
    ``currency``.
    """

    result: InspectionResult
    catalogue: Catalogue
    country: str
    currency: str
    on: date
    jobs: tuple[Job, ...]
    calls: tuple[tuple[int, int, int, int], ...]
    """(item, state, line, times)."""
    unit: Floats
    expected: Floats
    """Expected cost of each line by the catalogue, shape (lines,); quotes are left out, so that what is
    mended for a goal does not change with them and a dearer quote never lowers a budget."""
    quotes: tuple[Quote, ...]

    def times(self, mended: Bools) -> NDArray[np.int16]:
        """How often each line is paid in each draw, shape (draws, lines), when the items of ``mended``
        (draws, items) are put right."""
        count = np.zeros(self.unit.shape[::-1], dtype=np.int16)  # a line's draws beside each other
        any_mended, by_item = np.asarray(mended.any(axis=0)), np.ascontiguousarray(mended.T)
        states = np.ascontiguousarray(self.result.states.T)
        for item, state, line, times in self.calls:
            if any_mended[item]:
                count[line] += times * (by_item[item] & (states[item] == state))
        by_job: dict[str, list[int]] = {}
        for line, job in enumerate(self.jobs):
            by_job.setdefault(job.id, []).append(line)
            if job.per == "car":
                np.minimum(count[line], 1, out=count[line])
        for line, job in enumerate(self.jobs):
            paid = count[line] > 0 if job.includes else None
            for name in job.includes:
                for other in by_job.get(name, []):
                    count[other, paid] = 0
        return count.T

    def total(self, mended: Bools) -> Floats:
        """Cost of putting the items of ``mended`` right, shape (draws,)."""
        return np.einsum("ij,ij->i", self.times(mended), self.unit)

    def expected_by_state(self) -> Floats:
        """Expected cost of putting each item right by itself from each state, shape (items, states); nought
        for sound, infinite where no job leads there."""
        cost = np.full((len(self.result.items.ids), len(STATES)), np.inf)
        cost[:, 0] = 0.0
        for item, state, line, times in self.calls:
            known = cost[item, state] if np.isfinite(cost[item, state]) else 0.0
            cost[item, state] = known + times * self.expected[line]
        return cost


def price_repairs(
    result: InspectionResult,
    catalogue: Catalogue,
    *,
    country: str,
    currency: str | None = None,
    own_rates: pl.DataFrame | None = None,
    quotes: Sequence[Quote] = (),
    correlation: float = CORRELATION,
    seed: int = 0,
) -> RepairCosts:
    """Draw the cost of every repair that the states of an inspection may call for.

    ``country`` (ISO 3166-1) chooses labour rates and tax; ``currency`` is the one to count in (None: the
    catalogue's), converted at the catalogue's date, or a quote's own, by the reference rates or by
    ``own_rates`` (currency, rate_date, rate: units for one unit of ``currency``). Raises ``InspectionError``
    for an unknown job, a missing labour or tax rate, and ``MoneyError`` for a missing currency rate.
    """
    if not 0 <= correlation < 1:
        raise InspectionError(f"correlation must be at least 0 and below 1, got {correlation}")
    target = catalogue.currency if currency is None else currency
    minor_unit_places(target)
    quoted = {quote.job: quote for quote in quotes}
    for name in quoted:
        catalogue.job(name)
    lines, calls = _lines(result, catalogue)
    tax = 1.0 + float(catalogue.tax_rate(country))
    labour = catalogue.labour_currency.get(country, target)
    rates = _rates(
        {(catalogue.currency, catalogue.price_date), (labour, catalogue.price_date)}
        | {(quote.currency, quote.quoted_on) for quote in quotes},
        target,
        own_rates,
    )
    parts = np.zeros((3, len(lines)))
    work = np.zeros((3, len(lines)))
    for line, job in enumerate(lines):
        rate = float(catalogue.labour_rate(country, job.kind)) * rates[labour, catalogue.price_date] * tax
        unit = rates[catalogue.currency, catalogue.price_date] * tax
        parts[:, line] = [float(step) * unit for step in job.parts]
        work[:, line] = [float(step) * rate for step in job.hours]
    expected = pert_mean(*parts) + pert_mean(*work)
    for line, job in enumerate(lines):
        if job.id in quoted:
            quote = quoted[job.id]
            parts[:, line] = [float(step) * rates[quote.currency, quote.quoted_on] for step in quote.amount]
            work[:, line] = 0.0
    areas = np.array([AREAS.index(job.area) for job in lines], dtype=np.intp)
    rng = np.random.default_rng([seed, 2])
    draws = len(result.draws)
    shared = np.sqrt(correlation) * rng.standard_normal((draws, len(AREAS)))[:, areas]
    own = np.sqrt(1.0 - correlation)
    unit_cost = pert_at_score(shared + own * rng.standard_normal((draws, len(lines))), *parts)
    unit_cost += pert_at_score(shared + own * rng.standard_normal((draws, len(lines))), *work)
    return RepairCosts(
        result=result,
        catalogue=catalogue,
        country=country,
        currency=target,
        on=catalogue.price_date,
        jobs=lines,
        calls=calls,
        unit=unit_cost,
        expected=expected,
        quotes=tuple(quotes),
    )


def _lines(
    result: InspectionResult, catalogue: Catalogue
) -> tuple[tuple[Job, ...], tuple[tuple[int, int, int, int], ...]]:
    """The lines, and which item in which state calls for which of them how often."""
    sheet = result.inspection.sheet
    checks: dict[int, Check] = dict(enumerate(sheet.scored))
    places: dict[tuple[str, int], int] = {}
    lines: list[Job] = []
    calls: list[tuple[int, int, int, int]] = []
    for item in range(len(result.items.ids)):
        check = checks[item] if item in checks else sheet.check(CHANGE_JOBS)
        for state, names in check.jobs.items():
            for name in dict.fromkeys(names):
                if name not in catalogue.jobs:
                    raise InspectionError(
                        f"unknown job {name!r}, which check {check.id!r} leads to: "
                        f"not in the repair catalogue {catalogue.name!r}"
                    )
                job = catalogue.jobs[name]
                key = (name, item if job.per == "place" else -1)
                if key not in places:
                    places[key] = len(lines)
                    lines.append(job)
                calls.append((item, STATES.index(state), places[key], names.count(name)))
    return tuple(lines), tuple(calls)


def _rates(
    wanted: set[tuple[str, date]], target: str, own_rates: pl.DataFrame | None
) -> dict[tuple[str, date], float]:
    """Units of ``target`` for one unit of each currency on each day."""
    frame = pl.DataFrame(sorted(wanted), schema={"currency": pl.String, "event_date": pl.Date}, orient="row")
    rates = with_rates(frame, target, own_rates)
    missing = rates.filter(pl.col("units").is_null())
    if not missing.is_empty():
        currency, day = missing.select("currency", "event_date").row(0)
        raise MoneyError(f"no rate from {currency} to {target} on {day}: give your own dated rate")
    value = rates["base_units"] / rates["units"]
    return {
        key: float(rate)
        for key, rate in zip(rates.select("currency", "event_date").rows(), value, strict=True)
    }
