"""What the columns of a table are, what holds for all its rows, what its words mean: each in a pick-list."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from hashlib import sha256
from typing import Any, Final, TypeVar

import streamlit as st

from dashboards import caches
from dashboards.asking.typed_fields import ask_number
from dashboards.caches import GivenTable
from dashboards.downloads import offer_file
from pricing.intake.mappings.headings import CAR
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import mapping_text, read_mapping, recognised
from pricing.intake.mappings.proposals import Proposal
from pricing.intake.mappings.questions import CHOICES, MAY_BE_UNKNOWN, UNKNOWN, WORDS_OF
from pricing.intake.mappings.recognition import MAY_BE, OPTION, RecognisedColumn
from pricing.intake.mappings.settling import with_answers
from pricing.intake.tables.layout import Layout
from pricing.intake.transfers import received
from pricing.intake.written.cars import CarNames
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import capital, closed, escaped
from pricing.words.mapping_keys import MAPPING_KEYS
from pricing.words.sentences import option_words

Item = TypeVar("Item")

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


def ask_mapping(table: GivenTable, turn: int, snapshot: Snapshot | None) -> Proposal:
    """The mapping of a table, as a person has settled it, with what is still open."""
    key = f"{turn}-{table.key}"
    layout, sheets = Layout(), caches.sheets_of(table)
    if len(sheets) > 1:
        sheet = st.selectbox("Sheet", [ALL_SHEETS, *sheets], key=f"sheet-{key}", width=360)
        layout = Layout(sheet=None if sheet == ALL_SHEETS else sheet)
    earlier = _ask_kept(table, layout, key, snapshot)
    key = f"{key}-{'' if earlier is None else sha256(mapping_text(earlier).encode()).hexdigest()[:8]}"
    layout = layout if earlier is None or layout.sheet is not None else earlier.layout
    names = CarNames() if snapshot is None else caches.car_names(snapshot)
    records = "" if snapshot is None else snapshot.state.records
    first = caches.proposal(table, layout, (), earlier, records, names)
    st.header("What its columns are", help=what_is("mapping"))
    chosen = tuple((column.theirs, _ask_column(column, key)) for column in first.columns)
    proposal = caches.proposal(table, layout, chosen, earlier, records, names)
    st.header("What holds for every row")
    source = proposal.mapping.source
    typed = st.text_input(
        "Where it comes from", source, 100, key=f"source-{key}", width=360,
        help="The next file of the same source is read the same way.",
    )  # fmt: skip
    mapping = replace(proposal.mapping, source=(typed or "").strip() or source, layout=layout)
    named = replace(proposal, mapping=mapping)
    settled = with_answers(named, _ask_whole_file(named, key))
    settled = with_answers(settled, _ask_words(settled, key))
    offer_file(
        "Keep this mapping as a file", settled.text, f"{table.name}.mapping.toml", "application/toml",
        type="tertiary", key=f"keep-mapping-{key}",
    )  # fmt: skip
    return settled


def _ask_kept(table: GivenTable, layout: Layout, key: str, snapshot: Snapshot | None) -> Mapping | None:
    """A mapping from before: one that the person gives, or that of an earlier file of the source."""
    with st.expander("A mapping that you kept as a file"):
        own = st.file_uploader("Mapping of this source", type="toml", max_upload_size=1, key=f"own-{key}")
        st.write("A mapping file may hold:")
        parts, meanings = zip(*MAPPING_KEYS, strict=True)
        st.table({"Part": list(parts), "What it says": list(meanings)})
    if own is not None:
        with received("mapping.txt", own.getvalue()) as path:
            return read_mapping(path.rename(path.with_suffix(".toml")))
    columns = [name for name in caches.sample(table, layout).columns if name != "row_number"]
    earlier = None if snapshot is None else recognised(columns, caches.kept_mappings(snapshot))
    if earlier is None:
        return None
    label = f"Read as the last file of {earlier.source}, by its headings"
    return earlier if st.checkbox(escaped(label), True, key=f"as-before-{key}") else None


def _ask_column(column: RecognisedColumn, key: str) -> str | None:
    """One heading with three of its cells, and what it may be."""
    heading, meaning = st.columns([3, 2], vertical_alignment="center")
    cells = " · ".join(cell[:40] for cell in column.samples)
    heading.markdown(f"**{escaped(column.theirs)}**  \n:small[{escaped(cells or 'no cell is filled')}]")
    with meaning:
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


def _ask_whole_file(proposal: Proposal, key: str) -> dict[str, str]:
    """What a column does not say, asked once for all rows."""
    mapping = proposal.mapping
    open_questions = {question.name: question.why for question in proposal.questions}
    wanted = [name for name in _WHOLE_FILE if name not in mapping.columns]
    if "order" in open_questions or mapping.date_order is not None:
        wanted.append("order")
    wanted += [name for name in ("odometer_km", "car") if name in open_questions]
    if "odometer_km" in mapping.columns and "odometer_km" not in open_questions:
        wanted.append("odometer_km")
    wanted += ["amount_unit", "decimal"] if "amount" in mapping.columns else []
    wanted.sort(key=lambda name: name not in open_questions)
    picked = {name: _ask_one(name, mapping, open_questions.get(name), key) for name in in_threes(wanted)}
    answers = {name: answer for name, answer in picked.items() if answer is not None}
    settled = with_answers(proposal, answers)
    if settled.mapping.constants.get("price_basis") == "hammer" and "premium" not in mapping.columns:
        rates = [charge.tiers for charge in mapping.charges if charge.kind == "premium"]
        if not rates:
            for _ in in_threes([None]):
                rate = ask_number(
                    "Buyer's premium, per cent", f"premium-{key}", "premium", 0, 99,
                    placeholder="with its tax", help=what_is("premium"),
                )  # fmt: skip
                if rate is None:
                    st.caption("Hammer prices become all-in prices by it.")
                else:
                    answers["premium"] = f"{rate:g}"
    for column in ("make", "model", "year", "event_date", "amount"):
        if column in open_questions:
            st.warning(f"No column is the {called(column)}: pick the one that is, or no row can be loaded.")
    return answers


def _ask_one(name: str, mapping: Mapping, why: str | None, key: str) -> str | None:
    """One answer for the whole file; what the file itself says stands in it already."""
    may_be_unknown = name in MAY_BE_UNKNOWN
    choices = [*([UNKNOWN] if may_be_unknown else []), *CHOICES[name]]
    known: dict[str, Any] = {
        "order": mapping.date_order, "odometer_km": mapping.odometer_unit if why is None else None,
        "amount_unit": mapping.amount_unit, "decimal": mapping.decimal,
        "car": "by words" if mapping.car_words else None,
    }  # fmt: skip
    value = known[name] if name in known else mapping.constants.get(name)
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
        st.caption(escaped(closed(capital(why))))
    return answer


def in_threes(items: Sequence[Item]) -> Iterator[Item]:
    """Each item, while what is asked of it goes into its place: three in a row, so that on a narrow window
    they keep their order."""
    for first in range(0, len(items), 3):
        for item, column in zip(items[first : first + 3], st.columns(3), strict=False):
            with column:
                yield item


def _ask_words(proposal: Proposal, key: str) -> dict[str, str]:
    """Words of theirs that nobody knows, each with what it may mean."""
    unknown = [question for question in proposal.questions if question.section.startswith(WORDS_OF)]
    if not unknown:
        return {}
    st.header("What its words mean")
    answers = {}
    for question in in_threes(unknown):
        column = called(question.section.removeprefix(WORDS_OF)).partition(" (")[0]
        label = f"{column.capitalize()}: {question.key[:60]}"
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
