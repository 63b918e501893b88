"""How good are these numbers: the model scored on later sales that it had not seen."""

from datetime import date
from typing import Final

import polars as pl
import streamlit as st

from dashboards import caches, jobs, people
from dashboards.exhibits import show_chart
from dashboards.page_layout import ask_market, page
from dashboards.tables import TableColumn, headings, show_table
from dashboards.text import show_metrics, write, write_small
from pricing.charts import scores as score_charts
from pricing.model.accuracy.backtest import Backtest, backtest, rolling_origins
from pricing.model.accuracy.ratio_study import EDITION
from pricing.model.accuracy.saved_scores import save_scores
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.progress import Progress
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.reader import day_words, number_words
from pricing.words.scores import ahead_sentence, coverage_sentence, kept_sentence, ratio_sentence

ORIGINS: Final = 4
"""Days at which a model is fitted anew."""


@page("How good are these numbers", ask_market)
def show_page(market: tuple[Snapshot, PriceModel]) -> None:
    """The newest scores of this market, or a button that makes them."""
    snapshot, model = market
    st.write(
        f"The price model in use was fitted to {number_words(model.facts['sales'])} sales up to "
        f"{day_words(date.fromisoformat(str(model.facts['last_date'])))}. Here models are fitted to what was "
        "known on earlier days and held against the sales that came after: no sale is scored by a model that "
        "had seen it."
    )
    st.write(ahead_sentence(model.facts))
    saved = caches.scores(snapshot)
    _ask_scoring(snapshot, outdated=None if saved is None else saved.outdated)
    if saved is not None:
        write(kept_sentence(saved, snapshot.base_currency))
        _show_scores(saved.scored, snapshot.base_currency)


def _ask_scoring(snapshot: Snapshot, *, outdated: bool | None) -> None:
    """A way to score, and how far it is; for everyone, once for each state of the records. ``outdated``:
    whether the scores that there are, if any, are."""
    key = f"scores {snapshot.path} {snapshot.state.records}"
    job = jobs.find(key)
    if job is not None and not jobs.show(job) and not job.ended:
        return
    if not people.may("load"):
        if outdated is None:
            st.info("Nobody has scored these records yet. Ask whoever manages this market to do it.")
    elif outdated is not False and st.button("Score the price model now", type="primary"):
        jobs.start(key, "Scoring", lambda tell: _score(snapshot, tell))
        st.rerun()


def _score(snapshot: Snapshot, tell: Progress) -> None:
    sales, spec = snapshot.sales(), FeatureSpec.cars()
    scored = backtest(
        sales, spec, rolling_origins(sales, spec, ORIGINS), known=snapshot.market.sales, progress=tell
    )
    save_scores(scored, snapshot.market, str(snapshot.state.fit), snapshot.state.records)


def _show_scores(scored: Backtest, currency: str) -> None:
    overall = scored.scores().row(0, named=True)
    st.header("Ranges", help=what_is("coverage"))
    write(coverage_sentence(overall))
    part = st.selectbox(
        "Told apart by",
        list(scored.parts),
        key="part_of",
        format_func=score_charts.part_words,
        persist_state="session",
    )
    coverage, width = score_charts.coverage_chart(scored, part), score_charts.width_chart(scored, part)
    show_chart(coverage, score_charts.coverage_caption(scored, part), "coverage")
    show_chart(width, score_charts.width_caption(scored, part), "width of ranges")
    st.header("Ratio study", help=what_is("ratio study"))
    write(ratio_sentence(overall))
    forms = {"cod": ".1f", "prd": ".3f", "prb": ".3f"}
    show_metrics(
        (name.upper(), "-" if overall[name] is None else f"{overall[name]:{form}}", what_is(name.upper()))
        for name, form in forms.items()
    )
    write_small(f"{EDITION}; nothing official says which values are good for cars.")
    ratios = score_charts.ratio_chart(scored, currency).properties(height=420)
    show_chart(ratios, score_charts.ratio_caption(scored), "ratio study")
    all_sales = pl.when(pl.col("part").is_null()).then(pl.lit("all sales"))
    show_table(
        pl.concat([scored.scores(), scored.scores(part)]).with_columns(
            pl.col("coverage_80", "coverage_90") * 100,
            value=all_sales.otherwise(pl.col("value").fill_null("not said")),
        ),
        "scores",
        {
            "value": score_charts.part_words(part),
            **headings("sales"),
            "coverage_80": TableColumn("Inside 80% (%)", "%.1f"),
            "coverage_90": TableColumn("Inside 90% (%)", "%.1f"),
            "width_80": TableColumn("High over low, 80%", "%.2f"),
            "median_ratio": TableColumn("Median ratio", "%.3f"),
            **{name: TableColumn(name.upper(), f"%{form}") for name, form in forms.items()},
        },
        every=scored.summary(),
        height="content",
    )
