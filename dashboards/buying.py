"""Buy: what to pay at most and to offer first, what day one costs, bids, and what else the money buys."""

from typing import Final

import polars as pl
import streamlit as st

from dashboards import frame
from dashboards.address import BOUND
from dashboards.offer_terms import ask_amount, ask_offer
from dashboards.shown import show_chart, show_table
from pricing.charts.buying import bids_chart, limits_chart
from pricing.decisions.buying import BuyerTerms, Buying, buy_car
from pricing.operations.settings import schedule_in_force
from pricing.reports.buying_sheet import buying_page
from pricing.snapshot import Snapshot
from pricing.words.buying import (
    asking_sentences,
    basis_note,
    cost_sentence,
    elsewhere_sentence,
    limit_sentences,
    limits_caption,
)
from pricing.words.glossary import what_is
from pricing.words.offers import bids_caption
from pricing.words.plain_text import escaped
from pricing.words.sentences import range_sentence

CARS_SHOWN: Final = 12


def show_page() -> None:
    """Ask for the car and the buyer's terms; show the limits and what they rest on."""
    st.title("Buy")
    with frame.one_sentence():
        asked = frame.ask_market_and_car()
        if asked is None:
            return
        state = asked.snapshot
        offer = ask_offer(asked)
        terms = _ask_terms(state, offer.currency)
        if offer.asking is None and offer.car.channel != "auction":
            st.info(
                "Give the price that is asked for the car; only an auction goes without (see the car above)."
            )
            return
        with frame.one_sentence("This cannot be reckoned: "):
            _show(
                buy_car(
                    state,
                    asked.model,
                    offer.car,
                    terms,
                    asking=offer.asking,
                    schedule=schedule_in_force(state),
                    inspection=offer.inspection,
                    costs=offer.costs,
                    own_rates=state.state.own_rates,
                )
            )


def _ask_terms(state: Snapshot, currency: str) -> BuyerTerms:
    certainty = st.slider(
        "How sure to be that the car would fetch what it costs (%)",
        5,
        95,
        60,
        5,
        key="certainty",
        help="The surer, the lower the price to walk away at.",
        **BOUND,
    )
    with st.expander("Costs beside the price"):
        first, second, third = st.columns(3)
        with first:
            transport = ask_amount("To bring it home", "transport", currency)
        with second:
            repairs = ask_amount("First repairs", "first_repairs", currency)
        with third:
            schedule = schedule_in_force(state)
            sources = sorted(
                {charge.source for charge in schedule.charges if charge.kind.startswith("import")}
                if schedule
                else set()
            )
            imported = st.selectbox(
                "Imported, with duty and tax of", sources, None, key="import_from", placeholder="not imported"
            )
        frame.link("settings", "Charges stand on the page Settings")
    return BuyerTerms(currency, certainty / 100, transport=transport, repairs=repairs, import_from=imported)


def _show(facts: Buying) -> None:
    with st.container(horizontal=True):
        for words, limit in (("walk away above", facts.walk_away), ("offer first", facts.opening)):
            amount = "nothing" if limit.price is None else f"{limit.price:,.0f}"
            st.metric(f"{words} ({facts.currency}, {facts.price_basis})", amount, width="content")
    if facts.valuation.opinion_alone:
        st.warning(escaped(range_sentence(facts.valuation)))
    for sentence in (*limit_sentences(facts), *asking_sentences(facts)):
        st.write(escaped(sentence))
    st.caption(escaped(basis_note(facts)))
    show_chart(limits_chart(facts), limits_caption(facts), "limits")
    _show_costs(facts)
    if facts.bids.height:
        _show_bids(facts)
    _show_elsewhere(facts)
    st.subheader("Questions to put before you pay")
    for question in facts.questions:
        st.write(escaped(question))
    st.download_button(
        "The sheet to take along (page to print)",
        buying_page(facts),
        "buying_sheet.html",
        "text/html",
        type="primary",
        on_click="ignore",
    )
    frame.link("mend", "Mend it, or buy better")
    for caution in facts.cautions:
        st.caption(escaped(caution))


def _show_costs(facts: Buying) -> None:
    if facts.day_one.is_empty():
        return
    st.subheader("What day one comes to", help=what_is("all-in"))
    st.write(escaped(cost_sentence(facts)))
    show_table(
        facts.day_one.with_columns(
            pl.col("amount").cast(pl.Float64),
            counted=pl.when("counted").then(pl.lit("yes")).otherwise(pl.lit("no")),
        ),
        "day one",
        {
            "line": "Line",
            "amount": st.column_config.NumberColumn(f"Amount ({facts.currency})", format="localized"),
            "counted": "Counts against the limit",
            "source": "From",
        },
        every=facts.day_one,
        height="content",
    )
    st.caption(escaped(facts.rates))


def _show_bids(facts: Buying) -> None:
    st.subheader("Bids", help=what_is("hammer price"))
    show_chart(bids_chart(facts), bids_caption(facts), "bids")
    names = {"price": "Bid", "premium": "Premium", "all_in": "All-in", "total": "Total", "left": "Left"}
    show_table(
        facts.bids.with_columns(pl.col(list(names)).cast(pl.Float64)),
        "bids in figures",
        {
            name: st.column_config.NumberColumn(f"{words} ({facts.currency})", format="localized")
            for name, words in names.items()
        },
        every=facts.bids,
    )


def _show_elsewhere(facts: Buying) -> None:
    st.subheader("The same money elsewhere")
    st.write(escaped(elsewhere_sentence(facts)))
    if facts.elsewhere.is_empty():
        return
    money = {
        name: st.column_config.NumberColumn(f"{name} ({facts.valuation.currency})", format="localized")
        for name in ("low", "mid", "high")
    }
    rounded = pl.col("low", "mid", "high", "next_band").round_sig_figs(3).round().cast(pl.Int64)
    show_table(
        facts.elsewhere.head(CARS_SHOWN).with_columns(rounded, pl.col("within") * 100),
        "same money elsewhere",
        {
            "make": "Make",
            "model": "Model",
            "variant": "Variant",
            "year": st.column_config.NumberColumn("Year", format="%d"),
            "condition_band": "Condition band",
            "sales": st.column_config.NumberColumn("Sales", format="localized"),
            **money,
            "within": st.column_config.NumberColumn("Sell for the money (%)", format="%.0f"),
            "next_band": st.column_config.NumberColumn(
                f"Mid, one band up ({facts.valuation.currency})", format="localized"
            ),
        },
        every=facts.elsewhere,
        height="content",
    )
