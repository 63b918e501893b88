"""How good are these numbers: the model scored on later sales that it had not seen."""

from datetime import date
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, jobs, page_layout, people
from dashboards.exhibits import show_chart, show_table
from pricing.charts import scores as score_charts
from pricing.model.accuracy.backtest import Backtest, backtest, rolling_origins
from pricing.model.accuracy.ratio_study import EDITION
from pricing.model.accuracy.saved_scores import save_scores
from pricing.model.features.spec import FeatureSpec
from pricing.progress import Progress
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import day_words, number_words
from pricing.words.scores import ahead_sentence, coverage_sentence, kept_sentence, ratio_sentence

ORIGINS: Final = 4
"""Days at which a model is fitted anew."""


def show_page() -> None:
    """The newest scores of this market, or a button that makes them."""
    st.title("How good are these numbers")
    with page_layout.one_sentence():
        market = page_layout.ask_market()
        if market is None:
            return
        snapshot, model = market
        st.write(
            f"The price model in use was fitted to {number_words(model.facts['sales'])} sales up to "
            f"{day_words(date.fromisoformat(str(model.facts['last_date'])))}. "
            "Here models are fitted to what was known on earlier days and held against the sales that came "
            "after: "
            "no sale is scored by a model that had seen it."
        )
        st.write(ahead_sentence(model.facts))
        _ask_scoring(snapshot)
        kept = caches.scores(snapshot)
        if kept is not None:
            st.write(escaped(kept_sentence(kept, snapshot.base_currency)))
            _show_scores(kept.scored, snapshot.base_currency)


def _ask_scoring(snapshot: Snapshot) -> None:
    """A way to score, and how far it is; for everyone, once for each state of the records."""
    key = f"scores {snapshot.path} {snapshot.state.records}"
    job = jobs.find(key)
    if job is not None and not job.ended:
        jobs.show(job)
        return
    if job is not None and job.error is not None:
        st.error(escaped(job.error))
    kept = caches.scores(snapshot)
    if not people.may("load"):
        if kept is None:
            st.info("Nobody has scored these records yet. Ask whoever manages this market to do it.")
    elif (kept is None or kept.outdated) and st.button("Score the price model now", type="primary"):
        jobs.take(key)
        jobs.start(key, "Scoring", lambda tell: _score(snapshot, tell))
        st.rerun()


def _score(snapshot: Snapshot, tell: Progress) -> None:
    """Score, and keep the scores in the market."""
    sales, spec = snapshot.sales(), FeatureSpec.cars()
    scored = backtest(
        sales, spec, rolling_origins(sales, spec, ORIGINS), known=snapshot.market.sales, progress=tell
    )
    save_scores(scored, snapshot.market, str(snapshot.state.fit), snapshot.state.records)


def _show_scores(scored: Backtest, currency: str) -> None:
    overall = scored.scores().row(0, named=True)
    st.header("Ranges", help=what_is("coverage"))
    st.write(escaped(coverage_sentence(overall)))
    parts = list(scored.parts)
    part = st.selectbox(
        "Told apart by", parts, key="part_of", format_func=score_charts.part_words, persist_state="session"
    )
    show_chart(
        score_charts.coverage_chart(scored, part), score_charts.coverage_caption(scored, part), "coverage"
    )
    show_chart(
        score_charts.width_chart(scored, part), score_charts.width_caption(scored, part), "width of ranges"
    )
    st.header("Ratio study", help=what_is("ratio study"))
    st.write(escaped(ratio_sentence(overall)))
    with st.container(horizontal=True):
        for name, form in (("cod", ".1f"), ("prd", ".3f"), ("prb", ".3f")):
            value = overall[name]
            st.metric(
                name.upper(),
                "-" if value is None else f"{value:{form}}",
                help=what_is(name.upper()),
                width="content",
            )
    st.caption(escaped(f"{EDITION}; nothing official says which values are good for cars."))
    show_chart(
        score_charts.ratio_chart(scored, currency).properties(height=420),
        score_charts.ratio_caption(scored),
        "ratio study",
    )
    _show_table(scored, part)


def _show_table(scored: Backtest, part: str) -> None:
    number: Any = st.column_config.NumberColumn
    table = pl.concat([scored.scores(), scored.scores(part)]).with_columns(
        pl.col("value").fill_null("not said"), pl.col("coverage_80", "coverage_90") * 100
    )
    table = table.with_columns(
        value=pl.when(pl.col("part").is_null()).then(pl.lit("all sales")).otherwise("value")
    )
    kept = ("value", "sales", "coverage_80", "coverage_90", "width_80", "median_ratio", "cod", "prd", "prb")
    show_table(
        table.select(kept),
        "scores",
        {
            "value": score_charts.part_words(part),
            "sales": number("Sales", format="localized"),
            "coverage_80": number("Inside 80% (%)", format="%.1f"),
            "coverage_90": number("Inside 90% (%)", format="%.1f"),
            "width_80": number("High over low, 80%", format="%.2f"),
            "median_ratio": number("Median ratio", format="%.3f"),
            "cod": number("COD", format="%.1f"),
            "prd": number("PRD", format="%.3f"),
            "prb": number("PRB", format="%.3f"),
        },
        every=scored.summary(),
        height="content",
    )
