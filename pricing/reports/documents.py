"""The documents of one appraisal by their names, and the draft there is before any evidence."""

from collections.abc import Callable
from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import Final

from pricing.appraisal.contents import missing
from pricing.appraisal.evidence import wanting
from pricing.appraisal.facts import DRAFT, MODEL_REPORT, Facts, facts_of, finished
from pricing.appraisal.record.sections import SECTIONS, question_of
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError
from pricing.reports.formats.blocks import Block, Bullets, Heading, Pages, Paragraph, answered
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.short import statement
from pricing.reports.wording import MARKS, labels
from pricing.vocabulary import OPTION_CODES
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import capital
from pricing.words.sentences import name_words, option_words

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
    record = entry.record
    title = MODEL_REPORT if record.assignment.kind == "model report" else DRAFT
    lacking = [option_words(name.partition(".")[2], words) for name in wanting(record)]
    evidence = (
        words.say("No evidence has been gathered yet. It cannot be without {answers}.",
                  answers=", ".join(lacking))
        if lacking
        else words.say("No evidence has been gathered yet. Gather it to see ranges.")
    )  # fmt: skip
    blocks: list[Block] = [Heading(words.say("What is answered so far")), Paragraph(evidence)]
    for section, kind in SECTIONS.items():
        content = getattr(record, section)
        answers = answered(
            (capital(words.word(question_of(part))), _answer_words(getattr(content, part.name), words))
            for part in fields(kind)
        )
        if answers.rows:
            blocks += [Heading(capital(words.word(section)), 2), answers]
    still = [words.say("Missing: {name}.", name=words.word(part.name)) for part in missing(record, None)]
    return Pages(
        title=words.word(title),
        subject=name_words(vars(record.subject)) or words.say("No car named yet"),
        mark=words.word(MARKS[title]),
        reference=words.say("{record}, revision {revision}, no evidence yet",
                            record=entry.appraisal_id, revision=entry.revision),
        language=words.tag,
        blocks=[*blocks, Heading(words.say("Still open")), Bullets(tuple(still))],
        author=record.valuer.name,
        labels=labels(words),
    )  # fmt: skip


def _answer_words(answer: object, words: LocaleWords) -> str:
    match answer:
        case None:
            return ""
        case bool():
            return words.say("yes") if answer else words.say("no")
        case date():
            return words.day(answer)
        case float() | Decimal():
            return words.number(float(answer), 0 if answer == int(answer) else 2)
        case dict():
            named = [(option_words(name, words), how) for name, how in answer.items() if how]
            return "\n".join(words.say("{name}: {value}", name=name, value=how) for name, how in named)
        case tuple():
            return "\n".join(option_words(part, words) if part in OPTION_CODES else part for part in answer)
        case _:
            return words.word(str(answer))
