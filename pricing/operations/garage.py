"""Findings and photographs from a phone that had no network: what the phone needs to go round a car alone,
and what it sends when it is back, taken in once."""

import json
import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

from pricing.charts.car_outline import area_drawing
from pricing.condition.assessment import short_round
from pricing.condition.checks import AREAS, NOT_SEEN, STATES, found_words
from pricing.condition.inspection import LONGEST_TEXT, Finding, Inspection
from pricing.errors import FileError
from pricing.operations.drafts import keep_photo, keep_sheet, open_sheet, sheet_folder
from pricing.words.sentences import car_words

LONGEST_KEY: Final = 64
MOST_FINDINGS: Final = 500
"""Of one request."""

_TURN: Final = threading.Lock()
"""One sheet is read, changed and kept at a time."""


def sheet_facts(market: Path, name: str, extensions: Path | None = None) -> dict[str, Any]:
    """What a phone needs to go round without a network: every check with what to do, and what was found so
    far.

    Raises:
        FileError, InspectionError: there is no such sheet.
    """
    inspection = open_sheet(market, name, extensions)
    short = short_round(inspection)
    areas = []
    for area in AREAS:
        checks = [check for check in inspection.sheet.checks if check.area == area]
        if checks:
            facts = [_check(inspection, check, short) for check in checks]
            areas.append({"area": area, "drawing": area_drawing(area), "checks": facts})
    return {
        "name": name,
        "car": car_words({**inspection.car, "condition_band": inspection.sheet.construction}),
        "cautions": list(inspection.sheet.general_cautions),
        "areas": areas,
    }


def _check(inspection: Inspection, check: Any, short: Sequence[str]) -> dict[str, Any]:
    finding = inspection.findings.get(check.id)
    return {
        "id": check.id, "title": check.title, "where": check.where, "act": check.act,
        "bad_sign": check.bad_sign,
        "caution": inspection.sheet.cautions.get(check.caution, ""), "short": check.id in short,
        "states": {state: found_words(check.role, state) for state in (*STATES, NOT_SEEN)},
        "state": inspection.state(check.id), "note": "" if finding is None else finding.note,
    }  # fmt: skip


def take_findings(
    market: Path, name: str, key: str, findings: Sequence[Mapping[str, Any]], extensions: Path | None = None
) -> bool:
    """Take findings into a sheet; whether they were new: what came under a ``key`` before changes nothing.

    Raises:
        FileError, InspectionError: there is no such sheet, or a finding is none.
    """
    if len(findings) > MOST_FINDINGS:
        raise FileError(f"{len(findings)} findings came at once, at most {MOST_FINDINGS}: send them in parts")
    return _take(market, name, key, extensions, lambda sheet: [_finding(sheet, row) for row in findings])


def take_photo(
    market: Path, name: str, key: str, check: str, content: bytes, extensions: Path | None = None
) -> bool:
    """Take a photograph of a check into a sheet; whether it was new.

    Raises:
        FileError, InspectionError: there is no such sheet or check, or it is no photograph.
    """

    def photographed(inspection: Inspection) -> list[Finding]:
        inspection.sheet.check(check)
        file = keep_photo(market, name, check, content)
        known = inspection.findings.get(check)
        note = "" if known is None else known.note
        return [Finding(check, inspection.state(check), note, file, "", datetime.now(UTC).date())]

    return _take(market, name, key, extensions, photographed)


def _take(
    market: Path, name: str, key: str, extensions: Path | None,
    findings_of: Callable[[Inspection], Sequence[Finding]],
) -> bool:  # fmt: skip
    """Fill findings into a sheet, once under a key."""
    with _TURN:
        if _known(market, name, key):
            return False
        inspection = open_sheet(market, name, extensions)
        keep_sheet(market, name, inspection.fill(findings_of(inspection)))
        _remember(market, name, key)
    return True


def _finding(inspection: Inspection, row: Mapping[str, Any]) -> Finding:
    check, state, note = (str(row.get(name) or "") for name in ("check", "state", "note"))
    known = inspection.findings.get(check)
    day = str(row.get("seen_on") or "")
    try:
        seen_on = date.fromisoformat(day) if day else datetime.now(UTC).date()
    except ValueError:
        raise FileError(f"the day of a finding is none: got {day[:40]!r}, expected YYYY-MM-DD") from None
    photo = "" if known is None else known.photo
    return Finding(check, state, note[:LONGEST_TEXT], photo, str(row.get("seen_by") or "")[:200], seen_on)


def _keys(market: Path, name: str) -> Path:
    return sheet_folder(market, name) / "keys.json"


def _known(market: Path, name: str, key: str) -> bool:
    if not key or len(key) > LONGEST_KEY or not key.replace("-", "").isalnum():
        raise FileError("what a phone sends comes under a key of its own, such as a UUID")
    file = _keys(market, name)
    return file.is_file() and key in json.loads(file.read_text(encoding="utf-8"))


def _remember(market: Path, name: str, key: str) -> None:
    file = _keys(market, name)
    known = json.loads(file.read_text(encoding="utf-8")) if file.is_file() else []
    file.write_text(json.dumps([*known, key]), encoding="utf-8")
