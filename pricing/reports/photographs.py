"""The photographs of an appraisal in its documents: on the cover, beside the findings, and listed in an annex
with the digests of their originals."""

from typing import Any

from pricing.appraisal.facts import Facts
from pricing.appraisal.record.photographs import Photograph, on_cover
from pricing.reports.formats.blocks import Block, Column, Heading, Paragraph, Photographs, Shown, Table
from pricing.reports.wording import car_name
from pricing.untrusted.limits import LONGEST_SIDE
from pricing.words.language.locale import LocaleWords
from pricing.words.photographs import removed_words


def cover_photograph(facts: Facts, words: LocaleWords) -> Shown | None:
    """The photograph chosen for the cover."""
    number = on_cover(facts.record.photographs)
    if number is None or facts.record.photographs[number - 1].digest not in facts.shown:
        return None
    return _shown(number, facts, words)


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
            tied.append(_shown(number, facts, words, _beside(found, shot, words)))
        elif not shot.cover:
            others.append(_shown(number, facts, words))
    parts = (
        (words.say("Photographs of findings"), tied), (words.say("Photographs of the car"), others),
    )  # fmt: skip
    blocks: list[Block] = []
    for title, shots in parts:
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
            words.say("not said") if shot.taken_on is None else words.day(shot.taken_on),
            _what(shot, findings, words), removed_words(shot.removed, words), shot.digest,
        )
        for number, shot in enumerate(facts.record.photographs, 1)
    )  # fmt: skip
    columns = (
        Column("", 0.35, True), Column(words.say("File"), 1.3), Column(words.say("Taken"), 0.9),
        Column(words.say("Shows"), 1.7), Column(words.say("Left out here"), 1.1),
        Column(words.say("SHA-256 of the original"), 2.0),
    )  # fmt: skip
    return [
        Paragraph(
            words.say(
                "Photographs are shown upright, at most {pixels} pixels a side, without what their files "
                "tell beside the picture. The originals are kept with the record byte for byte, with all "
                "that is left out here, and are handed out on request; a copy is the original if its SHA-256 "
                "digest (FIPS 180-4) is the one below. A day is that of the camera's clock.",
                pixels=words.number(LONGEST_SIDE),
            )
        ),
        Table(words.say("Photographs and their originals"), columns, rows),
    ]


def numbers_by_check(facts: Facts, words: LocaleWords) -> dict[str, str]:
    """Which photographs show the finding of a check, in words, by check."""
    numbers: dict[str, list[str]] = {}
    for number, shot in enumerate(facts.record.photographs, 1):
        if shot.check:
            numbers.setdefault(shot.check, []).append(str(number))
    return {
        check: words.say("photograph {number}", number=", ".join(told)) for check, told in numbers.items()
    }


def _shown(number: int, facts: Facts, words: LocaleWords, beside: tuple[tuple[str, str], ...] = ()) -> Shown:
    shot = facts.record.photographs[number - 1]
    caption = (
        words.say("Photograph {number}: {caption}", number=number, caption=shot.caption)
        if shot.caption
        else words.say("Photograph {number}", number=number)
    )
    what = shot.caption or (beside[0][1] if beside else "")
    alt = (
        words.say("Photograph of {car}: {what}", car=car_name(facts), what=what)
        if what
        else words.say("Photograph of {car}", car=car_name(facts))
    )
    return Shown(shot.digest, caption, alt, beside)


def _beside(found: dict[str, Any], shot: Photograph, words: LocaleWords) -> tuple[tuple[str, str], ...]:
    rows = [
        (words.say("Finding"), words.word(found["title"])), (words.say("Found"), words.word(found["state"])),
        (words.say("Note"), found["note"] or ""),
    ]  # fmt: skip
    if shot.taken_on is not None:
        rows.append((words.say("Taken"), words.day(shot.taken_on)))
    return tuple(row for row in rows if row[1])


def _findings(facts: Facts) -> dict[str, dict[str, Any]]:
    """The rows of the sheet by check; none in evidence of an earlier version."""
    found = facts.evidence.findings
    if found is None or "check" not in found.sheet.columns:
        return {}
    return {row["check"]: row for row in found.sheet.iter_rows(named=True)}


def _what(shot: Photograph, findings: dict[str, dict[str, Any]], words: LocaleWords) -> str:
    found = findings.get(shot.check)
    tied = "" if found is None else words.say("finding: {check}", check=words.word(found["title"]))
    parts = [shot.caption, tied, words.say("on the cover") if shot.cover else ""]
    return "; ".join(part for part in parts if part) or words.say("no caption")
