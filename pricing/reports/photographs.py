"""The photographs of an appraisal in its documents: on the cover, beside the findings, and listed in an annex
with the digests of their originals."""

from typing import Any

from pricing.appraisal.facts import Facts
from pricing.appraisal.photographs import Photograph, on_cover
from pricing.reports.blocks import Block, Column, Heading, Paragraph, Photographs, Shown, Table
from pricing.reports.wording import car_name
from pricing.words.locale import LocaleWords
from pricing.words.photographs import removed_words


def cover_photograph(facts: Facts) -> Shown | None:
    """The photograph chosen for the cover."""
    number = on_cover(facts.record.photographs)
    if number is None or facts.record.photographs[number - 1].digest not in facts.shown:
        return None
    return _shown(number, facts)


def photographs_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """Photographs tied to findings, each beside its finding, then the others; that on the cover is shown
    there."""
    findings = _findings(facts)
    tied: list[Shown] = []
    others: list[Shown] = []
    for number, shot in enumerate(facts.record.photographs, 1):
        if shot.digest not in facts.shown:
            continue
        found = findings.get(shot.check)
        if found is not None:
            tied.append(_shown(number, facts, _beside(found, shot, words)))
        elif not shot.cover:
            others.append(_shown(number, facts))
    blocks: list[Block] = []
    for title, shots in (("Photographs of findings", tied), ("Photographs of the car", others)):
        if shots:
            blocks += [Heading(title, 2), Photographs(tuple(shots))]
    return blocks


def photographs_annex(facts: Facts, words: LocaleWords) -> list[Block]:
    """Every photograph with its file, its day, what was left out of what is shown, and its digest."""
    if not facts.record.photographs:
        return []
    findings = _findings(facts)
    rows = tuple(
        (
            str(number), shot.file,
            words.day(shot.taken_on) if shot.taken_on is not None else "not said",
            _what(shot, findings), removed_words(shot.removed), shot.digest,
        )
        for number, shot in enumerate(facts.record.photographs, 1)
    )  # fmt: skip
    columns = (
        Column("", 0.35, True), Column("File", 1.3), Column("Taken", 0.9), Column("Shows", 1.7),
        Column("Left out", 1.1), Column("SHA-256 of the original", 2.0),
    )  # fmt: skip
    return [
        Paragraph(
            "Photographs are shown upright, at most 1,600 pixels a side, without what their files tell "
            "beside the picture. The originals are kept with the record byte for byte, with all that is "
            "left out here, and are handed out on request; a copy is the original if its SHA-256 digest "
            "(FIPS 180-4) is the one below. A day is that of the camera's clock."
        ),
        Table("Photographs and their originals", columns, rows),
    ]


def numbers_by_check(facts: Facts) -> dict[str, str]:
    """Which photographs show the finding of a check, in words, by check."""
    numbers: dict[str, list[str]] = {}
    for number, shot in enumerate(facts.record.photographs, 1):
        if shot.check:
            numbers.setdefault(shot.check, []).append(str(number))
    return {check: f"photograph {', '.join(told)}" for check, told in numbers.items()}


def _shown(number: int, facts: Facts, beside: tuple[tuple[str, str], ...] = ()) -> Shown:
    shot = facts.record.photographs[number - 1]
    caption = f"Photograph {number}" + (f": {shot.caption}" if shot.caption else "")
    what = shot.caption or (beside[0][1] if beside else f"the {car_name(facts)}")
    return Shown(shot.digest, caption, f"Photograph of {car_name(facts)}: {what}", beside)


def _beside(found: dict[str, Any], shot: Photograph, words: LocaleWords) -> tuple[tuple[str, str], ...]:
    rows = [("Finding", found["title"]), ("Found", found["state"]), ("Note", found["note"] or "")]
    if shot.taken_on is not None:
        rows.append(("Taken", words.day(shot.taken_on)))
    return tuple(row for row in rows if row[1])


def _findings(facts: Facts) -> dict[str, dict[str, Any]]:
    """The rows of the sheet by check; none in evidence of an earlier version."""
    found = facts.evidence.findings
    if found is None or "check" not in found.sheet.columns:
        return {}
    return {row["check"]: row for row in found.sheet.iter_rows(named=True)}


def _what(shot: Photograph, findings: dict[str, dict[str, Any]]) -> str:
    found = findings.get(shot.check)
    tied = "" if found is None else f"finding: {found['title']}"
    parts = [shot.caption, tied, "on the cover" if shot.cover else ""]
    return "; ".join(part for part in parts if part) or "no caption"
