"""One sale: typed in by hand and held to the checks of a file, its doubles shown; changed, or taken out."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.page_layout import finish, one_sentence
from dashboards.recording.mapping import in_threes
from dashboards.tables import show_table
from dashboards.text import write, write_list
from pricing.money.currencies import CURRENCIES
from pricing.records.layout import ColumnLayout, record_layout
from pricing.snapshot import Snapshot
from pricing.store.records.one_sale import AddedSale, add_sale, try_sale
from pricing.words.language.plain_text import capital, escaped
from pricing.words.language.reader import number_words
from pricing.words.loading import record_sentence, told_sentences
from pricing.words.sentences import option_words

FIRST_ASKED: Final = (
    "make", "model", "variant", "year", "event_date", "outcome", "amount", "price_basis", "currency",
    "channel", "country", "condition_band", "odometer_km", "options", "chassis_number", "notes",
)  # fmt: skip
"""What is asked at once; the rest is folded away."""

MATCHES_SHOWN: Final = 30
LONGEST: Final = 500
"""Characters of a cell."""

_COLUMNS: Final = {column.name: column for column in record_layout()}
_NAMES: Final = {
    "event_date": "Day of the sale or offer", "amount": "Price", "price_basis": "Basis of the price",
}  # fmt: skip
_NEEDED: Final = ("make", "model", "year", "outcome", "price_basis")
_EXAMPLES: Final = {"amount": "£4,250", "odometer_km": "54k miles", "year": "1966"}
_ADDED: Final = "sale_added"
_WARNED: Final = "sale_doubles_shown"
_PICKED: Final = "sale_picked"
_ACTS: Final = ("Add a sale", "Change or take out a record")
_NEW_NAMES: Final = ("make", "model", "variant")


def ask_sale(snapshot: Snapshot | None, turn: int) -> None:
    """A form for one sale, or one record to change; ``snapshot`` is that of the market, if there is one."""
    _show_added()
    if snapshot is None:
        _ask_new(None, turn)
        return
    act = st.segmented_control(
        "What to do", _ACTS, default=_ACTS[0], required=True, key="sale_act", label_visibility="collapsed"
    )
    if act == _ACTS[0]:
        _ask_new(snapshot, turn)
    else:
        _ask_change(snapshot)


def _show_added() -> None:
    added: AddedSale | None = st.session_state.pop(_ADDED, None)
    if added is None:
        return
    sentence = record_sentence(added.record.row(0, named=True))
    st.success(escaped(f"Added ({added.report.batch_id}): {sentence}."))
    write(*(f"{capital(words)}." for words in told_sentences(added.report)))
    if added.doubles.height:
        st.warning("It may be one sale with these; where it is not, part them under Duplicates, below.")
        _list_records(added.same)


def _list_records(records: pl.DataFrame) -> None:
    for row in records.iter_rows(named=True):
        write_list([record_sentence(row)])


def _ask_new(snapshot: Snapshot | None, turn: int) -> None:
    st.write(
        "Write cells as you would in a notebook: £4,250, '68, 54k miles, Mar 2024. What has a * must be said."
    )
    with st.form(f"new-sale-{turn}", border=True):
        cells = _fields({}, snapshot, f"new-{turn}")
        believe = st.checkbox("The figures are right, doubtful as they look", False, key=f"believe-{turn}")
        add = st.form_submit_button("Add this sale", type="primary")
    if not add:
        return
    stated = {name: cell for name, cell in cells.items() if cell is not None}
    with one_sentence():
        if st.session_state.get(_WARNED) != stated and _warn_of_doubles(stated):
            return
        st.session_state[_ADDED] = add_sale(caches.own_market_path(), stated, believe=believe)
        st.session_state["records_round"] = turn + 1
        st.rerun()


def _warn_of_doubles(stated: dict[str, str]) -> bool:
    """Show the records that a sale may be one with before it is added; whether there are any."""
    same = try_sale(caches.own_market_path(), stated)
    if same.is_empty():
        return False
    st.session_state[_WARNED] = stated
    st.warning(
        "Nothing is added yet: it may be one sale with these. Add it again, and they count as one sale, "
        "which can be parted later; or leave it."
    )
    _list_records(same)
    return True


def _ask_change(snapshot: Snapshot) -> None:
    """Find a record, and change cells of it or take it out; what it was is kept."""
    typed = st.text_input(
        "Find a record", "", LONGEST, key="find_record", placeholder="make, model, year, chassis, reference"
    )
    if not typed.strip():
        return
    matches = _matches(snapshot.sales(every_record=True), typed)
    if matches.is_empty():
        st.write("No record has all of these words.")
        return
    rows = matches.head(MATCHES_SHOWN).rows(named=True)
    labels = {row["record_id"]: record_sentence(row) for row in rows}
    before = st.session_state.get(_PICKED)
    picked = st.selectbox(
        f"{number_words(len(rows))} of {number_words(matches.height)} found", list(labels),
        list(labels).index(before) if before in labels else None, placeholder="choose one",
        # A browser keeps the words of a choice, which are others once the record is changed.
        format_func=lambda record: labels[record], key=f"found_record-{snapshot.state.records}",
    )  # fmt: skip
    st.session_state[_PICKED] = picked
    if picked is None:
        return
    record = next(row for row in rows if row["record_id"] == picked)
    held = {name: _text(record[name]) for name in _COLUMNS} | {"event_date": _known_day(record)}
    key = f"change-{picked}-{snapshot.state.records}"  # another form once the record is changed
    with st.form(key, border=True):
        cells = _fields(held, snapshot, key)
        reason = st.text_input("Why (kept with the old values)", "", LONGEST, key=f"why-{key}")
        with st.container(horizontal=True):
            keep = st.form_submit_button("Keep the changes", type="primary")
            remove = st.form_submit_button("Take this record out")
    _show_past(snapshot, picked)
    changed = {name: cell for name, cell in cells.items() if cell != held[name]}
    with one_sentence():
        if keep and changed:
            snapshot.market.correct(picked, changed, reason=reason)
            names = ", ".join(map(option_words, changed)).capitalize()
            finish(f"{names} changed; what stood there is kept.")
        elif keep:
            st.write("Nothing was changed.")
        elif remove:
            snapshot.market.remove(picked, reason=reason)
            finish("The record is taken out; what it was is kept, and no load brings it back.")


def _show_past(snapshot: Snapshot, record: str) -> None:
    past = snapshot.market.corrections(record)
    if past.is_empty():
        return
    st.write("What was changed of it before:")
    names = {"done_at": "When (UTC)", "column": "Cell", "old": "Before", "new": "After", "reason": "Why"}
    show_table(past, f"changes of {record[:8]}", names, height="content")


def _matches(records: pl.DataFrame, typed: str) -> pl.DataFrame:
    """Records that hold every word, in whatever column."""
    about = pl.col(
        "make", "model", "variant", "year", "chassis_number", "source", "source_ref", "event_date", "amount"
    )
    text = pl.concat_str(about.cast(pl.String), separator=" ", ignore_nulls=True).str.to_lowercase()
    holds = (text.str.contains(word, literal=True) for word in typed.lower().split())
    return records.filter(*holds).sort("event_date", descending=True)


def _fields(held: Mapping[str, str | None], snapshot: Snapshot | None, key: str) -> dict[str, str | None]:
    """The cells of a record by column, as typed; None for an empty one."""
    cells = {}
    for name in in_threes(FIRST_ASKED):
        cells[name] = _field(_COLUMNS[name], held.get(name), snapshot, key)
    with st.expander("More of the car and the offer"):
        for name in in_threes([name for name in _COLUMNS if name not in FIRST_ASKED]):
            cells[name] = _field(_COLUMNS[name], held.get(name), snapshot, key)
    return cells


def _field(column: ColumnLayout, value: str | None, snapshot: Snapshot | None, key: str) -> str | None:
    """One cell: a pick-list where its words are known, else as a person writes it."""
    label = _NAMES.get(column.name, option_words(column.name).capitalize())
    if column.name in _NEEDED:
        label = f"{label} *"
    key = f"sale-{key}-{column.name}"
    if column.name == "options":
        chosen = [] if value is None else value.split(";")
        picked = st.multiselect(
            label, column.words, chosen, format_func=option_words, key=key, placeholder="none"
        )
        return ";".join(picked) or None
    words: list[str] = list(column.words)
    if column.name in _NEW_NAMES and snapshot is not None:
        words = caches.offered_names(snapshot, value)[column.name].drop_nulls().unique().sort().to_list()
    elif column.name == "currency":
        words = sorted(CURRENCIES)
    example = _EXAMPLES.get(column.name, "not said")
    if column.name == "event_date":
        example = f"today, {datetime.now(UTC).date().isoformat()}"
    meaning = escaped(f"{capital(column.meaning)}.")
    if not words:
        typed = st.text_input(label, value or "", None, key=key, placeholder=example, help=meaning)
        return typed.strip() if typed and typed.strip() else None
    if value is not None and value not in words:
        words.append(value)
    return st.selectbox(
        label,
        words,
        None if value is None else words.index(value),
        key=key,
        placeholder="in the price, or not said" if column.name == "currency" else example,
        accept_new_options=column.name in _NEW_NAMES,
        help=meaning,
    )


def _known_day(record: Mapping[str, Any]) -> str:
    """The day of an event as far as it is known: the middle of a span is none that anybody said."""
    known = {"month": "%Y-%m", "year": "%Y"}.get(record["date_precision"], "%Y-%m-%d")
    return str(record["event_date"].strftime(known))


def _text(cell: Any) -> str | None:
    if cell is None or cell == []:
        return None
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, list):
        return ";".join(cell)
    if isinstance(cell, float):
        return f"{cell:g}" if cell < 1e6 and float(f"{cell:g}") == cell else str(cell)
    return f"{cell.normalize():f}" if hasattr(cell, "normalize") else str(cell)
