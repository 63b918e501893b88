"""Mend or buy better: what the repairs of the inspected car cost, against a car that is there already."""

from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, page_layout, sheets
from dashboards.exhibits import show_chart, show_table
from dashboards.url_state import within
from pricing.car import Car
from pricing.charts import mending as mending_charts
from pricing.condition.budget import RepairBudget, repair_budget
from pricing.condition.checks import STATES
from pricing.decisions.mending import MendOrBuy, mend_or_buy
from pricing.errors import DecisionError
from pricing.operations.settings import catalogue_in_force, settings_of
from pricing.snapshot import Snapshot
from pricing.words.condition import (
    budget_sentence,
    hidden_sentence,
    mending_sentence,
    score_sentence,
)
from pricing.words.glossary import what_is
from pricing.words.plain_text import escaped
from pricing.words.sentences import car_words

ITEMS_SHOWN: Final = 12


def show_page() -> None:
    """The budget of the sheet in hand, and the comparison for every higher band."""
    st.title("Mend or buy better")
    with page_layout.one_sentence():
        market = page_layout.ask_market()
        if market is None:
            return
        snapshot, model = market
        inspection = sheets.in_hand()
        if inspection is None:
            st.info(
                "This page reckons from an inspection: fill in a sheet for the car first, even half of it."
            )
            page_layout.link("inspect", "Inspect the car")
            return
        st.subheader(escaped(car_words({**inspection.car, "condition_band": inspection.sheet.construction})))
        Car.checked(inspection.car, known=snapshot.names())
        country, asking, least = _ask(snapshot)
        costs = caches.repair_costs(snapshot, inspection, country)
        st.write(escaped(score_sentence(costs.result)))
        _show_budget(repair_budget(costs, least=least))
        st.subheader("Mend this one, or buy one that is there already")
        try:
            _show_comparison(mend_or_buy(model, costs, asking=asking))
        except DecisionError as error:
            st.info(escaped(f"{error}."))


def _ask(snapshot: Snapshot) -> tuple[str, Decimal | None, str]:
    settings = settings_of(snapshot)
    countries = sorted(catalogue_in_force(snapshot).tax)
    first, second, third = st.columns(3)
    with first:
        country = st.selectbox(
            "Country of the work (ISO 3166)",
            countries,
            countries.index(settings.country) if settings.country in countries else 0,
            key="work_country",
            help="Chooses labour rates and tax; both stand on the page Settings.",
            persist_state="session",
        )
    with second:
        within("asking", 1.0, None)
        asking = st.number_input(
            f"Asking price ({snapshot.base_currency}, all-in)",
            1.0,
            None,
            None,
            50.0,
            format="%.0f",
            key="asking",
            placeholder="its market price",
            help=what_is("asking price"),
            persist_state="session",
        )
    with third:
        least = st.selectbox(
            "Put right what is at least this bad", STATES[1:], 1, key="least", persist_state="session"
        )
    return country, None if asking is None else Decimal(str(asking)), least


def _show_budget(budget: RepairBudget) -> None:
    """The repair budget in words, by area, and the items that matter most."""
    st.subheader("Repair budget", help=what_is("repair budget"))
    st.write(f"**{escaped(budget_sentence(budget))}** {escaped(hidden_sentence(budget))}")
    st.caption(escaped(budget.notice))
    if budget.areas.is_empty():
        return
    show_chart(
        mending_charts.budget_chart(budget), mending_charts.budget_caption(budget), "repair budget by area"
    )
    money = {
        name: st.column_config.NumberColumn(f"{words} ({budget.currency})", format="localized")
        for name, words in (("expected", "Expected"),)
    }
    lines = budget.lines.select(
        "title",
        "area",
        "reason",
        pl.col("chance") * 100,
        pl.col("expected").round().cast(pl.Int64),
        quoted=pl.when("quoted").then(pl.lit("yes")).otherwise(pl.lit("no")),
    )
    show_table(
        lines.head(ITEMS_SHOWN),
        "repair items",
        {
            "title": "Job",
            "area": "Area",
            "reason": "Because of",
            "chance": st.column_config.NumberColumn("Chance (%)", format="%.0f"),
            "quoted": "Your quote",
            **money,
        },
        every=lines,
        height="content",
    )
    if budget.without_job:
        st.caption(escaped(f"Not in the total, no job leads from: {', '.join(budget.without_job)}."))


def _show_comparison(decision: MendOrBuy) -> None:
    """Range against range for every higher band, in words and drawn."""
    for row in decision.bands.iter_rows(named=True):
        st.write(escaped(mending_sentence(row, decision)))
    show_chart(
        mending_charts.comparison_chart(decision),
        mending_charts.comparison_caption(decision),
        "mend or buy better",
    )
    money: dict[str, Any] = {
        f"{part}_{end}": st.column_config.NumberColumn(f"{words}, {end}", format="localized")
        for part, words in mending_charts.PARTS.items()
        for end in ("low", "mid", "high")
    }
    table = decision.bands.with_columns(
        pl.col(list(money)).round_sig_figs(3).round().cast(pl.Int64), pl.col("chance_cheaper") * 100
    )
    show_table(
        table.select("band", "answer", "chance_cheaper", *money),
        "mend or buy in figures",
        {
            "band": f"To ({decision.currency}, all-in)",
            "answer": "Answer",
            "chance_cheaper": st.column_config.NumberColumn("Mending cheaper (%)", format="%.0f"),
            **money,
        },
        every=decision.bands,
        height="content",
    )
    for caution in (decision.notice, *decision.cautions):
        st.caption(escaped(caution))
