"""Mend or buy better: what the repairs of the inspected car cost, against a car that is there already."""

from datetime import date
from decimal import Decimal
from typing import Final

import polars as pl
import streamlit as st

from dashboards.asking.car_search_box import put_in_fields
from dashboards.asking.offer_terms import ask_offer, work_country
from dashboards.asking.typed_fields import ask_amount_in
from dashboards.exhibits import show_chart
from dashboards.inspecting import sheets
from dashboards.page_layout import SubjectCar, ask_market_and_car, link, one_sentence, page
from dashboards.tables import TableColumn, show_table
from dashboards.text import write, write_small
from dashboards.url_state import SHARED
from pricing.car import today
from pricing.car_fields import NEEDED
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
from pricing.words import condition as condition_words
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import number_words

FIRST_ITEMS: Final = 12
"""Rows of the budget that the page shows."""


def _ask_car_of_sheet() -> SubjectCar | None:
    """The car of the sheet in hand; the form has it, where it has none of its own."""
    inspection = sheets.in_hand()
    if inspection is not None and not any(st.session_state.get(name) for name in NEEDED):
        put_in_fields(inspection.car)
    subject = ask_market_and_car()
    if inspection is None:
        st.info("This page works from an inspection: fill in a sheet for the car first; half of one will do.")
        link("inspect", "Inspect the car")
    return None if inspection is None else subject


@page("Mend or buy better", _ask_car_of_sheet)
def show_page(subject: SubjectCar) -> None:
    """The budget of the sheet in hand, and the comparison for every goal."""
    snapshot = subject.snapshot
    _ask_work(snapshot)
    offer = ask_offer(subject)
    if offer.costs is None or offer.inspection is None:
        return
    least, costs = least_chosen(), offer.costs
    write(condition_words.score_sentence(costs.result))
    budget = repair_budget(costs, least=least)
    _show_budget(budget)
    _ask_quotes(snapshot, costs, budget)
    st.header("Mend this one, or buy one that is there already")
    with one_sentence("This cannot be reckoned: "):
        at = date.fromisoformat(subject.model.facts["last_date"])
        car = inspected(offer.car, offer.inspection)
        draws = simulate(subject.model, car, at, inspection=offer.inspection)
        asking = offer.asking
        if asking is not None:
            rates = snapshot.state.own_rates
            asking = Conversion.at(offer.currency, snapshot.base_currency, at, rates).to_base(asking)
        _show_comparison(mend_or_buy(draws, costs, asking=asking, least=least))


def least_chosen() -> str:
    """From which state on everything is put right."""
    chosen = st.session_state.get("least")
    return str(chosen) if chosen in STATES[1:] else "needs repair"


def _ask_work(snapshot: Snapshot) -> None:
    countries = sorted(catalogue_in_force(snapshot).tax)
    first, second = st.columns(2)
    country = work_country(snapshot)
    first.selectbox(
        "Country of the work",
        countries,
        countries.index(country) if country in countries else 0,
        key="work_country",
        format_func=country_words,
        help="Chooses labour rates and tax; both stand on the page Settings.",
        **SHARED,
    )
    if st.session_state.get("least") != least_chosen():
        st.session_state["least"] = least_chosen()
    second.selectbox("Mend what is this bad or worse", STATES[1:], key="least", **SHARED)


def _ask_quotes(snapshot: Snapshot, costs: RepairCosts, budget: RepairBudget) -> None:
    """Quotes for jobs, each in place of the estimate of its line; they go along to buying and selling."""
    quotes, currency = dict(sheets.quotes(catalogue_in_force(snapshot))), snapshot.base_currency
    with st.expander(f"Quotes that you have ({len(quotes)})", expanded=bool(quotes), key="quotes-form"):
        st.caption("A quote, tax included, replaces the estimate of its line here, on Buy and on Sell.")
        jobs = dict(budget.lines.select("job", "title").iter_rows())
        jobs |= {job: costs.catalogue.job(job).title for job in quotes}
        first, second, third = st.columns([3, 2, 1], vertical_alignment="bottom")
        job = first.selectbox(
            "Job", list(jobs), None, format_func=jobs.__getitem__, key="quoted_job", placeholder="choose"
        )
        with second:
            amount = ask_amount_in(currency, "Quoted at", "quoted_at", "quote", cost=True)
        third.button(
            "Take it",
            disabled=job is None or amount is None,
            on_click=_take_quote,
            args=(currency, job, amount),
        )
        for name, quote in quotes.items():
            line, end = st.columns([5, 1], vertical_alignment="center")
            line.write(escaped(f"{jobs[name]}: {currency} {number_words(quote)}"))
            end.button("Forget", key=f"forget-{name}", on_click=sheets.take_quote, args=(name, None))


def _take_quote(currency: str, job: str, amount: Decimal) -> None:
    """Take a quote that can be meant: with another no page that it goes along to would stand."""
    with one_sentence():
        quotes_of({job: amount}, currency, today())
        sheets.take_quote(job, amount)
        st.session_state["quoted_job"] = st.session_state["quoted_at"] = None


def _show_budget(budget: RepairBudget) -> None:
    """The repair budget in words, by area, and the items that matter most."""
    st.header("Repair budget", help=what_is("repair budget"))
    total, hidden = condition_words.budget_sentence(budget), condition_words.hidden_sentence(budget)
    st.write(f"**{escaped(total)}** {escaped(hidden)}")
    write_small(budget.notice)
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
        lines.head(FIRST_ITEMS),
        "repair items",
        {
            "title": "Job",
            "reason": "Because of",
            "chance": TableColumn("Chance (%)", "%.0f"),
            "when": f"If it comes up ({budget.currency})",
            "expected": f"On average ({budget.currency})",
            "quoted": "Your quote",
            "area": "Area",
        },
        every=lines,
        height="content",
    )
    if budget.without_job:
        without = ", ".join(budget.without_job)
        write_small(f"Not in the total, as the repair catalogue has no job for it: {without}.")


def _show_comparison(decision: MendOrBuy) -> None:
    """Range against range for every goal, in words and drawn."""
    write(condition_words.goals_sentence(decision))
    for row in decision.goals.iter_rows(named=True):
        what, _, answer = condition_words.mending_sentence(row, decision).partition(":")
        st.markdown(f"- **{escaped(what)}:** {escaped(answer.strip())}")
    show_chart(
        mending_charts.comparison_chart(decision),
        mending_charts.comparison_caption(decision),
        "mend or buy better",
    )
    money = {
        f"{part}_mid": f"{words.capitalize()} ({decision.currency})"
        for part, words in mending_charts.PARTS.items()
        if part != "price_now"
    }
    show_table(
        decision.goals.with_columns(
            pl.Series(
                "goal", [condition_words.goal_words(goal, decision) for goal in decision.goals["goal"]]
            ),
            pl.col(list(money)).round_sig_figs(3).round().cast(pl.Int64),
            pl.col("chance_cheaper", "loses") * 100,
        ),
        "mend or buy in figures",
        {
            "goal": "What is done",
            "answer": "Answer",
            **money,
            "chance_cheaper": TableColumn("Cheaper (of 100 cases)", "%.0f"),
            "loses": TableColumn("Loses money (of 100)", "%.0f"),
        },
        every=decision.goals,
        height="content",
    )
    write_small(
        "The middle of each, all-in; the whole ranges are in the picture and in the table to take along.",
        decision.notice,
        *decision.cautions,
    )
