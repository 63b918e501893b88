"""Half-done inspections: one folder a sheet beside the market file, so that a reload or a lost connection
loses nothing; and what a phone needs to go round a car without a network, and sends when it is back.

A sheet is kept as the file that ``inspection_files`` writes, whole at every finding, its photos beside it.
Who knows a sheet's name can open it: the name is long and random, and stands in the address of the page.
"""

import json
import re
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

from pricing.charts.car_outline import area_drawing
from pricing.condition.assessment import short_round
from pricing.condition.checks import AREAS, NOT_SEEN, STATES, found_words
from pricing.condition.inspection import LONGEST_TEXT, Finding, Inspection
from pricing.condition.inspection_files import open_inspection, save
from pricing.errors import FileError
from pricing.untrusted.photographs import KINDS, read_photograph
from pricing.words.sentences import car_words

PHOTO_KINDS: Final = ("jpg", "jpeg", "png", "webp")
MOST_PHOTOS: Final = 200
"""Of one sheet."""

_NAME: Final = re.compile(r"[0-9a-f]{32}")


def new_name() -> str:
    """A name for a new sheet, which nobody guesses."""
    return secrets.token_hex(16)


def sheet_folder(market: Path, name: str) -> Path:
    """The folder of a sheet, there or not.

    Raises:
        FileError: no sheet can have that name.

    >>> sheet_folder(Path("market.duckdb"), "0" * 32).parent.name
    'market.inspections'
    """
    if not _NAME.fullmatch(name):
        raise FileError("the address names no inspection sheet: start one, or open the link you were given")
    return market.with_suffix(".inspections") / name


def keep_sheet(market: Path, name: str, inspection: Inspection) -> None:
    """Keep a sheet as it now is, in place of what was kept."""
    folder = sheet_folder(market, name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"the sheet cannot be kept beside the market file: {error.strerror}") from None
    save(inspection, folder / "inspection.json")


def open_sheet(market: Path, name: str, extensions: Path | None = None) -> Inspection:
    """A kept sheet, half done or whole.

    Raises:
        FileError, InspectionError: there is none of that name, or it cannot be read.
    """
    path = sheet_folder(market, name) / "inspection.json"
    if not path.is_file():
        raise FileError("there is no inspection sheet under that name any more; start a new one")
    return open_inspection(path, extensions=extensions)


def keep_photo(market: Path, name: str, check: str, content: bytes) -> str:
    """Keep a photo for a check of a sheet, made smaller and without what else the camera wrote into it
    (place, time, owner); gives its file name.

    Raises:
        FileError: it is too large, no photo, or one too many.
    """
    shown = read_photograph(content, "the photo", tuple(KINDS)).shown
    folder = sheet_folder(market, name)
    taken = sum(1 for _ in folder.glob("*.jpg"))
    if taken >= MOST_PHOTOS:
        raise FileError(f"the sheet has {taken} photos, which is as many as it holds")
    plain = re.sub(r"[^a-z0-9_]", "_", check.lower())[:60]
    file = f"{plain}-{taken + 1:03d}.jpg"
    try:
        (folder / file).write_bytes(shown)
    except OSError as error:
        raise FileError(f"the photo cannot be kept beside the market file: {error.strerror}") from None
    return file


def photo(market: Path, name: str, file: str) -> Path | None:
    """The kept photo of that file name, if there is one."""
    path = sheet_folder(market, name) / Path(file).name
    return path if file and path.suffix == ".jpg" and path.is_file() else None


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
