"""Records: a file of sales in, by a mapping that a person has seen; what was loaded, and the fit to it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st
from streamlit.typing import UploadedFile

from dashboards import caches, frame, jobs, people
from dashboards.record_mapping import ask_mapping, show_preview
from dashboards.record_questions import show_questions
from dashboards.shown import show_table
from pricing.errors import PricingError
from pricing.intake.mapping_files import read_mapping, write_mapping_text
from pricing.intake.proposals import open_questions
from pricing.intake.transfers import KINDS, LARGEST_UPLOAD, received
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.model.spec import FeatureSpec
from pricing.money.currencies import CURRENCIES
from pricing.progress import Progress
from pricing.snapshot import Snapshot
from pricing.store.first_load import load_into
from pricing.store.loading import LoadReport
from pricing.store.market import Market
from pricing.words.glossary import what_is
from pricing.words.loading import load_sentence, rules_table, told_sentences
from pricing.words.plain_text import escaped

COMMON_CURRENCIES: Final = ("EUR", "GBP", "USD", "CHF", "SEK", "JPY", "AUD")
_MEGABYTE: Final = 1_000_000
_ROUND: Final = "records_round"


@dataclass(frozen=True)
class Loaded:
    """What a load came to: its report, and the fit that followed, or why there is none."""

    report: LoadReport
    fit: str | None = None
    no_fit: str | None = None


def show_page() -> None:
    """Ask for a file and load it, show what was loaded and what waits."""
    st.title("Records")
    _show_done()
    job = jobs.find(_key())
    if job is not None:
        jobs.show(job)
        return
    with frame.one_sentence():
        if people.may("load"):
            _ask_file()
        else:
            st.info("Your role lets you read what was loaded; bringing records in needs the role load.")
    path = caches.own_market_path()
    if path.exists():
        with frame.one_sentence():
            snapshot = caches.snapshot()
            if snapshot is not None and not caches.is_demo(snapshot):
                _ask_fit(snapshot)
                _show_batches(snapshot)
                show_questions(snapshot)


def _key() -> str:
    """What a job that writes to the market works on: one at a time."""
    return f"write {caches.own_market_path()}"


def _show_done() -> None:
    """What the job that has just ended came to."""
    job = jobs.take(_key())
    if job is None:
        said = st.session_state.pop("records_said", None)
        if said is not None:
            st.success(escaped(said))
        return
    st.session_state[_ROUND] = _round() + 1  # the next round starts without the file
    if job.error is not None:
        st.error(escaped(job.error))
    elif isinstance(job.outcome, Loaded):
        st.success(escaped(f"{load_sentence(job.outcome.report)}."))
        for sentence in told_sentences(job.outcome.report):
            st.write(escaped(sentence))
        _show_rules(job.outcome.report)
        if job.outcome.fit is not None:
            st.success(f"The price model is fitted anew ({job.outcome.fit}).")
            frame.link("position", "See where a car sits")
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


def _show_rules(report: LoadReport) -> None:
    if report.by_rule:
        show_table(
            rules_table(report),
            "rules broken",
            {"rule": "Rule broken", "rows": st.column_config.NumberColumn("Rows", format="localized")},
            height="content",
        )


def _ask_file() -> None:
    """One file, and from there on its mapping, its first rows and its load."""
    st.write(
        "Give a file of sale records from any source. You see how its columns would be read, and may change "
        "that, before anything is kept."
    )
    upload = st.file_uploader(
        "File of sale records",
        type=list(KINDS),
        max_upload_size=LARGEST_UPLOAD // _MEGABYTE,
        key=f"upload-{_round()}",
    )
    if upload is None:
        return
    text = ask_mapping(upload, _round())
    with received(upload.name, upload.getbuffer()) as path:
        mapping_path = path.with_name("mapping.toml")
        write_mapping_text(text, mapping_path)
        mapping = read_mapping(mapping_path)
        show_preview(upload, mapping)
        _ask_load(upload, path, mapping_path, text)


def _ask_load(upload: UploadedFile, path: Path, mapping: Path, text: str) -> None:
    """Count what a load would do, and load once it is said a second time."""
    market = caches.own_market_path()
    with st.container(horizontal=True):
        count = st.button("Count without loading")
        with st.popover("Load"):
            st.write(escaped(f"All rows of {path.name} go into {market.name}, read by the mapping above."))
            questions = len(open_questions(text))
            if questions:
                st.write(f"Still open in the mapping: {questions}. What cannot be read is rejected.")
            currency = None
            if not market.exists():
                stated = read_mapping(mapping).constants.get("currency")
                common = list(dict.fromkeys([*([stated] if stated else []), *COMMON_CURRENCIES]))
                currency = st.selectbox(
                    "Base currency of the new market",
                    [*common, *sorted(CURRENCIES - set(common))],
                    help=what_is("base currency"),
                    key="base_currency",
                )
            fit = st.checkbox("Fit the price model afterwards", True, help=what_is("fit"), key="fit_after")
            believe = st.checkbox(
                "The figures are right, doubtful as they may look", False, key="believe_figures"
            )
            st.write("The load can be taken back below.")
            load = st.button("Load the file now", type="primary")
    if count:
        report = load_into(market, [path], mapping=mapping, base_currency=currency, dry_run=True)
        st.info(escaped(f"{load_sentence(report, dry_run=True)}."))
        for sentence in told_sentences(report):
            st.write(escaped(sentence))
        _show_rules(report)
    if load:
        _begin("Load", _loading(market, currency, upload.name, upload.getvalue(), text, fit, believe))


def _loading(
    market: Path, currency: str | None, name: str, content: bytes, mapping: str, fit: bool, believe: bool
) -> Callable[[Progress], Loaded]:
    """The load of an upload, which no longer needs the tab it came from."""

    def load(tell: Progress) -> Loaded:
        with received(name, content) as path:
            mapping_path = path.with_name("mapping.toml")
            write_mapping_text(mapping, mapping_path)
            report = load_into(
                market, [path], mapping=mapping_path, base_currency=currency, progress=tell, believe=believe
            )
        opened = Market.open(market, create=False)
        if not fit or not report.accepted:
            return Loaded(report)
        try:
            return Loaded(report, fit=_fitted(opened, tell))
        except PricingError as error:
            return Loaded(report, no_fit=str(error))

    return load


def _fitted(market: Market, tell: Progress) -> str:
    return save(PriceModel(FeatureSpec.cars()).fit(market.sales(), progress=tell), market)


def _ask_fit(snapshot: Snapshot) -> None:
    """Fit anew, where records have changed since the last time or there was none."""
    stored = snapshot.state
    if not people.may("load") or not stored.batches or (stored.fit is not None and not stored.stale):
        return
    words = "Records have changed since the price model was fitted."
    with st.container(horizontal=True, vertical_alignment="center"):
        st.write(words if snapshot.state.fit else "No price model has been fitted yet.")
        if st.button("Fit the price model", type="primary", help=what_is("fit")):
            market = snapshot.market
            _begin("Fit", lambda tell: f"The price model is fitted anew ({_fitted(market, tell)}).")


def _show_batches(snapshot: Snapshot) -> None:
    """Every load, and a way to take one back."""
    batches = caches.listing(snapshot, "batches").reverse()
    if batches.is_empty():
        return
    st.subheader("What was loaded", help=what_is("batch"))
    counts = {"read": "Read", "accepted": "Accepted", "rejected": "Rejected", "known": "Already known"}
    moment = {"loaded_at": "Loaded (UTC)", "undone_at": "Taken back (UTC)"}
    show_table(
        batches.select("batch_id", pl.col("files").list.join(", "), *counts, *moment),
        "batches",
        {
            "batch_id": "Batch",
            "files": "Files",
            **{
                name: st.column_config.NumberColumn(words, format="localized")
                for name, words in counts.items()
            },
            **{
                name: st.column_config.DatetimeColumn(words, format="YYYY-MM-DD HH:mm")
                for name, words in moment.items()
            },
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
            market = snapshot.market
            _begin("Take back", lambda tell: f"{market.undo(batch):,} records of {batch} are gone.")
