"""The evidence of an appraisal: gathered from the market once, then frozen with the record.

Everything that a document shows and that is not a person's word comes from here, so that the same record
gives the same numbers years later, whatever the market has learnt since.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cache, cached_property
from importlib.metadata import version
from typing import Any, Final, TypeVar

import polars as pl

from pricing.appraisal.earlier_sales import earlier_sales
from pricing.appraisal.findings import Budget, Findings
from pricing.appraisal.ratio_kinds import study_of_kind, valued_sales
from pricing.appraisal.record.record import Appraisal, answer_at
from pricing.appraisal.record.sections import CHANNEL_OF_LEVEL
from pricing.car import Car
from pricing.car_fields import CONDITION, FIELDS
from pricing.car_names import Names
from pricing.condition.assessment import InspectionResult
from pricing.condition.repairs import RepairCosts
from pricing.condition.score import UnseenWorst
from pricing.decisions.amounts import Conversion
from pricing.decisions.car_price import inspected
from pricing.decisions.valuation import Valuation, value_car
from pricing.errors import AppraisalError, EvidenceError, ModelError
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.comparables import COUNT, Comparables, find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.evidence.comparison.date_line import date_index
from pricing.evidence.indices.index import PriceIndex
from pricing.model.accuracy.ratio_study import RatioStudy
from pricing.model.explanation import Ground
from pricing.model.price_model import PriceModel
from pricing.snapshot import Snapshot

COVERAGE: Final = 0.8
"""Of the ranges, when the record says nothing."""

SALES_KEPT: Final = 40
"""Recorded sales of the model kept with the evidence and drawn beside the range, nearest first."""

SOFTWARE: Final = ("classic-car-pricing", "numpy", "polars", "duckdb", "scikit-learn")

Kind = TypeVar("Kind")


@dataclass(frozen=True)
class MarketState:
    """The market file as it was: ``sales`` and ``offers`` known by the effective date, their first and last
    day (None where there are none), ``later`` records of after it that were not looked at, and the ``digest``
    of all records. ``last_sale``, ``stale`` (whether the fit was behind the records) and ``opinions`` are
    what a warning of the market is made of; evidence of an earlier version has no day of its last sale."""

    base_currency: str
    digest: str
    sales: int
    offers: int
    first: date | None
    last: date | None
    later: int
    last_sale: date | None = None
    stale: bool = False
    opinions: int = 0


@dataclass(frozen=True)
class Evidence:
    """All of it. Amounts are all-in, in the market's base currency, at the effective date.

    ``comparables``, ``index`` and ``ratios`` are None where ``missing`` says why. ``ratios`` holds the
    comparable-sales approach against sales of cars of the subject's kind (``ratio_kind``), every one valued
    from the others, and ``ratio_kinds`` that of every kind (see ``ratio_kinds.study_of_kind``). ``fit_id`` is
    None for a fit made for the effective date and not kept. ``own_sales`` are earlier sales and offers of the
    subject itself (``earlier_sales``), None where there is no chassis number to look by.
    """

    gathered_on: date
    market: MarketState
    fit_id: str | None
    fit: dict[str, Any]
    valuation: Valuation
    comparables: Comparables | None
    index: PriceIndex | None
    ratios: RatioStudy | None
    missing: dict[str, str]
    conversion: Conversion
    findings: Findings | None
    budget: Budget | None
    software: dict[str, str]
    ratio_kind: str = ""
    ratio_kinds: pl.DataFrame | None = None
    own_sales: pl.DataFrame | None = None


FROZEN_KINDS: Final[dict[str, type]] = {
    kind.__name__: kind
    for kind in (Evidence, Ground, MarketState, Valuation, Comparables, Choice, PriceIndex, RatioStudy,
                 Conversion, Findings, UnseenWorst, Budget)
}  # fmt: skip
"""The dataclasses that frozen evidence may hold."""


@dataclass(frozen=True)
class Known:
    """What is known on a day, read from a market once: its sales, and a model that has seen no later ones."""

    base_currency: str
    own_rates: pl.DataFrame
    sales: pl.DataFrame
    opinions: pl.DataFrame
    state: MarketState
    model: PriceModel
    fit_id: str | None
    comparables_index: ComparablesIndex | None
    names: Names
    at: date

    @classmethod
    def on(cls, snapshot: Snapshot, at: date, fit_id: str | None = None) -> "Known":
        """Raises ``EvidenceError`` where nothing had been sold by then and nobody had said anything."""
        sales, model = snapshot.sales(as_of=at), snapshot.model
        indexed = None
        if not snapshot.opinion_alone:
            indexed = ComparablesIndex.build(sales, model, currency=snapshot.base_currency, as_of=at)
        sold = sales.filter(pl.col("outcome") == "sold")
        days: Any = sales["event_date"]
        last_sale: Any = sold["event_date"].max()
        opinions = snapshot.opinions(at)
        state = MarketState(
            base_currency=snapshot.base_currency,
            digest=snapshot.market.digest(),
            sales=sold.height,
            offers=sales.height - sold.height,
            first=days.min(),
            last=days.max(),
            later=snapshot.sales().height - sales.height,
            last_sale=last_sale,
            stale=fit_id is not None and snapshot.state.stale,
            opinions=opinions.height,
        )
        return cls(snapshot.base_currency, snapshot.market.own_rates(), sales, opinions, state,
                   model, fit_id, indexed, snapshot.names(at), at)  # fmt: skip

    @property
    def laid_out(self) -> ComparablesIndex:
        """The sales laid out for comparison. Raises ``EvidenceError`` where there are none."""
        if self.comparables_index is None:
            raise EvidenceError("no sales are laid out: the market is priced by opinion alone")
        return self.comparables_index

    @cached_property
    def index(self) -> PriceIndex:
        """The index that the grid's prices are moved by: the one of the tables and the letter too."""
        return date_index(self.laid_out.dates)

    @cached_property
    def valued(self) -> pl.DataFrame:
        """The market's sales valued from one another."""
        return valued_sales(self.laid_out, self.model)


def wanting(record: Appraisal) -> list[str]:
    """What must be said before evidence can be gathered.

    >>> wanting(Appraisal())[:2]
    ['subject.make', 'subject.model']
    """
    needed = (
        "subject.make", "subject.model", "subject.year", "assignment.market_level", "assignment.currency",
        "assignment.effective_date",
    )  # fmt: skip
    return [name for name in needed if answer_at(record, name) in ("", None)]


def terms_of(record: Appraisal) -> tuple[Any, ...]:
    """What the evidence of a record depends on: two records with equal terms share their evidence."""
    assignment, terms = record.assignment, record.evidence
    return (
        replace(record.subject, established={}, engine_number="", registration="", colour="", provenance=""),
        (assignment.market_level, assignment.currency, assignment.effective_date, assignment.rate_date),
        record.inspection.sheet, record.repairs,
        (terms.fit, terms.count, terms.coverage, terms.leave_out_unsure), record.choices,
    )  # fmt: skip


def gather(
    record: Appraisal,
    known: Known,
    *,
    inspection: InspectionResult | None = None,
    costs: RepairCosts | None = None,
    with_ratios: bool = True,
) -> Evidence:
    """The evidence for a record from what is ``known`` on its effective date.

    ``inspection`` takes the place of a condition that is said; ``costs`` are those of its repairs. The study
    of ratios takes a second or so and can be left out.

    Raises:
        AppraisalError: the record lacks what ``wanting`` lists, or the date is another one or still to come.
        CarError: the car cannot be, or the market knows no such make, model or variant.
        EvidenceError: a person's choice about a comparable makes no sense.
        MoneyError: there is no exchange rate.
    """
    car = Car.checked(subject_of(record), known=known.names, at=known.at)
    lacking = wanting(record)
    if lacking:
        raise AppraisalError(f"evidence cannot be gathered without {', '.join(lacking)}")
    assignment, terms = record.assignment, record.evidence
    at, today = known.at, datetime.now(UTC).date()
    if at != assignment.effective_date or at > today:
        raise AppraisalError(f"evidence is known at {at}; the effective date is {assignment.effective_date}")
    coverage = coverage_of(record)
    valuation = value_car(
        _Read(known.base_currency, known.sales, known.opinions), known.model, car, as_of=at,
        coverage=coverage, inspection=inspection,
    )  # fmt: skip
    missing: dict[str, str] = {}
    count = COUNT if terms.count is None else terms.count

    def compare() -> Comparables:
        return find_comparables(
            known.laid_out, inspected(car, inspection), as_of=at, count=count, coverage=coverage,
            choices=record.choices, leave_out_unsure=bool(terms.leave_out_unsure), with_support=with_ratios,
        )  # fmt: skip

    # What a person chose is not passed over where it fails.
    comparables = compare() if record.choices else _unless_missing(missing, "comparables", compare)
    index = _unless_missing(missing, "index", lambda: known.index)
    mid, study = None if valuation.mid is None else float(valuation.mid), None
    if with_ratios:
        study = _unless_missing(missing, "ratios", lambda: study_of_kind(known.valued, valuation.car, mid))
    ratios, kind, kinds = (None, "", None) if study is None else study
    rate_day = at if assignment.rate_date is None else assignment.rate_date
    return Evidence(
        gathered_on=today,
        market=known.state,
        fit_id=known.fit_id,
        fit=dict(known.model.facts),
        valuation=replace(valuation, sales=valuation.sales.head(SALES_KEPT)),
        comparables=comparables,
        index=index,
        ratios=ratios,
        ratio_kind=kind,
        ratio_kinds=kinds,
        missing=missing,
        conversion=Conversion.at(assignment.currency, known.base_currency, rate_day, known.own_rates),
        findings=None if inspection is None else Findings.of(inspection),
        budget=None if costs is None else Budget.of(costs, record.repairs.least),
        software=_software(),
        own_sales=earlier_sales(known.sales, vars(record.subject) | {"make": car.make}),
    )


@cache
def _software() -> dict[str, str]:
    """The versions of what the evidence is made with, read once a process."""
    return {name: version(name) for name in SOFTWARE}


def coverage_of(record: Appraisal) -> float:
    """Share of like cars that the ranges of a record are to hold.

    >>> coverage_of(Appraisal())
    0.8
    """
    stated = record.evidence.coverage
    return COVERAGE if stated is None else stated


def subject_of(record: Appraisal) -> dict[str, Any]:
    """What a record says of its car; the channel is that of the market level.

    >>> from pricing.appraisal.record.record import read_record
    >>> answers = {"subject": {"make": "Corvane"}, "assignment": {"market_level": "dealer"}}
    >>> car = subject_of(read_record(answers))
    >>> car["make"], car["channel"]
    ('Corvane', 'dealer')
    """
    left_out = {"channel", *(CONDITION if record.inspection.sheet else ())}
    of_car = {name: getattr(record.subject, name) for name in FIELDS if name not in left_out}
    return of_car | {"channel": CHANNEL_OF_LEVEL.get(record.assignment.market_level)}


@dataclass(frozen=True)
class _Read:
    """Sales and opinions that were read already, as ``value_car`` asks for them."""

    base_currency: str
    known_sales: pl.DataFrame
    stated: pl.DataFrame

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        return self.known_sales

    def opinions(self, as_of: date | None = None) -> pl.DataFrame:
        return self.stated


def _unless_missing(missing: dict[str, str], name: str, look: Callable[[], Kind]) -> Kind | None:
    """What ``look`` finds, or None with the reason under ``name``."""
    try:
        return look()
    except (EvidenceError, ModelError) as error:
        missing[name] = str(error)
        return None
