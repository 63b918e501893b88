"""The documents of one appraisal by their names, and the draft there is before any evidence."""

from collections.abc import Callable
from dataclasses import fields
from typing import Final

from pricing.appraisal.contents import missing
from pricing.appraisal.evidence import wanting
from pricing.appraisal.facts import DRAFT, MODEL_REPORT, Facts, facts_of, finished
from pricing.appraisal.record import plain_record
from pricing.appraisal.register import Entry
from pricing.appraisal.sections import SECTIONS
from pricing.errors import AppraisalError
from pricing.reports.blocks import Answers, Block, Bullets, Heading, Pages, Paragraph
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.short import statement
from pricing.reports.wording import MARKS
from pricing.words.locale import LocaleWords

DOCUMENTS: Final[dict[str, Callable[[Facts, LocaleWords], Pages]]] = {
    "report": report, "statement": statement, "letter": letter,
}  # fmt: skip
"""The whole report; two pages for an insurer; two pages of letter."""


def document(entry: Entry, name: str, words: LocaleWords, *, unfinished: bool = False) -> Pages:
    """A document of an appraisal as pages.

    An ``unfinished`` one is laid out from the first answer on and says what is still open; before there is
    any evidence it is the answers alone, whatever document is asked for.

    Raises:
        AppraisalError: there is no such document, or it is to be finished and is not.
    """
    if name not in DOCUMENTS:
        raise AppraisalError(f"no document {name!r}; expected one of: {', '.join(DOCUMENTS)}")
    if unfinished and entry.evidence is None:
        return first_draft(entry, words)
    facts = facts_of(entry)
    return DOCUMENTS[name](facts if unfinished else finished(facts), words)


def first_draft(entry: Entry, words: LocaleWords) -> Pages:
    """What is answered so far, section by section, and what is still open; there is no evidence yet."""
    content, record = plain_record(entry.record), entry.record
    title = MODEL_REPORT if record.assignment.kind == "model report" else DRAFT
    named = (record.subject.year, record.subject.make, record.subject.model, record.subject.variant)
    lacking = wanting(record)
    blocks: list[Block] = [
        Heading("What is answered so far"),
        Paragraph(
            "No evidence has been gathered yet. "
            + (f"It cannot be without {', '.join(lacking)}." if lacking else "Gather it to see ranges.")
        ),
    ]
    for section, kind in SECTIONS.items():
        rows = [
            (
                f"{part.metadata['asks'][0].upper()}{part.metadata['asks'][1:]}",
                _told(content[section][part.name]),
            )
            for part in fields(kind)
        ]
        answered = tuple(row for row in rows if row[1])
        if answered:
            blocks += [Heading(section.capitalize(), 2), Answers(answered)]
    still = tuple(f"Missing: {content.name}." for content in missing(record, None))
    return Pages(
        title=title,
        subject=" ".join(str(part) for part in named if part) or "No car named yet",
        mark=MARKS[title],
        reference=f"{entry.appraisal_id}, revision {entry.revision}, no evidence yet",
        language=words.tag if words.locale.language == "en" else "en",
        blocks=[*blocks, Heading("Still open"), Bullets(still)],
        author=record.valuer.name,
    )


def _told(answer: object) -> str:
    match answer:
        case None:
            return ""
        case bool():
            return "yes" if answer else "no"
        case dict():
            return "\n".join(f"{name}: {how}" for name, how in answer.items() if how)
        case list():
            return "\n".join(map(str, answer))
        case _:
            return str(answer)
