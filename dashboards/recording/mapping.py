"""What the columns of a table are, what holds for all its rows, what its words mean: each in a pick-list."""

from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from typing import Any, Final

import streamlit as st

from dashboards import caches
from dashboards.asking.typed_fields import ask_number
from dashboards.caches import Given
from pricing.intake.mappings.headings import CAR
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import mapping_text, read_mapping, recognised
from pricing.intake.mappings.proposals import Proposal
from pricing.intake.mappings.questions import CHOICES, MAY_BE_UNKNOWN, UNKNOWN, WORDS_OF
from pricing.intake.mappings.recognition import MAY_BE, OPTION, Column
from pricing.intake.mappings.settling import with_answers
from pricing.intake.tables.layout import Layout
from pricing.intake.transfers import received
from pricing.intake.written.cars import CarNames
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import closed, escaped
from pricing.words.loading import MAPPING_KEYS
from pricing.words.sentences import option_words

UNSURE: Final = 0.9
"""How sure a proposal has to be not to give its reason."""

ALL_SHEETS: Final = "all that are shown"

_CALLED: Final = {
    CAR: "whole car (year, make, model)", "amount": "price", "event_date": "day of the sale or offer",
    "source_ref": "lot or reference", "outcome": "outcome (sold, unsold, asking)",
    "listed_on": "offered since", "price_basis": "basis of the price", "options": "list of options",
    "channel": "channel (where it was offered)", "event_month": "month of the sale or offer",
    "event_year": "year of the sale or offer", "odometer_unit": "unit of the odometer",
}  # fmt: skip
_WHOLE_FILE: Final = ("outcome", "price_basis", "currency", "channel", "country")
_ASKS: Final = {
    "order": "Order of dates in figures",
    "odometer_km": "Unit of the odometer",
    "amount_unit": "Figures of money count",
    "decimal": "Decimal mark",
    "car": "Cars whose name is not known",
    "currency": "Currency",
    "price_basis": "Basis of the prices",
}


def ask_mapping(given: Given, turn: int, snapshot: Snapshot | None) -> Proposal:
    """The mapping of a table, as a person has settled it, with what is still open."""
    key = f"{turn}-{given.key}"
    layout = _ask_sheet(given, key)
    kept = _ask_kept(given, layout, key, snapshot)
    key = f"{key}-{'' if kept is None else sha256(mapping_text(kept).encode()).hexdigest()[:8]}"
    layout = layout if kept is None or layout.sheet is not None else kept.layout
    names = CarNames() if snapshot is None else caches.car_names(snapshot)
    records = "" if snapshot is None else snapshot.state.records
    first = caches.proposal(given, layout, (), kept, records, names)
    st.header("What its columns are", help=what_is("mapping"))
    chosen = tuple((column.theirs, _ask_column(column, key)) for column in first.columns)
    proposal = caches.proposal(given, layout, chosen, kept, records, names)
    st.header("What holds for every row")
    source = _ask_source(proposal.mapping.source, key)
    named = replace(proposal, mapping=replace(proposal.mapping, source=source, layout=layout))
    settled = with_answers(named, _ask_whole_file(named, key))
    settled = with_answers(settled, _ask_words(settled, key))
    _keep(settled, given, key)
    return settled


def _ask_sheet(given: Given, key: str) -> Layout:
    sheets = caches.sheets_of(given)
    if len(sheets) < 2:
        return Layout()
    sheet = st.selectbox("Sheet", [ALL_SHEETS, *sheets], key=f"sheet-{key}", width=360)
    return Layout(sheet=None if sheet == ALL_SHEETS else sheet)


def _ask_kept(given: Given, layout: Layout, key: str, snapshot: Snapshot | None) -> Mapping | None:
    """A mapping from before: one that the person gives, or that of an earlier file of the source."""
    with st.expander("A mapping that you kept as a file"):
        own = st.file_uploader("Mapping of this source", type="toml", max_upload_size=1, key=f"own-{key}")
        st.write("A mapping file may hold:")
        st.table(
            {"Part": [part for part, _ in MAPPING_KEYS], "What it says": [said for _, said in MAPPING_KEYS]}
        )
    if own is not None:
        with received("mapping.txt", own.getvalue()) as path:
            return read_mapping(path.rename(path.with_suffix(".toml")))
    columns = [name for name in caches.sample(given, layout).columns if name != "row_number"]
    found = None if snapshot is None else recognised(columns, caches.kept_mappings(snapshot))
    if found is None:
        return None
    said = f"Read as the last file of {found.source}, by its headings"
    return found if st.checkbox(escaped(said), True, key=f"as-before-{key}") else None


def _ask_column(column: Column, key: str) -> str | None:
    """One heading with three of its cells, and what it may be."""
    heading, taken = st.columns([3, 2], vertical_alignment="center")
    cells = " · ".join(cell[:40] for cell in column.samples)
    with heading:
        st.markdown(f"**{escaped(column.theirs)}**  \n:small[{escaped(cells or 'no cell is filled')}]")
    with taken:
        choices = (None, *MAY_BE)
        picked: str | None = st.selectbox(
            f"What '{' '.join(column.theirs.split())}' is",  # read out as it stands, so nothing is escaped
            choices,
            choices.index(column.ours),
            format_func=called,
            key=f"column-{key}-{column.theirs}",
            label_visibility="collapsed",
        )
        if column.ours is not None and column.sure < UNSURE and picked == column.ours:
            st.caption(escaped(f"Not sure: {column.reason}."))
    return picked


def called(ours: str | None) -> str:
    """What a person calls one of ``MAY_BE``.

    >>> called("amount"), called("option wire_wheels"), called(None)
    ('price', 'option: wire wheels', 'left out')
    """
    if ours is None:
        return "left out"
    if ours.startswith(OPTION):
        return f"option: {option_words(ours.removeprefix(OPTION))}"
    return _CALLED.get(ours, option_words(ours))


def _ask_source(source: str, key: str) -> str:
    typed = st.text_input(
        "Where it comes from", source, 100, key=f"source-{key}", width=360,
        help="The next file of the same source is read the same way.",
    )  # fmt: skip
    return typed.strip() if typed and typed.strip() else source


def _ask_whole_file(proposal: Proposal, key: str) -> dict[str, str]:
    """What a column does not say, asked once for all rows."""
    mapping = proposal.mapping
    asked = {question.name: question.why for question in proposal.questions}
    answers: dict[str, str] = {}
    wanted = [name for name in _WHOLE_FILE if name not in mapping.columns]
    if "order" in asked or mapping.date_order is not None:
        wanted.append("order")
    wanted += [name for name in ("odometer_km", "car") if name in asked]
    if "odometer_km" in mapping.columns and "odometer_km" not in asked:
        wanted.append("odometer_km")
    wanted += ["amount_unit", "decimal"] if "amount" in mapping.columns else []
    wanted.sort(key=lambda name: name not in asked)
    for name, cell in zip(wanted, side_by_side(len(wanted)), strict=True):
        with cell:
            answer = _ask_one(name, mapping, asked.get(name), key)
        if answer is not None:
            answers[name] = answer
    settled = with_answers(proposal, answers)
    if settled.mapping.constants.get("price_basis") == "hammer" and "premium" not in mapping.columns:
        rates = [charge.tiers for charge in mapping.charges if charge.kind == "premium"]
        if not rates:
            with next(side_by_side(1)):
                rate = ask_number(
                    "Buyer's premium, per cent", f"premium-{key}", "premium", 0, 99,
                    placeholder="with its tax", help=what_is("premium"),
                )  # fmt: skip
                if rate is None:
                    st.caption("Hammer prices become all-in prices by it.")
            if rate is not None:
                answers["premium"] = f"{rate:g}"
    for column in (name for name in asked if name in ("make", "model", "year", "event_date", "amount")):
        st.warning(f"No column is the {called(column)}: pick the one that is, or no row can be loaded.")
    return answers


def _ask_one(name: str, mapping: Mapping, why: str | None, key: str) -> str | None:
    """One answer for the whole file; what the file itself says stands in it already."""
    may_be_unknown = name in MAY_BE_UNKNOWN
    choices = [*([UNKNOWN] if may_be_unknown else []), *CHOICES[name]]
    said: dict[str, Any] = {
        "order": mapping.date_order, "odometer_km": mapping.odometer_unit if why is None else None,
        "amount_unit": mapping.amount_unit, "decimal": mapping.decimal,
        "car": "by words" if mapping.car_words else None,
    }  # fmt: skip
    value = said[name] if name in said else mapping.constants.get(name)
    if value is None and may_be_unknown and why is None:
        value = UNKNOWN
    label = _ASKS.get(name, called(name).partition(" (")[0].capitalize())
    answer: str | None = st.selectbox(
        label,
        choices,
        None if value not in choices else choices.index(value),
        placeholder="the cells say" if name == "currency" and why is None else "choose",
        key=f"answer-{key}-{name}",
    )
    if answer is None and why is not None:
        st.caption(escaped(closed(f"{why[:1].upper()}{why[1:]}")))
    return answer


def side_by_side(count: int) -> Iterator[Any]:
    """Places for fields, three in a row, so that on a narrow window they keep their order."""
    for first in range(0, count, 3):
        yield from st.columns(3)[: count - first]


def _ask_words(proposal: Proposal, key: str) -> dict[str, str]:
    """Words of theirs that nobody knows, each with what it may mean."""
    open_words = [question for question in proposal.questions if question.section.startswith(WORDS_OF)]
    if not open_words:
        return {}
    st.header("What its words mean")
    answers = {}
    for question, cell in zip(open_words, side_by_side(len(open_words)), strict=True):
        column = called(question.section.removeprefix(WORDS_OF)).partition(" (")[0]
        label = f"{column.capitalize()}: {question.key[:60]}"
        with cell:
            st.markdown(f":small[{escaped(label)}]", help=escaped(question.why))
            answer = st.selectbox(
                label,  # read out as it stands, so nothing is escaped
                [UNKNOWN, *question.choices],
                None,
                placeholder="choose",
                key=f"answer-{key}-{question.name}",
                label_visibility="collapsed",
            )
        if answer is not None:
            answers[question.name] = answer
    return answers


def _keep(proposal: Proposal, given: Given, key: str) -> None:
    st.download_button(
        "Keep this mapping as a file",
        proposal.text,
        f"{given.name}.mapping.toml",
        "application/toml",
        on_click="ignore",
        type="tertiary",
        key=f"keep-mapping-{key}",
    )
