"""Sell: what each way of selling would leave, a reserve and an estimate, an asking price, and what to do
first."""

from decimal import Decimal
from typing import Any

import polars as pl
import streamlit as st

from dashboards import frame
from dashboards.offer_terms import ask_amount, ask_offer
from dashboards.shown import show_chart, show_table
from pricing.charts.selling import proceeds_chart, reserve_chart, waiting_chart
from pricing.decisions.first_jobs import PAPERS
from pricing.decisions.seller_terms import SellerTerms
from pricing.decisions.selling import Selling, evidence_of, sell_car
from pricing.operations.settings import schedule_in_force
from pricing.progress import Progress
from pricing.snapshot import Snapshot
from pricing.words.glossary import what_is
from pricing.words.offers import waiting_caption
from pricing.words.plain_text import escaped
from pricing.words.selling import (
    auction_sentences,
    channel_sentence,
    first_sentences,
    proceeds_caption,
    reserve_caption,
)
from pricing.words.sentences import range_sentence


def show_page() -> None:
    """Ask for the car and the seller's terms; show what each channel leaves."""
    st.title("Sell")
    with frame.one_sentence():
        asked = frame.ask_market_and_car()
        if asked is None:
            return
        state = asked.snapshot
        offer = ask_offer(asked)
        terms = _ask_terms(offer.currency, offer.asking)
        key = f"selling {state.path} {state.state.records} {state.state.fit}"
        if not frame.done(key, "Learning how cars sell", lambda tell: _learn(state, tell)):
            return
        with frame.one_sentence("This cannot be reckoned: "):
            _show(
                sell_car(
                    state,
                    asked.model,
                    offer.car,
                    terms,
                    evidence=evidence_of(state),
                    schedule=schedule_in_force(state),
                    inspection=offer.inspection,
                    costs=offer.costs,
                    own_rates=state.state.own_rates,
                )
            )


def _learn(state: Snapshot, tell: Progress) -> None:
    evidence_of(state, tell)


def _ask_terms(currency: str, asking: Decimal | None) -> SellerTerms:
    first, second = st.columns(2)
    with first:
        own = ask_amount(
            "Worth to you unsold", "own_value", currency, "What the car is worth to you if it does not sell."
        )
    with second:
        reserve = ask_amount("Reserve to look at", "reserve", currency, what_is("reserve"))
    papers = {}
    with st.expander("Estimate, lowest price, missing papers"):
        first, second, third = st.columns(3)
        with first:
            low = ask_amount("Low estimate", "low_estimate", currency)
            high = ask_amount("High estimate", "high_estimate", currency)
        with second:
            floor = ask_amount("Lowest price to ask in the end", "floor", currency)
        with third:
            for name, _ in PAPERS:
                cost = ask_amount(f"Cost of {name}", f"paper_{name.replace(' ', '_')}", currency)
                if cost is not None:
                    papers[name] = cost
    return SellerTerms(currency, own, reserve, low, high, asking, floor, papers=papers)


def _show(facts: Selling) -> None:
    if facts.valuation.opinion_alone:
        st.warning(escaped(range_sentence(facts.valuation)))
    st.subheader("What a sale would leave", help=what_is("net proceeds"))
    for found in facts.channels:
        st.write(escaped(channel_sentence(facts, found)))
    if facts.channels:
        show_chart(proceeds_chart(facts), proceeds_caption(), "net proceeds")
        _show_channels(facts)
    if facts.auction is not None:
        st.subheader("At auction", help=what_is("reserve"))
        with st.container(horizontal=True):
            best = facts.auction.best
            for words, amount in (
                ("reserve that leaves most", best),
                ("low estimate", facts.auction.low_estimate),
                ("high estimate", facts.auction.high_estimate),
            ):
                shown = "not known" if amount is None else f"{amount:,.0f}"
                st.metric(f"{words} ({facts.currency}, hammer)", shown, width="content")
        for sentence in auction_sentences(facts):
            st.write(escaped(sentence))
        show_chart(reserve_chart(facts), reserve_caption(), "reserve")
    for channel, ladder in facts.asking.items():
        if ladder["within_12"].null_count() == ladder.height:
            continue  # why the time is not known is said below
        st.subheader(f"Asking price, {channel}")
        show_chart(
            waiting_chart(facts, channel).properties(height=340),
            waiting_caption(channel),
            f"asking price, {channel}",
        )
    _show_first(facts)
    for sentence in facts.unknown:
        st.write(escaped(sentence))
    st.caption(escaped(facts.rates))
    for caution in facts.cautions:
        st.caption(escaped(caution))


def _show_channels(facts: Selling) -> None:
    names = {
        "low": "paid, low",
        "mid": "paid, mid",
        "high": "paid, high",
        "net_low": "net, low",
        "net_mid": "net, mid",
        "net_high": "net, high",
        "expected": "expected, unsold counted",
    }
    rows: list[dict[str, Any]] = [
        {
            "channel": found.channel,
            **{name: None if getattr(found, name) is None else float(getattr(found, name)) for name in names},
            "chance": None if found.chance is None else 100 * found.chance,
            "weeks": found.weeks,
        }
        for found in facts.channels
    ]
    table = pl.DataFrame(rows, infer_schema_length=None)
    show_table(
        table.with_columns(pl.col([*names, "chance", "weeks"]).cast(pl.Float64).round()),
        "channels",
        {
            "channel": "Channel",
            **{
                name: st.column_config.NumberColumn(f"{words} ({facts.currency})", format="localized")
                for name, words in names.items()
            },
            "chance": st.column_config.NumberColumn("Chance of a sale (%)", format="%.0f"),
            "weeks": st.column_config.NumberColumn("Weeks to half sold", format="%.0f"),
        },
        height="content",
    )


def _show_first(facts: Selling) -> None:
    st.subheader("What to do first")
    for sentence in first_sentences(facts):
        st.write(escaped(sentence))
    if facts.first.is_empty():
        return
    currency = facts.valuation.currency
    show_table(
        facts.first.select("item", "kind", "cost", "gain", "answer"),
        "what to do first",
        {
            "item": "What",
            "kind": "Kind",
            "cost": st.column_config.NumberColumn(f"Cost ({currency})", format="localized"),
            "gain": st.column_config.NumberColumn(f"Does to the mid price ({currency})", format="localized"),
            "answer": "Answer",
        },
        every=facts.first,
        height="content",
    )
