"""A collection, on the page of appraisals: a list of cars valued on the same terms, as a workbook and one
bound document."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import jobs, people
from dashboards.appraising.evidence import show_bases
from dashboards.appraising.form import ask_layout, ask_shared_terms, ask_who
from dashboards.asking.typed_fields import ask_number
from dashboards.downloads import as_csv, offer_file
from dashboards.tables import headings, show_table
from dashboards.text import write, write_small
from pricing.appraisal.collection import Item, total_of, value_collection
from pricing.appraisal.collection_list import COLUMNS, SHEET, Row, read_cars
from pricing.appraisal.collection_total import MOST_OFF, SoldTogether, figure_of
from pricing.appraisal.record.record import Appraisal, read_record
from pricing.intake.transfers import received
from pricing.operations.appraisal_files import known_on
from pricing.progress import Progress
from pricing.reports.collection import ADDED_UP, collection_pages, collection_sentence
from pricing.reports.formats.pdf import pdf
from pricing.reports.schedule import schedule
from pricing.snapshot import Snapshot
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import number_words

KINDS: Final = ("csv", "xlsx", "parquet")
LARGEST_MEGABYTES: Final = 10


@dataclass(frozen=True)
class Collection:
    """A list of cars, each valued or with the reason why not, what they come to, and its documents."""

    items: list[Item]
    sentence: str
    workbook: bytes
    bound: bytes


def ask_collection(snapshot: Snapshot) -> None:
    """Ask for the list and the terms; value it on a press, and hand out what came of it."""
    st.header("Appraise a collection")
    if not people.may("appraise"):
        st.info("Writing an appraisal needs the role appraise: ask whoever manages this market for it.")
        return
    st.write(
        "A car a row: make, model and year are needed, the other columns of the empty list are welcome. "
        "A row with figure, or low and high, is entered as a draft appraisal on the terms below, every other "
        "as a model report, which a valuer can make an appraisal."
    )
    empty = pl.DataFrame(schema=dict.fromkeys((name for name in COLUMNS if name != SHEET), pl.String))
    offer_file("An empty list (CSV)", as_csv(empty), "cars.csv", "text/csv")
    upload = st.file_uploader(
        "List of cars", type=list(KINDS), max_upload_size=LARGEST_MEGABYTES, key="collection"
    )
    by, terms = ask_who(), ask_shared_terms(snapshot)
    show_bases("" if terms is None else terms["basis"])
    with st.expander("Sold all at once"):
        most = float(100 * MOST_OFF)
        off = ask_number("Per cent that this takes off", "off_at_once", "part that this takes off", 0, most)
        because = st.text_input("Why so much", key="off_because")
    together = SoldTogether(Decimal(repr(off)) / 100, because) if off else None
    layout = ask_layout()
    if upload is None:
        return
    with received(upload.name, upload.getbuffer()) as path:
        cars = read_cars(path)
    write(f"Cars in {upload.name}: {number_words(len(cars))}.")
    stated = repr((snapshot.path, terms, by, together)).encode()
    key = f"collection {hashlib.sha256(stated + upload.getvalue()).hexdigest()}"
    job = jobs.find(key)
    if job is None or job.error is not None:
        ready = bool(by) and terms is not None
        pressed = st.button("Value the list and freeze the evidence", type="primary", disabled=not ready)
        if not ready:
            st.caption(
                "Say who does this, and every term above, basis and market level too; then it can be valued."
            )
        if pressed and by and terms:
            shared = read_record({"assignment": terms})
            work = partial(_value, snapshot, shared, cars, by, layout, together)
            job = jobs.start(key, "Valuing the collection", work)
    if job is not None and jobs.show(job):
        _show(job.outcome, snapshot.base_currency)


def _value(
    snapshot: Snapshot,
    shared: Appraisal,
    cars: list[Row],
    by: str,
    layout: tuple[str, LocaleWords],
    together: SoldTogether | None,
    tell: Progress,
) -> Collection:
    paper, words = layout
    at, today = shared.assignment.effective_date, datetime.now(UTC).date()
    tell("reading what was known on the day", 0, len(cars))
    known = known_on(snapshot.path, today if at is None else at)
    items = value_collection(snapshot.market, known, shared, cars, by=by, progress=tell)
    total = total_of(items, together)
    workbook = schedule(shared, items, total, words, today)
    bound = pdf(collection_pages(shared, items, total, words, tell), paper, today, tell)
    sentence = collection_sentence(items, total, shared.assignment.currency)
    return Collection(items, sentence, workbook, bound)


def _show(collection: Collection, currency: str) -> None:
    st.write(f"**{escaped(collection.sentence)}.**")
    write_small(ADDED_UP)
    with st.container(horizontal=True):
        offer_file("Download the workbook", collection.workbook, "schedule.xlsx", type="primary")
        offer_file("Download the bound PDF", collection.bound, "schedule.pdf", "application/pdf")
    show_table(
        pl.DataFrame([_row(item) for item in collection.items], infer_schema_length=None),
        "collection",
        {
            **headings("row", "reference", "car"),
            "counted": f"Counted ({currency})",
            "entered": "Entered as",
            "reason": "Not valued because",
        },
    )
    refused = (item for item in collection.items if item.facts is None)
    write(*(f"Row {item.row.number} was not valued: {item.reason}." for item in refused))
    st.caption(
        "Each car that was valued is among the appraisals at the head of this page, to open and to edit."
    )
    st.caption("A formal value is for a qualified valuer to give and to sign; this tool signs nothing.")


def _row(item: Item) -> dict[str, Any]:
    cells = item.row.cells
    counted = None if item.facts is None else figure_of(item.facts)
    return {
        "row": item.row.number,
        "reference": item.row.reference,
        "car": " ".join(cells[name] for name in ("year", "make", "model", "variant") if name in cells),
        "counted": None if counted is None else float(counted),
        "entered": None if item.facts is None else item.facts.appraisal_id,
        "reason": item.reason,
    }
