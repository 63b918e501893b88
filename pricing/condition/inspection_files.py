"""Inspections as files: JSON holds all of one, CSV its findings for a spreadsheet or another program."""

import csv
import io
import json
from datetime import date
from pathlib import Path
from typing import Any, Final, TypeVar

from pricing.condition.changes import Change
from pricing.condition.inspection import Finding, Inspection
from pricing.errors import CarError, FileError, InspectionError
from pricing.intake.exports import neutral_text, restored_text
from pricing.untrusted.documents import read_json
from pricing.untrusted.files import bounded_bytes

FORMAT: Final = "inspection 1"
"""First value of every saved inspection: what the file is, and the version of its layout."""

LARGEST_FILE: Final = 20_000_000
"""Bytes; a sheet of findings is a few thousandths of that."""

_FIELDS: Final = ("check", "area", "title", "state", "note", "photo", "seen_by", "seen_on")
_KEYS: Final = frozenset({"format", "construction", "fitted", "car", "preservation", "changes", "findings"})
Built = TypeVar("Built", Change, Finding)


def save(inspection: Inspection, path: Path) -> None:
    """Write an inspection to a ``.json`` (everything) or ``.csv`` file (one row a check, the findings only).

    The file is complete or not there: it is written beside and moved into place. Raises ``FileError``.
    """
    suffix = path.suffix.lower()
    if suffix not in (".json", ".csv"):
        raise FileError(f"{path}: an inspection is saved as .json or .csv, got {path.suffix!r}")
    text = to_json(inspection) if suffix == ".json" else to_csv(inspection)
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="")
        part.replace(path)
    except OSError as error:
        raise FileError(f"{path}: cannot be written: {error.strerror}") from error


def open_inspection(path: Path, *, extensions: Path | None = None) -> Inspection:
    """Open an inspection saved as JSON, half done or whole.

    ``extensions`` is the folder of sheets for single models. Raises ``FileError`` when the file cannot be
    read and ``InspectionError`` or ``CarError``, naming it, when it holds a check that is not on the sheet.
    """
    content = _json(path)
    if content.get("format") != FORMAT:
        raise InspectionError(f"{path}: format is {content.get('format')!r}, expected {FORMAT!r}")
    if unknown := sorted(set(content) - _KEYS):
        raise InspectionError(f"{path}: unknown key {unknown[0]!r}")
    car, changes = content.get("car", {}), content.get("changes", [])
    fitted = content.get("fitted", [])
    if not isinstance(car, dict) or not isinstance(changes, list):
        raise InspectionError(f"{path}: car must be an object and changes a list")
    if not isinstance(fitted, list) or not all(isinstance(part, str) for part in fitted):
        raise InspectionError(f"{path}: fitted must be a list of parts")
    try:
        started = Inspection.start(content.get("construction", ""), car, fitted=fitted, extensions=extensions)
        return Inspection(
            sheet=started.sheet,
            car=started.car,
            findings={finding.check: finding for finding in _findings(content.get("findings", []))},
            changes=tuple(_build(Change, row) for row in changes),
            preservation=content.get("preservation"),
        )
    except (CarError, InspectionError) as error:
        raise type(error)(f"{path}: {error}") from error


def read_findings(path: Path) -> tuple[Finding, ...]:
    """The findings in a ``.csv`` or ``.json`` file, to fill an inspection with. A blank state is not seen.

    Raises ``FileError`` or ``InspectionError``; a check that is not on the sheet is refused when they are
    filled in.
    """
    try:
        if path.suffix.lower() == ".csv":
            return _from_csv(_text(path))
        content = _json(path)
        return _findings(content.get("findings", []))
    except InspectionError as error:
        raise InspectionError(f"{path}: {error}") from error


def to_json(inspection: Inspection) -> str:
    """An inspection as JSON text."""
    content = {
        "format": FORMAT,
        "construction": inspection.sheet.construction,
        "fitted": list(inspection.sheet.fitted),
        "car": inspection.car,
        "preservation": inspection.preservation,
        "changes": [vars(change) for change in inspection.changes],
        "findings": [
            {**vars(finding), "seen_on": finding.seen_on.isoformat() if finding.seen_on else None}
            for finding in inspection.findings.values()
        ],
    }
    return json.dumps(content, ensure_ascii=False, indent=1) + "\n"


def to_csv(inspection: Inspection) -> str:
    """The findings as CSV text, one row a check; a text that a spreadsheet would take for a formula is
    quoted."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_FIELDS)
    writer.writerows(
        [neutral_text(str(value)) if value is not None else "" for value in row]
        for row in inspection.frame().select(_FIELDS).iter_rows()
    )
    return out.getvalue()


def _from_csv(text: str) -> tuple[Finding, ...]:
    try:
        reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
        rows = list(reader)
    except csv.Error as error:
        raise InspectionError(f"cannot be read as CSV: {error}") from error
    header = reader.fieldnames
    if header is None or "check" not in header or "state" not in header:
        raise InspectionError("the columns check and state are needed")
    if unknown := sorted(set(header) - set(_FIELDS)):
        raise InspectionError(f"unknown column {unknown[0]!r}: expected {', '.join(_FIELDS)}")
    if any(None in row for row in rows):
        raise InspectionError("a row has more cells than the header")
    kept = [name for name in _FIELDS if name in header and name not in ("area", "title")]
    return _findings(
        [
            {name: restored_text(row[name] if row[name] is not None else "") for name in kept}
            for row in rows
            if (row["state"] or "").strip()
        ]
    )


def _findings(rows: Any) -> tuple[Finding, ...]:
    if not isinstance(rows, list):
        raise InspectionError("findings must be a list")
    found = tuple(_build(Finding, _dated(row)) for row in rows)
    seen: set[str] = set()
    for finding in found:
        if finding.check in seen:
            raise InspectionError(f"the check {finding.check!r} stands there twice")
        seen.add(finding.check)
    return found


def _dated(row: Any) -> Any:
    """The row with ``seen_on`` as a date."""
    day = row.get("seen_on") if isinstance(row, dict) else None
    if not isinstance(row, dict) or not day:
        return {**row, "seen_on": None} if isinstance(row, dict) else row
    try:
        return {**row, "seen_on": date.fromisoformat(day)}
    except (TypeError, ValueError):
        raise InspectionError(
            f"check {row.get('check')!r}: seen_on is {day!r}, expected a date YYYY-MM-DD"
        ) from None


def _build(kind: type[Built], row: Any) -> Built:
    """A dataclass from one row of a file, unknown and missing keys refused."""
    if not isinstance(row, dict):
        raise InspectionError(f"got {str(row)[:60]!r}, expected an object")
    try:
        return kind(**row)
    except TypeError as error:
        what = str(error).split("__init__() ")[-1]
        raise InspectionError(f"{kind.__name__.lower()} {str(row)[:80]}: {what}") from None


def _json(path: Path) -> dict[str, Any]:
    content = read_json(path, most=LARGEST_FILE)
    if not isinstance(content, dict):
        raise InspectionError(f"{path}: expected a JSON object")
    return content


def _text(path: Path) -> str:
    try:
        return bounded_bytes(path, LARGEST_FILE).decode(
            "utf-8-sig"
        )  # line ends inside a note stay as they are
    except UnicodeDecodeError:
        raise FileError(f"{path}: not UTF-8 text") from None
