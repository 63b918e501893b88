"""A full appraisal record of a car of the small market, its entry, and texts to be shown and nothing more."""

import io
import os
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, Final

import pdfplumber
import polars as pl
import pytest
from pdfminer.pdftypes import resolve1

from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.evidence import Evidence, Known, gather
from pricing.appraisal.record.record import Appraisal, read_record
from pricing.appraisal.register import Entry, enter, read
from pricing.condition.assessment import assess
from pricing.condition.inspection import Change, Finding, Inspection
from pricing.condition.repairs import price_repairs
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.condition.walks import catalogue
from tests.small_market import common_car

ARABIC: Final = "\u0633\u064a\u0627\u0631\u0629 \u0642\u062f\u064a\u0645\u0629"
HEBREW: Final = "\u05e9\u05dc\u05d5\u05dd"
CAR_SIGN: Final = "\U0001f697"
HOSTILE: Final = {
    "markup": "<b>bold</b> &amp; *stars* _lines_ = head #eval(\"1\") $x^2$ `code` // note [link] @ref \\ end",
    "formula": '=HYPERLINK("http://example.invalid","x")',
    "template": "{{ 7 * 7 }} ${HOME} %s {0} {% raw %}",
    "long word": "W" * 300,
    "right to left": f"{ARABIC} {HEBREW} left again",
    "emoji": f"a car {CAR_SIGN} here",
    "reordering": "name \u202egnp.exe",
    "control": "one\x00two\x1b[31m three",
    "script link": (
        "javascript:alert(1) [go](javascript:alert(1)) <a href='javascript:alert(1)'>go</a> http://x.invalid/"
    ),
    "steering": "a\u202db\u2066c\u200fd\u061ce\x9b31m\x07 f",
    "quotes": "'\"; DROP TABLE appraisals; -- \u201cround\u201d",
}  # fmt: skip
"""Texts that must be shown as text, whatever they would be elsewhere."""


def full_record(car: dict[str, Any], at: date, **changes: Any) -> Appraisal:
    """A record with every required content, the opinion a single figure; ``changes`` are section.field, the
    point written as two low lines."""
    content: dict[str, Any] = {
        "assignment": {
            "kind": "appraisal", "client": "Client Alpha", "intended_users": "Users Beta",
            "intended_use": "Use Gamma", "interest": "Interest Delta", "basis": "market value",
            "basis_definition": "Definition Epsilon", "basis_source": "Source Zeta",
            "market_level": "private", "currency": "GBP", "tax_status": "Tax Eta",
            "effective_date": at, "report_date": date(2026, 11, 2), "scope": "Scope Theta",
            "not_done": "Omission Iota", "helpers": "Helper Kappa", "exposure_time": "Exposure Lambda",
            "limits": "Limit Mu", "premise": "current use", "level_reason": "Level Reason",
            "retrospective": "Retrospective Past", "liability": "Liability Bound",
            "prior_services": "Services Before", "conflicts": "Conflicts None Known",
            "fee_basis": "Fee By The Hour",
        },
        "subject": {
            **{name: car[name] for name in ("make", "model", "variant", "year", "odometer_km", "options")},
            "chassis_number": "CH-55-Nu", "condition_band": car["condition_band"], "country": "GB",
            "established": {name: f"by {name} Xi" for name in ("make", "model", "year", "chassis_number")},
        },
        "inspection": {
            "manner": "in person", "by": "Looker Omicron", "on": "2026-06-20", "extent": "Extent Pi",
            "sheet_chassis": "CH 55 nu",
        },
        "conditions": {"extraordinary": ["Assumption Rho"], "hypothetical": ["Condition Sigma"]},
        "evidence": {
            "gathered_later": "Gathered Later", "newer": "Newer Accounted",
            "data_quality": "Data Checked", "outside_factors": "Outside Factors",
            "model_governance": "Model Kept",
        },
        "opinion": {
            "departure": "Departure Told", "uncertainty": "Uncertainty Stated",
            "reconciliation": "Reasoning Tau", "approaches_left_out": "Left out Upsilon", "figure": 7350,
        },
        "valuer": {"name": "Valuer Phi", "qualifications": "Titles Chi", "contact": "Contact Psi"},
    }  # fmt: skip
    for name, answer in changes.items():
        section, _, field = name.partition("__")
        content[section][field] = answer
    return read_record(
        {name: {k: v for k, v in part.items() if v is not None} for name, part in content.items()}
    )


def completed(record: Appraisal) -> Appraisal:
    """The record as its valuer completed it, every point of the certification answered."""
    answers = {point: f"Answer {point}" for point in CERTIFICATION}
    return replace(
        record, valuer=replace(record.valuer, completed_on=date(2026, 11, 2), certification=answers)
    )


def appraised_market(small: Market, folder: Path) -> Market:
    """A copy of the small market, to be written to."""
    path = folder / "appraised.duckdb"
    shutil.copy(small.path, path)
    return Market.open(path, create=False)


def last_day(market: Market) -> date:
    """The day of the last record."""
    day: Any = market.sales()["event_date"].max()
    return date.fromisoformat(str(day))


def evidence_of(market: Market, record: Appraisal, *, inspected: bool = False) -> Evidence:
    """Evidence gathered with the market's kept fit; ``inspected`` by a sheet in which little is wrong."""
    at = record.assignment.effective_date
    known = Known.on(Snapshot.of(market), last_day(market) if at is None else at, "fit-0001")
    if not inspected:
        return gather(record, known)
    result = assess(sheet_of(record))
    costs = price_repairs(result, catalogue(), country="GB", currency=market.base_currency)
    without = replace(record, subject=replace(record.subject, condition_band=""))
    return gather(without, known, inspection=result, costs=costs)


def sheet_of(record: Appraisal) -> Inspection:
    """A sheet filled in: sound but for wear, two repairs, and one check not seen."""
    said = record.subject
    car = {"make": said.make, "model": said.model, "year": said.year, "variant": said.variant or None}
    begun = Inspection.start("monocoque", car)
    states = ["worn", "sound", "worn"] * len(begun.sheet.checks)
    found = begun.fill(
        Finding(check.id, state, note="Note Omega", seen_by="Looker Omicron", seen_on=date(2026, 6, 20))
        for check, state in zip(begun.sheet.checks[1:], states, strict=False)
    )
    for check in [check.id for check in begun.sheet.scored if check.area == "brakes"][:2]:
        found = found.record(check, "needs repair", note="to be mended")
    return replace(found, changes=(Change("servo", "servo_brakes", done="well"),), preservation="restored")


def full_entry(market: Market, *, inspected: bool = True, **changes: Any) -> Entry:
    """A full record entered into a market with its evidence, and read back."""
    record = full_record(common_car(market), last_day(market), **changes)
    (name,) = enter(market, [(record, evidence_of(market, record, inspected=inspected))], by="Clerk One")
    return read(market, name)


def links_of(document: bytes) -> list[str]:
    """Where the links of a PDF lead that do not lead to its own pages, and what acts in it."""
    with pdfplumber.open(io.BytesIO(document)) as book:
        actions = [resolve1(each["data"].get("A")) for each in book.annots]
        found = [str(action) for action in actions if action and str(action.get("S")) != "/'GoTo'"]
        return found + [str(name) for name in ("OpenAction", "AA") if name in book.doc.catalog]


def pdf_text(content: bytes, *, layout: bool = False) -> str:
    """The text of a PDF as a reader gets it, without the places where a long word may be broken."""
    words = ["pdftotext", *(["-layout"] if layout else []), "-", "-"]
    done = subprocess.run([_found("pdftotext"), *words[1:]], input=content, capture_output=True, check=True)
    return done.stdout.decode().replace("\u200b", "").replace("\u00ad", "")


def pdf_pages(content: bytes) -> int:
    """How many pages a PDF has."""
    return pdf_text(content).count("\f")


def page_images(content: bytes, folder: Path, dots: int) -> list[Path]:
    """Every page as a grey picture."""
    file = folder / "pages.pdf"
    file.write_bytes(content)
    words = [_found("pdftoppm"), "-gray", "-png", "-r", str(dots), str(file), str(folder / "page")]
    subprocess.run(words, capture_output=True, check=True)
    return sorted(folder.glob("page-*.png"))


def _found(program: str) -> str:
    """A program of poppler's; a test that needs it is skipped without, or fails where it must be there."""
    path = shutil.which(program)
    if path is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{program} is not installed, and CI=true: every document must be read back")
        pytest.skip(f"{program} is not installed")
    return path


def numbers_of(frame: pl.DataFrame, name: str) -> list[float]:
    """A column as floats."""
    return frame[name].cast(pl.Float64).to_list()
