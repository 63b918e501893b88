"""Inspections as files: JSON holds all of one, CSV its findings for a spreadsheet or another program."""

import csv
import io
import json
from pathlib import Path
from typing import Any, Final, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pricing.condition.inspection import Change, Finding, Inspection
from pricing.errors import CarError, FileError, InspectionError
from pricing.intake.exports import neutral_text, restored_text
from pricing.untrusted.documents import read_json
from pricing.untrusted.files import bounded_bytes
from pricing.validation import sentence_of
from pricing.whole_files import write_whole

FORMAT: Final[Literal["inspection 1"]] = "inspection 1"
"""First value of every saved inspection: what the file is, and the version of its layout."""

LARGEST_FILE: Final = 20_000_000
"""Bytes; a sheet of findings is a few thousandths of that."""

_FIELDS: Final = ("check", "area", "title", "state", "note", "photo", "seen_by", "seen_on")


class _Findings(BaseModel):
    """What a file tells of findings, whatever else it holds."""

    findings: tuple[Finding, ...] = ()


class _Inspection(_Findings):
    """A file of a whole inspection."""

    model_config = ConfigDict(extra="forbid")

    format: Literal["inspection 1"]
    construction: str = ""
    fitted: tuple[str, ...] = ()
    car: dict[str, Any] = Field(default_factory=dict)
    preservation: str | None = None
    changes: tuple[Change, ...] = ()


Saved = TypeVar("Saved", bound=_Findings)


def save(inspection: Inspection, path: Path) -> None:
    """Write an inspection to a ``.json`` (everything) or ``.csv`` file (one row a check, the findings only).

    The file is complete or not there: it is written beside and moved into place. Raises ``FileError``.
    """
    suffix = path.suffix.lower()
    if suffix not in (".json", ".csv"):
        raise FileError(f"{path}: an inspection is saved as .json or .csv, got {path.suffix!r}")
    text = to_json(inspection) if suffix == ".json" else to_csv(inspection)
    write_whole(path, text.encode())


def open_inspection(path: Path, *, extensions: Path | None = None) -> Inspection:
    """Open an inspection saved as JSON, half done or whole.

    ``extensions`` is the folder of sheets for single models. Raises ``FileError`` when the file cannot be
    read and ``InspectionError`` or ``CarError``, naming it, when it holds a check that is not on the sheet.
    """
    try:
        return inspection_of(read_json(path, most=LARGEST_FILE), extensions=extensions)
    except (CarError, InspectionError) as error:
        raise type(error)(f"{path}: {error}") from error


def inspection_of(content: Any, *, extensions: Path | None = None) -> Inspection:
    """The inspection that the content of such a file tells. Raises as ``open_inspection``."""
    saved = _read(content, _Inspection)
    started = Inspection.start(saved.construction, saved.car, fitted=saved.fitted, extensions=extensions)
    return Inspection(
        sheet=started.sheet,
        car=started.car,
        findings={finding.check: finding for finding in _once_each(saved.findings)},
        changes=saved.changes,
        preservation=saved.preservation,
    )


def read_findings(path: Path) -> tuple[Finding, ...]:
    """The findings in a ``.csv`` or ``.json`` file, to fill an inspection with. A blank state is not seen.

    Raises ``FileError`` or ``InspectionError``; a check that is not on the sheet is refused when they are
    filled in.
    """
    try:
        if path.suffix.lower() == ".csv":  # line ends inside a note stay as they are
            return _from_csv(bounded_bytes(path, LARGEST_FILE).decode("utf-8-sig"))
        return _once_each(_read(read_json(path, most=LARGEST_FILE), _Findings).findings)
    except UnicodeDecodeError:
        raise FileError(f"{path}: not UTF-8 text") from None
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
    columns = [name for name in _FIELDS if name in header and name not in ("area", "title")]
    texts = [
        {name: text for name in columns if (text := restored_text(row[name] or "")) or name != "seen_on"}
        for row in rows
        if (row["state"] or "").strip()
    ]
    return _once_each(_read({"findings": texts}, _Findings).findings)


def _once_each(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings of which no two are of one check. Raises ``InspectionError`` for others."""
    seen: set[str] = set()
    for finding in findings:
        if finding.check in seen:
            raise InspectionError(f"the check {finding.check!r} stands there twice")
        seen.add(finding.check)
    return findings


def _read(content: Any, kind: type[Saved]) -> Saved:
    try:
        return kind.model_validate(content)
    except ValidationError as error:
        raise InspectionError(sentence_of(error, content, named_by="check")) from None
