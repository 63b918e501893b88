"""Records: a table of sales in, by what its columns are said to be, or one sale; what was loaded; the fit."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, jobs, page_layout, people
from dashboards.asking.offer_terms import currency_choices
from dashboards.caches import GivenTable
from dashboards.recording import one_sale
from dashboards.recording.mapping import ask_mapping
from dashboards.recording.questions import show_questions
from dashboards.recording.trial import show_records, show_report, show_trial
from dashboards.tables import headings, show_table
from pricing.errors import PricingError
from pricing.intake.mappings.mapping_files import mapping_text, write_mapping_text
from pricing.intake.mappings.proposals import Proposal
from pricing.intake.transfers import LARGEST_UPLOAD, received, upload_kinds
from pricing.model.market_fit import fit_market
from pricing.model.saved import save
from pricing.progress import Progress
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from pricing.store.records.first_load import load_into
from pricing.store.records.loading import LoadReport
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import capital, escaped
from pricing.words.language.reader import number_words
from pricing.words.loading import name_questions

ONE_SALE: Final = "One sale"
WAYS: Final = ("A file", "A pasted table", ONE_SALE)
PASTED: Final = "pasted.txt"
LARGEST_PASTED: Final = 2_000_000
"""Characters."""

_MEGABYTE: Final = 1_000_000
_ROUND: Final = "records_round"


@dataclass(frozen=True)
class Loaded:
    """What a load came to: its report, and the fit that followed, or why there is none."""

    report: LoadReport
    fit: str | None = None
    no_fit: str | None = None
    names: tuple[str, ...] = ()
    """Names that may be misspelt."""


def show_page() -> None:
    """Ask for a file and load it, show what was loaded and what waits."""
    st.title("Records")
    _show_done()
    job = jobs.find(_key())
    if job is not None:
        jobs.show(job)
        if job.ended:  # since it was looked for
            st.rerun()
        return
    with page_layout.one_sentence():
        if people.may("load"):
            _ask_table()
        else:
            st.info(
                "Your role lets you read what was loaded. To bring records in, ask whoever manages this "
                "market for the role load."
            )
    if caches.own_market_path().exists():
        with page_layout.one_sentence():
            own = caches.own_snapshot()
            if own is not None:
                _ask_fit(own)
                _show_batches(own)
                show_questions(own)


def _key() -> str:
    """What a job that writes to the market works on: one at a time."""
    return f"write {caches.own_market_path()}"


def _show_done() -> None:
    """What the job that has just ended came to."""
    job = jobs.take(_key())
    if job is None:
        page_layout.show_done()
        return
    st.session_state[_ROUND] = _round() + 1  # the next round starts without the file
    if job.error is not None:
        st.error(escaped(job.error))
    elif isinstance(job.outcome, Loaded):
        show_report(job.outcome.report)
        for question in job.outcome.names:
            st.warning(escaped(f"{capital(question)}: settle it under Names, below."))
        if job.outcome.fit is not None:
            st.success(f"The price model is fitted anew ({job.outcome.fit}).")
            page_layout.link("position", "Price a car")
        elif job.outcome.no_fit is not None:
            st.warning(escaped(f"No price model could be fitted: {job.outcome.no_fit}."))
    else:
        st.success(escaped(str(job.outcome)))


def _round() -> int:
    return int(st.session_state.get(_ROUND, 0))


def _begin(title: str, work: Callable[[Progress], Any]) -> None:
    """Hand work to the server, and show how far it is from the next run on."""
    jobs.start(_key(), title, work)
    st.rerun()


def _ask_table() -> None:
    """A table, what its columns are, what it would come to, and its load."""
    field: dict[str, Any] = {"default": WAYS[0], "key": "way", "label_visibility": "collapsed"}
    way = st.pills("How it comes in", WAYS, required=True, **field)
    own = caches.own_snapshot()
    if way == ONE_SALE:
        one_sale.ask_sale(own, _round())
        return
    table = _ask_file() if way == WAYS[0] else _ask_pasted()
    if table is None:
        return
    proposal = ask_mapping(table, _round(), own)
    show_records(table, proposal, own)
    _ask_load(table, proposal, show_trial(table, proposal, own))


def _ask_file() -> GivenTable | None:
    st.write(
        "Give a file of sales from any source, as it is. You say what its columns are, and see what each "
        "row would become, before anything is kept."
    )
    upload = st.file_uploader(
        "File of sale records",
        type=upload_kinds(),
        max_upload_size=LARGEST_UPLOAD // _MEGABYTE,
        key=f"upload-{_round()}",
    )
    return None if upload is None else GivenTable(upload.name, upload.file_id, upload.getbuffer())


def _ask_pasted() -> GivenTable | None:
    """A table out of a spreadsheet, whose cells come parted by tabs."""
    text = st.text_area(
        "Paste the cells, with their headings on top",
        height=160,
        max_chars=LARGEST_PASTED,
        key=f"pasted-{_round()}",
        placeholder="Make\tModel\tYear\tSold on\tPrice",
    )
    if not text or not text.strip():
        return None
    content = text.strip("\n").encode()
    return GivenTable(PASTED, sha256(content).hexdigest(), content)


def _ask_load(table: GivenTable, proposal: Proposal, report: LoadReport | None) -> None:
    mapping = proposal.mapping
    st.header("Load")
    currency = None
    if not caches.own_market_path().exists():
        stated = mapping.constants.get("currency")
        currency = st.selectbox(
            "Base currency of the new market",
            currency_choices(*([stated] if stated else proposal.currencies)),
            help=what_is("base currency"),
            key="base_currency",
            width=360,
        )
    if proposal.questions:
        count = len(proposal.questions)
        st.write(
            f"{count} question{'s are' if count > 1 else ' is'} still open above. What cannot be read "
            "without an answer is not known, or its row is rejected."
        )
    fit = st.checkbox("Fit the price model afterwards", True, help=what_is("fit"), key="fit_after")
    doubted = report is not None and bool(report.doubts)
    believe = doubted and st.checkbox(
        "The figures are right, doubtful as they look", False, key="believe_figures"
    )
    nothing = report is not None and report.accepted + report.rejected == 0
    words = "Load the file now" if table.name != PASTED else "Load the table now"
    with st.container(horizontal=True, vertical_alignment="center"):
        load = st.button(words, type="primary", disabled=nothing or (doubted and not believe))
        st.write("Nothing of it is new." if nothing else "It can be taken back below.")
    if load:
        upload = (table.name, bytes(table.content), mapping_text(mapping))
        work = partial(_load, caches.own_market_path(), currency, upload, fit=fit, believe=believe)
        _begin("Load", work)


def _load(
    path: Path,
    currency: str | None,
    upload: tuple[str, bytes, str],
    tell: Progress,
    *,
    fit: bool,
    believe: bool,
) -> Loaded:
    """Load an upload (its name, its content, the mapping), which no longer needs the tab it came from."""
    name, content, mapping = upload
    with received(name, content) as file:
        mapping_file = file.with_name("mapping.toml")
        write_mapping_text(mapping, mapping_file)
        report = load_into(
            path, [file], mapping=mapping_file, base_currency=currency, progress=tell, believe=believe
        )
    if not report.accepted:
        return Loaded(report)
    market = Market.open(path, create=False)
    loaded = Loaded(report, names=name_questions(market.names()))
    try:
        return replace(loaded, fit=_fitted(market, tell)) if fit else loaded
    except PricingError as error:
        return replace(loaded, no_fit=str(error))


def _fitted(market: Market, tell: Progress) -> str:
    return save(fit_market(market, tell), market)


def _ask_fit(snapshot: Snapshot) -> None:
    """Fit anew, where records have changed since the last time or there was none."""
    state, market = snapshot.state, snapshot.market
    if not people.may("load") or not state.batches or (state.fit is not None and not state.stale):
        return
    words = "Records have changed since the price model was fitted."
    with st.container(horizontal=True, vertical_alignment="center"):
        st.write(words if state.fit else "No price model has been fitted yet.")
        if st.button("Fit the price model", type="primary", help=what_is("fit")):
            _begin("Fit", lambda tell: f"The price model is fitted anew ({_fitted(market, tell)}).")


def _show_batches(snapshot: Snapshot) -> None:
    batches = caches.listing(snapshot, "batches").reverse()
    if batches.is_empty():
        return
    st.header("What was loaded", help=what_is("batch"))
    show_table(
        batches.with_columns(pl.col("files").list.join(", ")),
        "batches",
        {
            "batch_id": "Batch",
            **headings("files", "read", "accepted", "rejected"),
            "known": "Already known",
            "loaded_at": "Loaded (UTC)",
            "undone_at": "Taken back (UTC)",
        },
    )
    standing = batches.filter(pl.col("undone_at").is_null())["batch_id"].to_list()
    if not standing or not people.may("load"):
        return
    batch = st.selectbox(
        "Batch to take back", standing, None, placeholder="none", key=f"batch-{_round()}", width=320
    )
    if batch is None:
        return
    with st.popover("Take back", key=f"undo-{_round()}"):
        st.write(f"The records and rejected rows of {batch} go; the batch stays listed as taken back.")
        if st.button(f"Take {batch} back now", type="primary"):
            undo = snapshot.market.undo
            _begin("Take back", lambda tell: f"{number_words(undo(batch))} records of {batch} are gone.")
