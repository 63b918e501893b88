"""Sell: where to sell, what to ask and what to expect, reserve and ladder, and what is worth doing first."""

from decimal import Decimal
from typing import Any

import polars as pl
import streamlit as st

from dashboards import page_layout
from dashboards.asking.offer_terms import ask_amount, ask_offer
from dashboards.exhibits import offer_sheet, show_chart, show_table
from dashboards.terms import show_terms
from dashboards.url_state import BOUND
from pricing.charts.selling import (
    proceeds_caption,
    proceeds_chart,
    reserve_caption,
    reserve_chart,
    waiting_caption,
    waiting_chart,
)
from pricing.decisions.sell.seller_terms import DISCOUNT, SellerTerms
from pricing.decisions.sell.selling import Selling, sell_car
from pricing.decisions.sell.selling_evidence import evidence_of
from pricing.decisions.sell.what_ifs import PAPERS
from pricing.operations.opening import standing_warning
from pricing.operations.settings import schedule_in_force
from pricing.progress import Progress
from pricing.reports.selling_sheet import selling_sheet
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import about_words, number_words
from pricing.words.selling import (
    WHERE,
    advice_sentences,
    auction_sentences,
    bargain_sentence,
    channel_sentence,
    first_sentences,
    unsold_sentence,
    waiting_sentences,
)
from pricing.words.sentences import range_sentence


def show_page() -> None:
    """Ask for the car and the seller's terms; show the advice and what each channel leaves."""
    st.title("Sell")
    with page_layout.one_sentence():
        asked = page_layout.ask_market_and_car()
        if asked is None:
            return
        state = asked.snapshot
        offer = ask_offer(asked)
        answer = st.container()
        with answer, page_layout.one_sentence("This cannot be reckoned: "):
            with st.container(key="seller-terms"):
                terms = _ask_terms(offer.currency, offer.asking)
            key = f"selling {state.path} {state.state.records} {state.state.fit}"
            if not page_layout.done(key, "Learning how cars sell", lambda tell: _learn(state, tell)):
                return
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
                ),
                standing_warning(state.state),
            )


def _learn(state: Snapshot, tell: Progress) -> None:
    evidence_of(state, tell)


def _ask_terms(currency: str, asking: Decimal | None) -> SellerTerms:
    papers = {}
    with st.expander("How soon the money is wanted, reserve, lowest price, missing papers"):
        discount = st.slider(
            "What a month of waiting costs you (%)",
            0.0,
            10.0,
            100 * DISCOUNT,
            0.5,
            key="discount",
            help="The sooner the money is wanted, the more; without a word, 1%.",
            **BOUND,
        )
        first, second, third = st.columns(3)
        with first:
            own = ask_amount(
                "Worth to you if you keep it", "own_value", currency,
                "What the car is worth to you if it does not sell; without it, it is offered on.",
                "worth unsold",
            )  # fmt: skip
            floor = ask_amount("Lowest price to ask in the end", "floor", currency)
        with second:
            reserve = ask_amount("Reserve that you think of", "reserve", currency, what_is("reserve"))
            low = ask_amount("Low estimate", "low_estimate", currency)
            high = ask_amount("High estimate", "high_estimate", currency)
        with third:
            for name, _ in PAPERS:
                cost = ask_amount(f"Cost of {name}", f"paper_{name.replace(' ', '_')}", currency)
                if cost is not None:
                    papers[name] = cost
    return SellerTerms(
        currency, own, reserve, low, high, asking, floor, papers=papers, discount=discount / 100
    )


def _show(facts: Selling, warning: str | None) -> None:
    advice, rest = advice_sentences(facts)
    with st.container(key="verdict"):
        st.markdown(escaped(advice))
    with st.container(horizontal=True):
        best = facts.best
        figures = [
            ("ask", None if best.asking is None else number_words(best.asking)),
            ("expect after charges", None if best.net is None else about_words(best.net.mid)),
        ]
        for words, amount in figures:
            if amount is not None:
                st.metric(f"{words} ({facts.currency}, {WHERE[best.channel]})", amount, width="content")
        if best.weeks is not None:
            st.metric("in about", f"{best.weeks:.0f} weeks", width="content")
    st.write(escaped(rest))
    show_terms("hammer price", "reserve", "net proceeds", "asking price", "estimate")
    offer_sheet(
        lambda words: selling_sheet(facts, warning, words),
        "The seller's page, with a draft advertisement",
        "selling_sheet",
    )
    if facts.valuation.opinion_alone:
        st.warning(escaped(range_sentence(facts.valuation)))
    st.header("What a sale leaves you", help=what_is("net proceeds"))
    if any(found.net is not None for found in facts.channels):
        show_chart(proceeds_chart(facts), proceeds_caption(), "net proceeds")
    _show_channels(facts)
    with st.expander("Each way to sell, in words"):
        for found in facts.channels:
            st.write(escaped(channel_sentence(facts, found)))
    st.caption(escaped(unsold_sentence(facts)))
    _show_auction(facts)
    _show_asking(facts)
    _show_first(facts)
    for sentence in facts.unknown:
        st.write(escaped(sentence))
    st.caption(escaped(facts.rates))
    for caution in facts.cautions:
        st.caption(escaped(caution))


def _show_channels(facts: Selling) -> None:
    currency = facts.currency
    rows: list[dict[str, Any]] = [
        {
            "channel": found.channel,
            **{
                f"{name}_{end}": None if span is None else float(getattr(span, end))
                for name, span in (("net", found.net), ("paid", found.paid))
                for end in ("low", "mid", "high")
            },
            "left": float(found.left),
            "chance": None if found.chance is None else 100 * found.chance,
            "weeks": found.weeks,
        }
        for found in facts.channels
    ]
    table = pl.DataFrame(rows, infer_schema_length=None)
    shown = {
        "left": "Left on average, sold or not",
        "net_mid": "Left if it sells, the middle",
        "paid_mid": "A buyer pays, the middle",
    }
    show_table(
        table.select("channel", pl.col(*shown, "chance", "weeks").cast(pl.Float64).round()),
        "channels",
        {
            "channel": "Where",
            **{
                name: st.column_config.NumberColumn(f"{words} ({currency})", format="localized")
                for name, words in shown.items()
            },
            "chance": st.column_config.NumberColumn("Chance of a sale (%)", format="%.0f"),
            "weeks": st.column_config.NumberColumn("Weeks until half are sold", format="%.0f"),
        },
        every=table,
        height="content",
    )


def _show_auction(facts: Selling) -> None:
    found, currency = facts.auction, facts.currency
    st.header("At auction", help=what_is("reserve"))
    if found.low_estimate is not None and found.high_estimate is not None:
        with st.container(horizontal=True):
            for words, amount in (("low", found.low_estimate), ("high", found.high_estimate)):
                st.metric(f"{words} estimate ({currency}, hammer)", number_words(amount), width="content")
    for sentence in auction_sentences(facts):
        st.write(escaped(sentence))
    if not found.evidence.tells:
        return  # that the chance of a sale is not known is said below
    show_chart(reserve_chart(facts), reserve_caption(), "reserve")
    with st.expander("Reserves in figures"):
        show_table(
            found.reserves.with_columns(pl.col("chance") * 100, pl.col("net", "left").round()),
            "reserves",
            {
                "reserve": st.column_config.NumberColumn(f"Reserve ({currency}, hammer)", format="localized"),
                "chance": st.column_config.NumberColumn("Chance of a sale (%)", format="%.0f"),
                "net": st.column_config.NumberColumn(f"Net if sold ({currency})", format="localized"),
                "left": st.column_config.NumberColumn(f"Left on average ({currency})", format="localized"),
            },
        )


def _show_asking(facts: Selling) -> None:
    """What to ask, and how to come down; no chart where the records do not tell that the price matters."""
    currency = facts.currency
    st.header("Asking price and how to come down", help=what_is("asking price"))
    for sentence in (*waiting_sentences(facts), bargain_sentence(facts)):
        st.write(escaped(sentence))
    for channel, plan in facts.asking.items():
        st.write(f"**{WHERE[channel].capitalize()}**")
        ladder = plan.ladder.with_columns(pl.col("asking").round(), pl.col("sold_by_then") * 100)
        show_table(
            ladder,
            f"ladder, {channel}",
            {
                "week": st.column_config.NumberColumn("From week", format="%d"),
                "asking": st.column_config.NumberColumn(f"Ask ({currency})", format="localized"),
                "sold_by_then": st.column_config.NumberColumn("Sold before the next step (%)", format="%.0f"),
            },
            height="content",
        )
        if facts.price_tells:
            show_chart(
                waiting_chart(facts, channel).properties(height=340),
                waiting_caption(channel),
                f"asking price, {channel}",
            )


def _show_first(facts: Selling) -> None:
    st.header(f"What if, before it is sold {WHERE[facts.best.channel]}")
    for sentence in first_sentences(facts):
        st.write(escaped(sentence))
    if facts.first.is_empty():
        return
    currency = facts.currency
    money = ("gain", "cost_mid", "net_before", "net_after")
    show_table(
        facts.first.select(
            "item", "kind", pl.col(*money).round(), pl.col("pays") * 100,
            pl.when("supported").then(pl.lit("yes")).otherwise(pl.lit("no")).alias("compared"),
        ),  # fmt: skip
        "what if",
        {
            "item": "What",
            "kind": "Kind",
            **{
                name: st.column_config.NumberColumn(f"{words} ({currency})", format="localized")
                for name, words in zip(
                    money,
                    ("More on average", "It costs, the middle", "A sale leaves now", "It then leaves"),
                    strict=True,
                )
            },
            "pays": st.column_config.NumberColumn("It pays in (% of cases)", format="%.0f"),
            "compared": "Seen before and after on the same car",
        },
        every=facts.first,
        height="content",
    )  # fmt: skip
