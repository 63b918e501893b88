"""Mend or buy better: what the repairs of the inspected car cost, against a car that is there already."""

from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import page_layout
from dashboards.asking.offer_terms import ask_offer, work_country
from dashboards.asking.typed_fields import ask_amount_in
from dashboards.exhibits import show_chart, show_table
from dashboards.inspecting import sheets
from dashboards.url_state import field_key
from pricing.car import today
from pricing.car_fields import FIELDS
from pricing.charts import mending as mending_charts
from pricing.condition.budget import RepairBudget, repair_budget
from pricing.condition.catalogue import quotes_of
from pricing.condition.checks import STATES
from pricing.condition.repairs import RepairCosts
from pricing.decisions.amounts import Conversion
from pricing.decisions.car_price import inspected
from pricing.decisions.mending import MendOrBuy, mend_or_buy
from pricing.decisions.simulation import simulate
from pricing.operations.settings import catalogue_in_force
from pricing.snapshot import Snapshot
from pricing.words.condition import (
    budget_sentence,
    goal_words,
    goals_sentence,
    hidden_sentence,
    mending_sentence,
    score_sentence,
)
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import number_words

ITEMS_SHOWN: Final = 12


def show_page() -> None:
    """The budget of the sheet in hand, and the comparison for every goal."""
    st.title("Mend or buy better")
    with page_layout.one_sentence():
        inspection = sheets.in_hand()
        if inspection is not None:
            _take_car(inspection.car)
        asked = page_layout.ask_market_and_car()
        if inspection is None:
            st.info(
                "This page works from an inspection: fill in a sheet for the car first; half of one will do."
            )
            page_layout.link("inspect", "Inspect the car")
            return
        if asked is None:
            return
        _ask(asked.snapshot)
        offer = ask_offer(asked)
        if offer.costs is None or offer.inspection is None:
            return
        least, costs = least_chosen(), offer.costs
        st.write(escaped(score_sentence(costs.result)))
        budget = repair_budget(costs, least=least)
        _show_budget(budget)
        _ask_quotes(asked.snapshot, costs, budget)
        st.header("Mend this one, or buy one that is there already")
        with page_layout.one_sentence("This cannot be reckoned: "):
            at = date.fromisoformat(asked.model.facts["last_date"])
            car = inspected(offer.car, offer.inspection)
            drawn = simulate(asked.model, car, at, inspection=offer.inspection)
            rates = asked.snapshot.state.own_rates
            base = asked.snapshot.base_currency
            paid = offer.asking
            if paid is not None:
                paid = Conversion.at(offer.currency, base, at, rates).to_base(paid)
            _show_comparison(mend_or_buy(drawn, costs, asking=paid, least=least))


def _take_car(car: dict[str, Any]) -> None:
    """Have the car of the sheet in the form, where the form has none."""
    if not any(st.session_state.get(name) for name in ("make", "model", "year")):
        for name, value in car.items():
            if name in FIELDS and name != "options":
                st.session_state[field_key(name)] = value


def least_chosen() -> str:
    """From which state on everything is put right."""
    chosen = st.session_state.get("least")
    return str(chosen) if chosen in STATES[1:] else "needs repair"


def _ask(state: Snapshot) -> None:
    countries = sorted(catalogue_in_force(state).tax)
    first, second = st.columns(2)
    with first:
        country = work_country(state)
        st.selectbox(
            "Country of the work",
            countries,
            countries.index(country) if country in countries else 0,
            key="work_country",
            format_func=country_words,
            help="Chooses labour rates and tax; both stand on the page Settings.",
            persist_state="session",
        )
    with second:
        if st.session_state.get("least") not in STATES[1:]:
            st.session_state["least"] = "needs repair"
        st.selectbox("Mend what is this bad or worse", STATES[1:], key="least", persist_state="session")


def _ask_quotes(state: Snapshot, costs: RepairCosts, budget: RepairBudget) -> None:
    """Quotes for jobs, each in place of the estimate of its line; they go along to buying and selling."""
    titles = dict(budget.lines.select("job", "title").iter_rows())
    kept = dict(sheets.quotes(catalogue_in_force(state)))
    with st.expander(f"Quotes that you have ({len(kept)})", expanded=bool(kept), key="quotes-form"):
        st.caption("A quote, tax included, replaces the estimate of its line here, on Buy and on Sell.")
        jobs = {**titles, **{job: costs.catalogue.job(job).title for job in kept}}
        first, second, third = st.columns([3, 2, 1], vertical_alignment="bottom")
        with first:
            job = st.selectbox(
                "Job", list(jobs), None, format_func=jobs.__getitem__, key="quoted_job", placeholder="choose"
            )
        with second:
            amount = ask_amount_in(state.base_currency, "Quoted at", "quoted_at", "quote", cost=True)
        with third:
            st.button(
                "Take it",
                disabled=job is None or amount is None,
                on_click=_taken,
                args=(state.base_currency, job, amount),
            )
        for name, money in kept.items():
            told, away = st.columns([5, 1], vertical_alignment="center")
            told.write(escaped(f"{jobs[name]}: {state.base_currency} {number_words(money)}"))
            away.button("Forget", key=f"forget-{name}", on_click=sheets.take_quote, args=(name, None))


def _taken(currency: str, job: str, amount: Decimal) -> None:
    """Take a quote that can be meant: with another no page that it goes along to would stand."""
    with page_layout.one_sentence():
        quotes_of({job: amount}, currency, today())
        sheets.take_quote(job, amount)
        st.session_state["quoted_job"] = st.session_state["quoted_at"] = None


def _show_budget(budget: RepairBudget) -> None:
    """The repair budget in words, by area, and the items that matter most."""
    st.header("Repair budget", help=what_is("repair budget"))
    st.write(f"**{escaped(budget_sentence(budget))}** {escaped(hidden_sentence(budget))}")
    st.caption(escaped(budget.notice))
    if budget.areas.is_empty():
        return
    show_chart(
        mending_charts.budget_chart(budget), mending_charts.budget_caption(budget), "repair budget by area"
    )
    lines = budget.lines.select(
        "title",
        "reason",
        pl.col("chance") * 100,
        pl.col("when", "expected").round().cast(pl.Int64),
        quoted=pl.when("quoted").then(pl.lit("yes")).otherwise(pl.lit("no")),
        area="area",
    )
    show_table(
        lines.head(ITEMS_SHOWN),
        "repair items",
        {
            "title": "Job",
            "reason": "Because of",
            "chance": st.column_config.NumberColumn("Chance (%)", format="%.0f"),
            "when": st.column_config.NumberColumn(f"If it comes up ({budget.currency})", format="localized"),
            "expected": st.column_config.NumberColumn(f"On average ({budget.currency})", format="localized"),
            "quoted": "Your quote",
            "area": "Area",
        },
        every=lines,
        height="content",
    )
    if budget.without_job:
        without = ", ".join(budget.without_job)
        st.caption(escaped(f"Not in the total, as the repair catalogue has no job for it: {without}."))


def _show_comparison(decision: MendOrBuy) -> None:
    """Range against range for every goal, in words and drawn."""
    st.write(escaped(goals_sentence(decision)))
    for row in decision.goals.iter_rows(named=True):
        what, _, told = mending_sentence(row, decision).partition(":")
        st.markdown(f"- **{escaped(what)}:** {escaped(told.strip())}")
    show_chart(
        mending_charts.comparison_chart(decision),
        mending_charts.comparison_caption(decision),
        "mend or buy better",
    )
    money: dict[str, Any] = {
        f"{part}_mid": st.column_config.NumberColumn(
            f"{words.capitalize()} ({decision.currency})", format="localized"
        )
        for part, words in mending_charts.PARTS.items()
        if part != "price_now"
    }
    table = decision.goals.with_columns(
        pl.Series("goal", [goal_words(goal, decision) for goal in decision.goals["goal"]]),
        pl.col(list(money)).round_sig_figs(3).round().cast(pl.Int64),
        pl.col("chance_cheaper", "loses") * 100,
    )
    show_table(
        table.select("goal", "answer", *money, "chance_cheaper", "loses"),
        "mend or buy in figures",
        {
            "goal": "What is done",
            "answer": "Answer",
            "chance_cheaper": st.column_config.NumberColumn("Cheaper (of 100 cases)", format="%.0f"),
            "loses": st.column_config.NumberColumn("Loses money (of 100)", format="%.0f"),
            **money,
        },
        every=decision.goals,
        height="content",
    )
    st.caption(
        "The middle of each, all-in; the whole ranges are in the picture and in the table to take along."
    )
    for caution in (decision.notice, *decision.cautions):
        st.caption(escaped(caution))
