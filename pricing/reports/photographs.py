"""The photographs of an appraisal in its documents: on the cover, beside the findings, and listed in an annex
with the digests of their originals."""

from typing import Any

from pricing.appraisal.facts import Facts
from pricing.appraisal.record.photographs import Photograph, on_cover
from pricing.reports.formats import blocks as page
from pricing.reports.wording import car_name, joined
from pricing.untrusted.limits import LONGEST_SIDE
from pricing.words.language.locale import LocaleWords
from pricing.words.photographs import removed_words


def cover_photograph(facts: Facts, words: LocaleWords) -> page.Plate | None:
    """The photograph chosen for the cover."""
    place = on_cover(facts.record.photographs)
    if place is None or facts.record.photographs[place - 1].digest not in facts.shown:
        return None
    return _plate(place, facts, words)


def photographs_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """Photographs tied to findings, each beside its finding, then the others; that on the cover is shown
    there."""
    findings = _findings(facts)
    tied: list[page.Plate] = []
    others: list[page.Plate] = []
    for place, shot in enumerate(facts.record.photographs, 1):
        finding = findings.get(shot.check)
        if shot.digest not in facts.shown:
            continue
        if finding is not None:
            tied.append(_plate(place, facts, words, _beside(finding, shot, words)))
        elif not shot.cover:
            others.append(_plate(place, facts, words))
    parts = {words.say("Photographs of findings"): tied, words.say("Photographs of the car"): others}
    return [
        block
        for title, shots in parts.items()
        if shots
        for block in (page.Heading(title, 2), page.Photographs(tuple(shots)))
    ]


def photographs_annex(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """Every photograph with its file, its day, what was left out of what is shown, and its digest."""
    if not facts.record.photographs:
        return []
    findings = _findings(facts)

    def taken(shot: Photograph) -> str:
        return words.say("not said") if shot.taken_on is None else words.day(shot.taken_on)

    originals = words.say(
        "Photographs are shown upright, at most {pixels} pixels a side, without what their files tell beside "
        "the picture. The originals are kept with the record byte for byte, with all that is left out here, "
        "and are handed out on request; a copy is the original if its SHA-256 digest (FIPS 180-4) is the one "
        "below. A day is that of the camera's clock.",
        pixels=words.number(LONGEST_SIDE),
    )
    return [
        page.Paragraph(originals),
        page.table(
            words.say("Photographs and their originals"),
            enumerate(facts.record.photographs, 1),
            page.number("", 0.35, lambda row: str(row[0])),
            page.text(words.say("File"), 1.3, lambda row: row[1].file),
            page.text(words.say("Taken"), 0.9, lambda row: taken(row[1])),
            page.text(words.say("Shows"), 1.7, lambda row: _what(row[1], findings, words)),
            page.text(words.say("Left out here"), 1.1, lambda row: removed_words(row[1].removed, words)),
            page.text(words.say("SHA-256 of the original"), 2.0, lambda row: row[1].digest),
        ),
    ]


def numbers_by_check(facts: Facts, words: LocaleWords) -> dict[str, str]:
    """Which photographs show the finding of a check, in words, by check."""
    numbers: dict[str, list[str]] = {}
    for place, shot in enumerate(facts.record.photographs, 1):
        if shot.check:
            numbers.setdefault(shot.check, []).append(str(place))
    return {
        check: words.say("photograph {number}", number=", ".join(places)) for check, places in numbers.items()
    }


def _plate(
    place: int, facts: Facts, words: LocaleWords, beside: tuple[tuple[str, str], ...] = ()
) -> page.Plate:
    shot, car = facts.record.photographs[place - 1], car_name(facts)
    caption = (
        words.say("Photograph {number}: {caption}", number=place, caption=shot.caption)
        if shot.caption
        else words.say("Photograph {number}", number=place)
    )
    what = shot.caption or (beside[0][1] if beside else "")
    alt = (
        words.say("Photograph of {car}: {what}", car=car, what=what)
        if what
        else words.say("Photograph of {car}", car=car)
    )
    return page.Plate(shot.digest, caption, alt, beside)


def _beside(finding: dict[str, Any], shot: Photograph, words: LocaleWords) -> tuple[tuple[str, str], ...]:
    rows = (
        (words.say("Finding"), words.word(finding["title"])),
        (words.say("Found"), words.word(finding["state"])),
        (words.say("Note"), finding["note"] or ""),
        (words.say("Taken"), words.day(shot.taken_on)),
    )
    return page.answered(rows).rows


def _findings(facts: Facts) -> dict[str, dict[str, Any]]:
    """The rows of the sheet by check; none in evidence of an earlier version."""
    sheet = None if facts.evidence.findings is None else facts.evidence.findings.sheet
    if sheet is None or "check" not in sheet.columns:
        return {}
    return {row["check"]: row for row in sheet.iter_rows(named=True)}


def _what(shot: Photograph, findings: dict[str, dict[str, Any]], words: LocaleWords) -> str:
    finding = findings.get(shot.check)
    tied = "" if finding is None else words.say("finding: {check}", check=words.word(finding["title"]))
    cover = words.say("on the cover") if shot.cover else ""
    return joined(shot.caption, tied, cover, mark="; ") or words.say("no caption")
