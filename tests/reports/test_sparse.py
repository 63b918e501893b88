"""Documents of records that say little: an answer that is not there leaves a gap or a sentence, never a word
of the program's own."""

import re
from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import Any, Final

import pytest

from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.record.sections import SECTIONS
from pricing.appraisal.register import Entry
from pricing.reports import report as long_form
from pricing.reports.documents import DOCUMENTS, first_draft
from pricing.words.language.locale import LocaleWords
from tests.reports.test_languages import texts_of

OWN: Final = re.compile(r"\b[a-z]+_[a-z]+|\b(True|False|None|nan|NaN|inf)\b")
"""How the program writes what is not there, and its names."""

ANSWERED: Final = re.compile(r"Conflicts None Known|by \w+ Xi")
"""What the record itself says that looks so."""

EVERY: Final = [(section, part.name) for section, kind in SECTIONS.items() for part in fields(kind)]


@pytest.fixture(autouse=True)
def without_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """What charts say has tests of its own."""
    monkeypatch.setattr(long_form, "pictures", lambda facts, words: {})


def blanked(record: Appraisal, section: str, name: str) -> Appraisal:
    """The record as if the question had never been answered."""
    empty = getattr(SECTIONS[section](), name)
    return replace(record, **{section: replace(getattr(record, section), **{name: empty})})


def own_words(facts: Facts) -> list[str]:
    """Texts of the three documents in which a word of the program stands."""
    words = LocaleWords.of("en_GB")
    found = []
    for document in DOCUMENTS.values():
        pages = document(facts, words)
        shown = [pages.title, pages.subject, pages.reference, pages.cover, list(pages.blocks)]
        found += [text for text in texts_of(shown) if OWN.search(ANSWERED.sub("", text))]
    return found


@pytest.mark.parametrize(("section", "name"), EVERY)
def test_a_question_without_an_answer_leaves_no_word_of_the_program(
    entry: Entry, section: str, name: str
) -> None:
    assert own_words(facts_of(replace(entry, record=blanked(entry.record, section, name)))) == []


def test_nor_do_records_that_say_nothing_and_evidence_that_is_not_there(entry: Entry) -> None:
    record, evidence = entry.record, entry.evidence
    assert evidence is not None
    bare = record
    for section, name in EVERY:
        if (section, name) not in {("assignment", "currency"), ("assignment", "market_level")}:
            bare = blanked(bare, section, name)
    none: dict[str, Any] = {
        "findings": None,
        "budget": None,
        "ratios": None,
        "ratio_kinds": None,
        "index": None,
    }
    for said, found in (
        (bare, evidence),
        (record, replace(evidence, **none, comparables=None)),
        (bare, replace(evidence, **none)),
    ):
        assert own_words(facts_of(replace(entry, record=said, evidence=found))) == []


def test_a_car_without_a_year_has_no_row_for_it(entry: Entry, words: LocaleWords) -> None:
    record = blanked(entry.record, "subject", "year")
    pages = long_form.report(facts_of(replace(entry, record=record)), words)
    (identity,) = [block for block in pages.blocks if getattr(block, "caption", "") == "Identity of the car"]
    assert "Year" not in [row[0] for row in identity.rows]  # type: ignore[union-attr]


def test_the_first_draft_of_an_empty_record_says_what_is_open(words: LocaleWords) -> None:
    for record in (Appraisal(), blanked(Appraisal(), "subject", "year")):
        entry = Entry("appraisal-0001", 1, record, None, None, datetime(2026, 11, 2, tzinfo=UTC), "Clerk", "")
        blocks = list(first_draft(entry, words).blocks)
        assert not [text for text in texts_of(blocks) if OWN.search(text)]
        assert "None" not in entry._repr_html_()
