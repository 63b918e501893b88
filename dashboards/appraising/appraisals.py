"""Appraisals: what a valuer writes, section by section, the evidence frozen with it, and its documents."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Final

import streamlit as st

from dashboards import caches, people
from dashboards.appraising import form
from dashboards.appraising.collection import ask_collection
from dashboards.appraising.evidence import (
    ask_choice,
    show_bases,
    show_beside_opinion,
    show_grid,
    show_own_sales,
)
from dashboards.appraising.photographs import show_photographs
from dashboards.asking.car_form import ask_car
from dashboards.downloads import offer_file
from dashboards.inspecting import sheets
from dashboards.page_layout import ask_market, finish, page, show_done
from dashboards.tables import AS_IT_IS, Columns, TableColumn, headings, show_table
from dashboards.text import write
from dashboards.url_state import BOUND, SHARED
from pricing.appraisal.consistency import contradictions
from pricing.appraisal.contents import missing
from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record.record import Appraisal, read_record
from pricing.appraisal.record.sections import SECTIONS
from pricing.appraisal.register import Entry, enter, history, read, revise
from pricing.car import Car
from pricing.car_fields import CONDITION
from pricing.errors import AppraisalError
from pricing.evidence.comparison.choices import kept
from pricing.model.price_model import PriceModel
from pricing.operations import drafts
from pricing.operations.appraisal_files import evidence_for, revised
from pricing.reports.documents import document
from pricing.reports.formats.blocks import Pages
from pricing.reports.formats.docx import docx
from pricing.reports.formats.pdf import page_pictures, pdf
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import capital, escaped
from pricing.words.sentences import car_words

NEW: Final = "a new one"
MANY: Final = "a collection, from a list of cars"
LABELS: Final = {
    "report": "the whole report",
    "statement": "statement for insurance (2 pages)",
    "letter": "letter (2 pages)",
}
_ENTRY_COLUMNS: Final[Columns] = {
    "appraisal_id": "Appraisal",
    **headings("revision", "kind", "client", "car"),
    "effective_date": TableColumn("Effective date", AS_IT_IS),
    **headings("completed"),
    "made_at": "Changed (UTC)",
    "made_by": "By",
}
_CHANGE_COLUMNS: Final[Columns] = {
    **headings("revision"),
    "made_at": "When (UTC)",
    "made_by": "By",
    "reason": "Why",
    **headings("field"),
    "old": "Before",
    "new": "After",
}
_OPEN: Final = "appraisal_to_open"
"""Session state: the appraisal to be opened at the next run."""


@page("Appraisals", ask_market)
def show_page(market: tuple[Snapshot, PriceModel]) -> None:
    """The appraisals there are; one of them, or a new one."""
    snapshot, _ = market
    show_done()
    if _OPEN in st.session_state:
        st.session_state["appraisal"] = st.session_state.pop(_OPEN)
    entries = caches.appraisals(snapshot)
    choices = [NEW, MANY, *entries["appraisal_id"].to_list()]
    chosen = st.selectbox("Appraisal", choices, key="appraisal", help=what_is("appraisal"), **BOUND)
    if chosen == MANY:
        ask_collection(snapshot)
    elif chosen != NEW:
        _show_entry(snapshot, read(snapshot.market, chosen))
    else:
        if not entries.is_empty():
            show_table(entries, "appraisals", _ENTRY_COLUMNS, every=entries)
        _begin(snapshot)


def _begin(snapshot: Snapshot) -> None:
    """A new record from the car of the form, and the sheet in hand if it is of this car."""
    st.header("Begin an appraisal")
    answer = ask_car(snapshot)
    if answer is None:
        return
    if not people.may("appraise"):
        st.info("Writing an appraisal needs the role appraise: ask whoever manages this market for it.")
        return
    by, assignment = form.ask_who(), form.ask_assignment(snapshot)
    subject = st.session_state.get("subject")
    choices = kept(snapshot.market, subject) if subject else ()  # those made on the page of comparables
    label = f"Take over the {len(choices)} choices on comparables that are kept under {subject!r}"
    if choices and not st.checkbox(escaped(label), value=True, key="take_choices"):
        choices = ()
    ready = bool(by) and assignment is not None
    pressed = st.button("Enter it and freeze the evidence", type="primary", disabled=not ready)
    if pressed and by and assignment:
        record = replace(_record(answer[0], assignment), choices=choices)
        with st.spinner("Gathering the evidence"):
            evidence = evidence_for(snapshot.path, record)
        (name,) = enter(snapshot.market, [(record, evidence)], by=by)
        st.session_state[_OPEN] = name
        finish(f"{name} is entered; its evidence is frozen.")


def _record(car: Car, assignment: dict[str, Any]) -> Appraisal:
    """A record that says of the car what the form and the sheet say, and leaves the rest to a person."""
    subject = {
        name: value for name, value in car.to_dict().items() if name != "channel" and value not in (None, [])
    }
    content: dict[str, Any] = {"assignment": assignment, "subject": subject}
    inspection, named = sheets.in_hand(), sheets.name()
    if inspection is not None and named is not None and inspection.car.get("model") == car.model:
        path = drafts.sheet_folder(sheets.beside(), named) / "inspection.json"
        content["inspection"] = {"sheet": str(path)}
        for name in CONDITION:
            subject.pop(name, None)
    return read_record(content)


def _show_entry(snapshot: Snapshot, entry: Entry) -> None:
    st.header(escaped(f"{entry.appraisal_id}, revision {entry.revision}"))
    car = vars(entry.record.subject) if entry.evidence is None else entry.evidence.valuation.car
    names = ("make", "model", "variant", "year", "condition_band")
    write(car_words({name: car[name] or None for name in names}))
    lacking = missing(entry.record, entry.evidence)
    disagreements = contradictions(entry.record, entry.evidence)
    for disagreement in disagreements:
        st.warning(escaped(f"{capital(disagreement.sentence)}. To mend it: {disagreement.mends}."))
    if lacking:
        lines = "\n".join(f"- {escaped(content.name)} ({escaped(content.part)})" for content in lacking)
        with st.expander(f"{len(lacking)} required contents are still missing", expanded=False):
            st.markdown(lines)
    elif not disagreements:
        st.write("Every required content is there." + ("" if entry.record.completed else " It is a draft."))
    facts = _facts(entry)
    _show_documents(entry, open_points=bool(lacking or disagreements))
    may = people.may("appraise")
    if facts is not None:
        with st.expander("Earlier sales and offers of the car"):
            show_own_sales(facts, "own_sales")
        with st.expander("Comparables beside the subject"):
            show_grid(facts)
            by_hand = ask_choice(snapshot, entry, facts) if may else None
        if by_hand is not None and not _signed():
            st.info("Say below who does this: a choice goes into the log.")
        elif by_hand is not None:
            _revise(snapshot, entry, by_hand, _signed())
    with st.expander("Photographs", key="photographs", on_change="rerun") as folded:
        if folded.open:
            _ask_photographs(snapshot, entry)
    if may:
        by = form.ask_who()
        answered = _ask_answers(entry, facts, disabled=not by)
        taken_over = form.ask_profiles(snapshot, entry, disabled=not by)
        record = answered if taken_over is None else taken_over
        if record is not None and by:
            _revise(snapshot, entry, record, by)
        whole = not (lacking or disagreements or entry.record.completed)
        if whole and entry.record.assignment.kind == "appraisal":
            form.ask_completion(snapshot, entry, by)
    with st.expander("Who changed what"):
        show_table(history(snapshot.market, entry.appraisal_id), "history", _CHANGE_COLUMNS)
    st.caption("A formal value is for a qualified valuer to give and to sign; this tool signs nothing.")


def _signed() -> str:
    """Who does this, as far as it was said."""
    return str(people.person() or st.session_state.get("valuer") or "")


def _ask_answers(entry: Entry, facts: Facts | None, *, disabled: bool) -> Appraisal | None:
    section = st.selectbox("Section to answer", list(SECTIONS), key="section", **SHARED)
    if section == "assignment":
        show_bases(entry.record.assignment.basis)
    if section != "opinion" or facts is None:
        return form.ask_section(entry, section, disabled=disabled)
    fields, evidence = st.columns(2, gap="large")
    with evidence:
        show_beside_opinion(facts)
    with fields:
        return form.ask_section(entry, section, disabled=disabled)


def _ask_photographs(snapshot: Snapshot, entry: Entry) -> None:
    """The photographs of the record; a change of them is another revision with the same evidence."""
    changed = show_photographs(snapshot, entry, may_change=people.may("appraise"))
    if changed is None:
        return
    if not _signed():
        st.info("Say below who does this: a change of photographs goes into the log.")
    elif changed.photographs == entry.record.photographs:
        st.info("They are all here already.")
    else:
        record = replace(entry.record, photographs=changed.photographs)
        revise(
            snapshot.market, entry, record, entry.evidence, by=_signed(), reason=changed.reason,
            photographs=changed.read,
        )  # fmt: skip
        finish(f"{entry.appraisal_id} is revised: {changed.reason}.")


def _revise(snapshot: Snapshot, entry: Entry, record: Appraisal, by: str) -> None:
    with st.spinner("Gathering the evidence"):
        revised(snapshot.market, entry, record, by=by, reason="edited")
    finish(f"{entry.appraisal_id} is revised; the revision before is kept.")


def _facts(entry: Entry) -> Facts | None:
    try:
        return facts_of(entry)
    except AppraisalError as error:
        st.info(escaped(f"No ranges yet: {error}."))
        return None


def _show_documents(entry: Entry, *, open_points: bool) -> None:
    """The documents of the record with the evidence frozen with it, from the first answer on."""
    st.header("Documents")
    if open_points:
        st.caption("The draft as it stands; on its first pages it says what is still open.")
    kind = st.selectbox("Document", list(LABELS), format_func=LABELS.__getitem__, key="document")
    paper, words = form.ask_layout()
    day = entry.record.assignment.report_date or datetime.now(UTC).date()

    def pages() -> Pages:
        return document(entry, kind, words, unfinished=True)

    name = entry.appraisal_id
    with st.container(horizontal=True):
        offer_file(
            "Download the PDF", lambda: pdf(pages(), paper, day), f"{name}.pdf", "application/pdf",
            type="primary",
        )  # fmt: skip
        offer_file("Download for a word processor", lambda: docx(pages(), paper, day), f"{name}.docx")
        look = st.button("Look at it here", key="look_at_document")
    if look:
        with st.spinner("Laying the pages out"):
            pictures = page_pictures(pages(), paper)
        with st.container(horizontal=True):
            for number, picture in enumerate(pictures, start=1):
                st.image(picture, f"Page {number} of {len(pictures)}", width=340)
