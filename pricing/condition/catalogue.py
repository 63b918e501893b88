"""The repair catalogue: jobs with their parts and hours, labour rates by kind of work and country, and taxes.

One TOML file that a person edits. Money in it is without tax, in the currency it names, at the date it names.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from pricing.condition.checks import AREAS
from pricing.errors import FileError, InspectionError
from pricing.money.currencies import minor_unit_places
from pricing.plugins import CATALOGUES, plugged_file
from pricing.records.entered_amounts import entered
from pricing.untrusted.documents import read_toml

LABOUR_KINDS: Final = ("welding", "body", "paint", "mechanical", "electrical", "trim")
"""Kinds of work, each with its own rate an hour."""

Estimate = tuple[Decimal, Decimal, Decimal]
"""Low, likely, high."""


@dataclass(frozen=True)
class Job:
    """One repair: ``parts`` (without tax, the catalogue's currency) and ``hours`` of one ``kind`` of work,
    both low / likely / high. ``per`` "place" is paid for each finding that leads to it, "car" once; jobs it
    ``includes`` need not be done beside it."""

    id: str
    title: str
    area: str
    kind: str
    per: str
    parts: Estimate
    hours: Estimate
    includes: tuple[str, ...]


@dataclass(frozen=True)
class Quote:
    """What somebody offered to do a job for, low / likely / high (all equal when fixed): parts, work and tax
    together. It overrides the catalogue."""

    job: str
    amount: Estimate
    currency: str
    by: str
    quoted_on: date


@dataclass(frozen=True)
class Catalogue:
    """A repair catalogue. ``notice`` is shown with every figure that comes from it."""

    name: str
    notice: str
    currency: str
    price_date: date
    tax: dict[str, Decimal]
    labour_currency: dict[str, str]
    labour: dict[tuple[str, str], Decimal]
    """Rate an hour by (country, kind), in ``labour_currency[country]``."""
    jobs: dict[str, Job]

    @classmethod
    def open(cls, path: Path) -> "Catalogue":
        """Read a catalogue file, or the catalogue of that name that a package adds (``plugins.CATALOGUES``).
        Raises ``InspectionError`` that names the job and the figure it refuses."""
        path = plugged_file(CATALOGUES, path)
        content = _read(path)
        if unknown := sorted(set(content) - {"catalogue", "tax", "labour", "job"}):
            raise InspectionError(f"{path}: unknown table {unknown[0]!r}")
        head = content.get("catalogue")
        if not isinstance(head, dict) or set(head) != {"name", "notice", "currency", "price_date"}:
            raise InspectionError(
                f"{path}: [catalogue] needs name, notice, currency and price_date, nothing else"
            )
        if not isinstance(head["price_date"], date) or not isinstance(head["notice"], str):
            raise InspectionError(f"{path}: price_date must be a date and notice a text")
        minor_unit_places(head["currency"])
        tax = {
            country: _figure(path, f"tax of {country}", rate)
            for country, rate in _table(path, content, "tax")
        }
        currencies: dict[str, str] = {}
        labour: dict[tuple[str, str], Decimal] = {}
        for country, rates in _table(path, content, "labour"):
            if not isinstance(rates, dict) or not isinstance(rates.get("currency"), str):
                raise InspectionError(f"{path}: [labour.{country}] needs a currency")
            minor_unit_places(rates["currency"])
            currencies[country] = rates["currency"]
            for kind, rate in rates.items():
                if kind not in (*LABOUR_KINDS, "currency"):
                    raise InspectionError(f"{path}: [labour.{country}]: unknown kind of work {kind!r}")
                if kind != "currency":
                    labour[country, kind] = _figure(path, f"labour rate {kind} of {country}", rate)
        jobs: dict[str, Job] = {}
        rows = content.get("job", [])
        for row in rows if isinstance(rows, list) else [rows]:
            job = _job(path, row)
            if job.id in jobs:
                raise InspectionError(f"{path}: job {job.id!r} stands there twice")
            jobs[job.id] = job
        for job in jobs.values():
            if missing := [name for name in job.includes if name not in jobs]:
                raise InspectionError(f"{path}: job {job.id!r} includes the unknown job {missing[0]!r}")
        return cls(
            name=str(head["name"]),
            notice=head["notice"],
            currency=head["currency"],
            price_date=head["price_date"],
            tax=tax,
            labour_currency=currencies,
            labour=labour,
            jobs=jobs,
        )

    def job(self, job_id: str) -> Job:
        """The job of that id. Raises ``InspectionError`` naming an unknown one."""
        if job_id not in self.jobs:
            raise InspectionError(f"unknown job {job_id!r}: not in the repair catalogue {self.name!r}")
        return self.jobs[job_id]

    def labour_rate(self, country: str, kind: str) -> Decimal:
        """Labour rate an hour without tax. Raises ``InspectionError`` where the catalogue has none."""
        if (country, kind) not in self.labour:
            raise InspectionError(
                f"no labour rate for {kind!r} in country {country!r} in the repair catalogue {self.name!r}"
            )
        return self.labour[country, kind]

    def tax_rate(self, country: str) -> Decimal:
        """Tax as a share of the price without it. Raises ``InspectionError`` where the catalogue has none."""
        if country not in self.tax:
            raise InspectionError(
                f"no tax rate for country {country!r}: not in the repair catalogue {self.name!r}"
            )
        return self.tax[country]


def read_quotes(path: Path) -> tuple[Quote, ...]:
    """The user's own quotes: a TOML file with a ``[[quote]]`` of job, amount (one figure or low / likely /
    high, tax included), currency, by and quoted_on each. Raises ``InspectionError`` naming what it
    refuses."""
    content = _read(path)
    rows = content.get("quote", [])
    if set(content) - {"quote"} or not isinstance(rows, list):
        raise InspectionError(f"{path}: a file of quotes holds [[quote]] and nothing else")
    quotes = []
    keys = {"job", "amount", "currency", "by", "quoted_on"}
    for row in rows:
        if not isinstance(row, dict) or set(row) != keys or not isinstance(row["job"], str):
            raise InspectionError(
                f"{path}: quote {str(row)[:80]}: needs {', '.join(sorted(keys))}, nothing else"
            )
        if not isinstance(row["quoted_on"], date):
            raise InspectionError(f"{path}: quote for {row['job']!r}: quoted_on must be a date")
        minor_unit_places(row["currency"])
        amount = row["amount"] if isinstance(row["amount"], list) else [row["amount"]] * 3
        quotes.append(
            Quote(
                job=row["job"],
                amount=_estimate(path, row["job"], "amount", amount),
                currency=row["currency"],
                by=str(row["by"]),
                quoted_on=row["quoted_on"],
            )
        )
    return tuple(quotes)


def quotes_of(amounts: Mapping[str, Decimal], currency: str, on: date) -> tuple[Quote, ...]:
    """Quotes as a person enters them: a fixed amount a job, tax included.

    Raises:
        MoneyError: an amount cannot be meant.

    >>> quotes_of({"engine_rebuild": Decimal(4500)}, "EUR", date(2026, 6, 30))[0].amount[1]
    Decimal('4500')
    """
    for job, amount in amounts.items():
        entered(f"quote for {job.replace('_', ' ')}", amount, currency, cost=True)
    return tuple(Quote(job, (amount,) * 3, currency, "", on) for job, amount in amounts.items())


def _job(path: Path, row: Any) -> Job:
    """One ``[[job]]`` of a catalogue."""
    name = row.get("id") if isinstance(row, dict) else None
    if not isinstance(name, str) or not name:
        raise InspectionError(f"{path}: a job without an id")
    keys = {"id", "title", "area", "kind", "per", "parts", "hours"}
    if set(row) - {"includes"} != keys:
        wrong = sorted((set(row) - {"includes"}) ^ keys)
        raise InspectionError(f"{path}: job {name!r}: missing or unknown key {wrong[0]!r}")
    for key, allowed in (("area", AREAS), ("kind", LABOUR_KINDS), ("per", ("car", "place"))):
        if row[key] not in allowed:
            raise InspectionError(
                f"{path}: job {name!r}: {key} is {row[key]!r}, expected {', '.join(allowed)}"
            )
    includes = row.get("includes", [])
    if not isinstance(includes, list) or not all(isinstance(item, str) for item in includes):
        raise InspectionError(f"{path}: job {name!r}: includes must be a list of job names")
    return Job(
        id=name,
        title=str(row["title"]),
        area=row["area"],
        kind=row["kind"],
        per=row["per"],
        parts=_estimate(path, name, "parts", row["parts"]),
        hours=_estimate(path, name, "hours", row["hours"]),
        includes=tuple(includes),
    )


def _estimate(path: Path, job: str, what: str, figures: Any) -> Estimate:
    """Low, likely, high: finite, not negative, in order."""
    if not isinstance(figures, list) or len(figures) != 3:
        raise InspectionError(
            f"{path}: job {job!r}: {what} must be low, likely, high, got {str(figures)[:60]}"
        )
    low, likely, high = (_figure(path, f"job {job!r}: {what}", figure) for figure in figures)
    if not low <= likely <= high:
        raise InspectionError(f"{path}: job {job!r}: {what} must rise, got {low} / {likely} / {high}")
    return low, likely, high


def _figure(path: Path, what: str, figure: Any) -> Decimal:
    """A finite figure that is not negative, exactly as written."""
    if isinstance(figure, bool) or not isinstance(figure, int | Decimal):
        raise InspectionError(f"{path}: {what}: got {str(figure)[:40]!r}, expected a number")
    value = Decimal(figure)
    if not value.is_finite() or not 0 <= value < 10**9:
        raise InspectionError(f"{path}: {what}: got {value}, expected a number from 0 to below 1,000,000,000")
    return value


def _table(path: Path, content: dict[str, Any], name: str) -> list[tuple[str, Any]]:
    table = content.get(name)
    if not isinstance(table, dict) or not table:
        raise InspectionError(f"{path}: [{name}] is missing")
    return list(table.items())


def _read(path: Path) -> dict[str, Any]:
    try:
        return read_toml(path, decimals=True)
    except FileError as error:
        raise InspectionError(str(error)) from None
