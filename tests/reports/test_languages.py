"""Documents in the languages that there are: nothing in them is English but a name or what a person wrote."""

import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, is_dataclass, replace
from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

import polars as pl
import pytest
from babel import Locale
from docx import Document

from pricing.appraisal.collection import Item, total_of
from pricing.appraisal.collection_list import Row
from pricing.appraisal.collection_total import SoldTogether
from pricing.appraisal.earlier_sales import TOLD
from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record.photographs import Photographs, with_added
from pricing.appraisal.record.sections import Assignment
from pricing.appraisal.register import Entry
from pricing.condition.assessment import assess
from pricing.condition.budget import repair_budget
from pricing.condition.checks import CONSTRUCTIONS
from pricing.condition.inspection import Change
from pricing.condition.repairs import price_repairs
from pricing.model.saved import load
from pricing.reports.buying_sheet import buying_sheet
from pricing.reports.collection import collection_pages
from pricing.reports.documents import document
from pricing.reports.formats.blocks import Pages
from pricing.reports.formats.docx import docx
from pricing.reports.formats.pdf import pdf
from pricing.reports.formats.pictures import svg
from pricing.reports.inspection_sheet import inspection_page
from pricing.reports.letter import letter
from pricing.reports.report import report
from pricing.reports.schedule import schedule
from pricing.reports.selling_sheet import selling_sheet
from pricing.reports.short import statement
from pricing.reports.wording import OWN_WORDS
from pricing.store.market import Market
from pricing.untrusted.photographs import read_photograph
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import Messages
from tests.appraisals import pdf_text
from tests.catalogues import extracted
from tests.condition.walks import CAR, catalogue, walk
from tests.decisions.test_buying import bought
from tests.decisions.test_selling import sold
from tests.drawn_photographs import drawn_photograph
from tests.reports.test_sheets import AUCTION, BARE, COSTS, INSPECTED, SEEN

WIDE = {ord(letter): ord(letter) + 0xFEE0 for letter in map(chr, range(33, 127)) if letter.isalpha()}
"""Every letter of the alphabet as its wide form, by which a translated message is known."""

NAMES = {
    "km", "SHA", "IAAO", "Standard", "on", "Ratio", "Studies", "classic", "car", "pricing", "numpy", "polars",
    "duckdb", "scikit", "learn", "fit", "appraisal",
}  # fmt: skip
"""What is a name in every language: units, standards, programs and records."""


def marked(text: str) -> str:
    """A message in which every letter outside the places is wide."""
    return re.sub(r"(\{\w+\})|([A-Za-z]+)", lambda found: found[1] or found[2].translate(WIDE), text)


@pytest.fixture(scope="session")
def pseudo() -> LocaleWords:
    """A locale whose every translation is known as one."""
    texts = {}
    for message in extracted():
        if message.id:
            forms = (message.id,) if isinstance(message.id, str) else tuple(message.id)
            texts[forms[0]] = tuple(marked(form) for form in forms)
    return LocaleWords(Locale.parse("de_DE"), messages=Messages(texts))


def texts_of(value: Any) -> Iterator[str]:
    """Every text in blocks, in records, in mappings and lists."""
    if isinstance(value, str):
        yield value
    elif is_dataclass(value) and not isinstance(value, type):
        yield from texts_of(asdict(value))
    elif isinstance(value, dict):
        for part in value.values():
            yield from texts_of(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from texts_of(part)


def own(facts: Facts) -> set[str]:
    """The words of persons and records: what the record says, names of cars and sources, the catalogue of
    repairs, digests."""
    found, closed = (
        facts.evidence,
        {"basis", "premise", "premise_rests_on", "market_level", "kind", "manner", "condition_band"},
    )
    said = asdict(facts.record)
    for section in ("assignment", "inspection", "subject"):
        said[section] = {
            name: text for name, text in said[section].items() if name not in closed | {"options"}
        }
    for shot in said["photographs"]:
        shot.update(removed=(), check="")
    frames = [facts.annex.select("make", "model", "variant", "source", "source_ref")]
    if found.own_sales is not None:
        frames.append(found.own_sales.select("source", "source_ref", "currency"))
    frames += [] if facts.grid.is_empty() else [facts.grid.select("source", "source_ref", "record_id")]
    parts = [*texts_of(said), *(str(cell) for frame in frames for row in frame.iter_rows() for cell in row)]
    parts += [*found.software.values(), str(facts.evidence_digest), found.market.digest, facts.appraisal_id]
    if found.findings is not None:
        sheet = found.findings.sheet
        parts += [*sheet["note"], *sheet["photo"], *sheet["seen_by"], *found.findings.changes]
    if found.budget is not None:
        budget = found.budget
        parts += [budget.notice, budget.catalogue, *budget.lines["title"], *budget.lines["area"]]
    locale = Locale.parse("de_DE")
    for table in locale.months.values():
        parts += [str(name) for width in table.values() for name in width.values()]
    parts += [str(name) for name in locale.territories.values()]
    parts += [facts.currency, facts.base_currency]
    return {word for part in parts for word in re.findall(r"[A-Za-z]{2,}", part)} | NAMES


def english(pages: Pages, facts: Facts) -> list[str]:
    """The texts of a document with a word that is neither translated nor somebody's own."""
    mine = own(facts)
    said = [pages.title, pages.mark, pages.reference, pages.cover, pages.labels]
    shown = [asdict(block) for block in pages.blocks]
    for block in shown:
        for name in ("name", "manner"):
            block.pop(name, None)
    return [
        text
        for text in texts_of([*said, *shown])
        if set(re.findall(r"[A-Za-z]{2,}", re.sub(r"\{pages?\}", "", text))) - mine
    ]


def words_of(picture: dict[str, Any]) -> Iterator[str]:
    """The titles of a chart and the texts of its data, without tooltips, which paper does not show."""
    for name, value in picture.items():
        if name == "title":
            yield from texts_of(value)
        elif name in ("mark", "words", "effect", "part", "direction", "name", "domain"):
            yield from (text for text in texts_of(value) if " " in text or not text.islower())
        elif name not in ("tooltip", "config"):
            for part in value if isinstance(value, list) else [value]:
                yield from words_of(part) if isinstance(part, dict) else ()


FORMS = [report, statement, letter]


@pytest.mark.parametrize("form", FORMS)
def test_every_text_goes_through_the_catalogue(
    facts: Facts, pseudo: LocaleWords, form: Callable[[Facts, LocaleWords], Pages]
) -> None:
    assert english(form(facts, pseudo), facts) == []


def test_the_words_of_pictures_go_through_the_catalogue(facts: Facts, pseudo: LocaleWords) -> None:
    mine = own(facts) | {"start"}
    said = [text for picture in report(facts, pseudo).pictures.values() for text in words_of(picture)]
    assert len(said) > 20
    assert [
        text for text in said if not text.startswith("#") and set(re.findall(r"[A-Za-z]{2,}", text)) - mine
    ] == []


@pytest.mark.parametrize(
    ("locale", "thousands", "month"),
    [("fr_FR", "2\u202f000", "janv"), ("it_IT", "2.000", "gen"), ("en_GB", "2,000", "Jan")],
)
def test_axes_are_written_as_the_locale_does(facts: Facts, locale: str, thousands: str, month: str) -> None:
    """Numbers and months of the Unicode locale data, in the picture as it is drawn."""
    drawn = report(facts, LocaleWords.of(locale)).pictures
    assert f">{thousands}<" in svg(drawn["ranges"])
    assert re.search(rf">{month}\b", svg(drawn["index"]))


@pytest.mark.parametrize(
    ("locale", "there", "paged"),
    [
        ("de_DE", "Wertermittlungsstichtag", "Seite 2 von"), ("fr_CH", "Date d'effet", "Page 2 sur"),
        ("it_IT", "Data di riferimento", "Pagina 2 di"),
    ],
)  # fmt: skip
def test_a_page_speaks_its_language(facts: Facts, locale: str, there: str, paged: str) -> None:
    words = LocaleWords.of(locale)
    said = " ".join(pdf_text(pdf(statement(facts, words))).replace("\u2019", "'").split())
    assert there in said and paged in said
    assert statement(facts, words).language == words.tag


def test_what_stays_as_written_is_said(facts: Facts) -> None:
    """The valuer's texts and definitions are not translated, and a document in another language says so."""
    for locale in ("de_DE", "fr_FR", "it_IT", "en_GB"):
        pages = report(facts, LocaleWords.of(locale))
        told = LocaleWords.of(locale).word(OWN_WORDS)
        assert pages.cover is not None and (told in pages.cover.statement) == (locale != "en_GB")
        assert "Definition Epsilon" in list(texts_of([asdict(block) for block in pages.blocks]))


def test_a_draft_with_everything_open_is_translated(entry: Entry, pseudo: LocaleWords) -> None:
    """What is missing and what contradicts itself, too."""
    asked = replace(entry.record.assignment, retrospective="", premise="forced sale", scope="")
    bare = replace(
        entry.record, assignment=asked, evidence=replace(entry.record.evidence, newer=""),
        opinion=replace(entry.record.opinion, departure=""),
        conditions=replace(entry.record.conditions, extraordinary=("none",)),
    )  # fmt: skip
    facts = facts_of(replace(entry, record=bare))
    assert len(facts.against) > 5 and facts.lacking
    assert english(report(facts, pseudo), facts) == []


def test_photographs_and_earlier_sales_go_through_the_catalogue(entry: Entry, pseudo: LocaleWords) -> None:
    shots: Photographs = ()
    shown: dict[str, bytes] = {}
    for mark, (caption, check) in enumerate((("Front", ""), ("", "body_paint"), ("", ""))):
        read_one = read_photograph(drawn_photograph(mark=mark), f"ee{mark}.jpg")
        shots = with_added(shots, read_one, f"ee{mark}.jpg", caption=caption, check=check, cover=not mark)
        shown[read_one.digest] = read_one.shown
    assert entry.evidence is not None
    sale = dict.fromkeys(TOLD) | {
        "record_id": "own", "event_date": date(2024, 5, 1), "outcome": "unsold", "channel": "auction",
        "source": "Room Nu", "source_ref": "lot Xi", "amount": Decimal(6100), "currency": "GBP",
        "price_basis": "hammer", "price": Decimal(8123),
    }  # fmt: skip
    asked = replace(
        entry.record.assignment, premise="forced sale", premise_per_cent=Decimal(-35),
        premise_rests_on="stated judgement", premise_change="Sold within a week",
    )  # fmt: skip
    record = replace(entry.record, assignment=asked, photographs=shots)
    evidence = replace(entry.evidence, own_sales=pl.DataFrame([sale]))
    facts = facts_of(replace(entry, record=record, evidence=evidence, shown=shown))
    for form in FORMS:
        assert english(form(facts, pseudo), facts) == []
    none = facts_of(replace(entry, evidence=replace(entry.evidence, own_sales=None)))
    assert english(report(none, pseudo), none) == []


def test_a_first_draft_goes_through_the_catalogue(entry: Entry, facts: Facts, pseudo: LocaleWords) -> None:
    known = replace(entry, evidence=None)
    bare = replace(known, record=replace(entry.record, assignment=Assignment(kind="model report")))
    for drafted in (known, bare):
        pages = document(drafted, "report", pseudo, unfinished=True)
        assert english(pages, replace(facts, record=drafted.record)) == []


def test_the_sheets_to_take_along_go_through_the_catalogue(small_market: Market, pseudo: LocaleWords) -> None:
    seen = replace(SEEN, inspection=replace(SEEN.inspection, car={}))
    model = load(small_market)
    sheets = [
        *(buying_sheet(facts, None, pseudo) for facts in (INSPECTED, AUCTION, bought(asking=9000))),
        selling_sheet(sold(small_market, model, car=BARE, inspection=seen, costs=COSTS), None, pseudo),
        selling_sheet(sold(small_market, model), None, pseudo),
    ]
    mine = NAMES | {"make", "model", "variant", "EUR", "GBP", "de", "DE", "GB", "example"}
    mine |= set("Corvane Six Four Mk II".split())
    mine |= {
        str(month) for months in Locale.parse("de_DE").months["format"].values() for month in months.values()
    }
    said = " ".join(text for sheet in sheets for text in texts_of(sheet))
    # the depth of a model that stands in here, and what a schedule of charges says of itself
    for own_words in ("20 sales", "rates: ", "shown for their form", r"Invented example charges.*?total\."):
        said = re.sub(own_words, "", said)
    assert set(re.findall(r"[A-Za-z]{2,}", said)) - mine == set()


def test_a_collection_goes_through_the_catalogue(facts: Facts, pseudo: LocaleWords) -> None:
    refused = "the date 1950-03-01 is before the first sale on record"
    items = [Item(Row(1, "1", {}), facts, ""), Item(Row(2, "2", {}), None, refused)]
    total = total_of(items, SoldTogether(Decimal("0.125"), "Client Alpha"))
    pages = collection_pages(facts.record, items, total, pseudo)
    assert english(pages, facts) == []
    book = BytesIO(schedule(facts.record, items, total, pseudo, date(2026, 11, 2)))
    sheets = pl.read_excel(book, sheet_id=0, has_header=False, infer_schema_length=0)
    said = [cell for sheet in sheets.values() for row in sheet.iter_rows() for cell in row if cell]
    assert len(said) > 50
    mine = own(facts)
    assert [text for text in said if set(re.findall(r"[A-Za-z]{2,}", text)) - mine] == []


def test_the_word_processor_file_speaks_its_language(facts: Facts) -> None:
    file = Document(BytesIO(docx(statement(facts, LocaleWords.of("de_DE")))))
    foot = " ".join(part.text for part in file.sections[0].footer.paragraphs)
    assert "Seite 1 von 1" in foot
    assert any(part.text.startswith("Tabelle 1: ") for part in file.paragraphs)


@pytest.mark.parametrize("construction", CONSTRUCTIONS)
def test_the_inspection_sheet_goes_through_the_catalogue(construction: str, pseudo: LocaleWords) -> None:
    found = walk(construction, "worn", body_paint="needs repair")
    found = replace(found, changes=(Change("ee", done="well"), Change("ee", reversible=True, done_by="ee")))
    result = assess(found)
    budget = repair_budget(price_repairs(result, catalogue(), country="DE"))
    page = inspection_page(found, result, replace(budget, notice=""), pseudo)
    shown = re.sub(r"<(style|script)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    mine = {
        *NAMES,
        "ee",
        "quot",
        "amp",
        "common",
        "checks",
        *re.findall(r"\w+", " ".join(map(str, CAR.values()))),
    }
    mine |= set(
        re.findall(r"\w+", " ".join((*found.sheet.names, *budget.top()["title"], *budget.top()["reason"])))
    )
    mine |= {str(month) for month in Locale.parse("de_DE").months["format"]["wide"].values()} | {"DE"}
    assert set(re.findall(r"[A-Za-z]{2,}", shown)) - mine == set()


def test_what_an_inspection_saves_is_the_same_in_every_language() -> None:
    """The words of a state are translated for the eye alone."""
    found = walk()
    pages = [inspection_page(found, words=LocaleWords.of(name)) for name in ("en_GB", "fr_FR")]
    saved = [re.findall(r'value="([^"]*)"|id="inspection">(.*)</script>', page) for page in pages]
    assert saved[0] == saved[1] and "usé" in pages[1] and '<html lang="fr-FR">' in pages[1]
