"""Sell: where to sell, what to ask and what to expect, reserve and ladder, and what is worth doing first."""

from decimal import Decimal

import polars as pl
import streamlit as st

from dashboards import jobs
from dashboards.asking.offer_terms import ask_amount, ask_offer
from dashboards.downloads import offer_sheet
from dashboards.exhibits import show_chart
from dashboards.page_layout import SubjectCar, ask_market_and_car, one_sentence, page
from dashboards.tables import TableColumn, show_table
from dashboards.text import show_metrics, show_terms, show_verdict, write, write_small
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
from pricing.reports.selling_sheet import selling_sheet
from pricing.words import selling as selling_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import about_words, number_words
from pricing.words.sentences import range_sentence


@page("Sell", ask_market_and_car)
def show_page(subject: SubjectCar) -> None:
    """Ask for the car and the seller's terms; show the advice and what each channel leaves."""
    snapshot = subject.snapshot
    offer = ask_offer(subject)
    with st.container(), one_sentence("This cannot be reckoned: "):
        with st.container(key="seller-terms"):
            terms = _ask_terms(offer.currency, offer.asking)
        key = f"selling {snapshot.path} {snapshot.state.records} {snapshot.state.fit}"
        learning = jobs.once(key, "Learning how cars sell", lambda tell: evidence_of(snapshot, tell))
        if not jobs.show(learning):
            return
        facts = sell_car(
            snapshot,
            subject.model,
            offer.car,
            terms,
            evidence=evidence_of(snapshot),
            schedule=schedule_in_force(snapshot),
            inspection=offer.inspection,
            costs=offer.costs,
            own_rates=snapshot.state.own_rates,
        )
        _show(facts, standing_warning(snapshot.state))


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
                "Worth to you if you keep it", "own_value", currency, "worth unsold",
                help="What the car is worth to you if it does not sell; without it, it is offered on.",
            )  # fmt: skip
            floor = ask_amount("Lowest price to ask in the end", "floor", currency)
        with second:
            reserve = ask_amount("Reserve that you think of", "reserve", currency, help=what_is("reserve"))
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
    advice, rest = selling_words.advice_sentences(facts)
    show_verdict(advice)
    best, metrics = facts.best, []
    where = f"({facts.currency}, {selling_words.WHERE[best.channel]})"
    if best.asking is not None:
        metrics.append((f"ask {where}", number_words(best.asking)))
    if best.net is not None:
        metrics.append((f"expect after charges {where}", about_words(best.net.mid)))
    if best.weeks is not None:
        metrics.append(("in about", f"{best.weeks:.0f} weeks"))
    show_metrics(metrics)
    write(rest)
    show_terms("hammer price", "reserve", "net proceeds", "asking price", "estimate")
    offer_sheet(
        lambda words: selling_sheet(facts, warning, words),
        "The seller's page, with a draft advertisement",
        "selling_sheet",
    )
    if facts.valuation.opinion_alone:
        st.warning(escaped(range_sentence(facts.valuation)))
    st.header("What a sale leaves you", help=what_is("net proceeds"))
    if any(sale.net is not None for sale in facts.channels):
        show_chart(proceeds_chart(facts), proceeds_caption(), "net proceeds")
    _show_channels(facts)
    with st.expander("Each way to sell, in words"):
        write(*(selling_words.channel_sentence(facts, sale) for sale in facts.channels))
    write_small(selling_words.unsold_sentence(facts))
    _show_auction(facts)
    _show_asking(facts)
    _show_what_ifs(facts)
    write(*facts.unknown)
    write_small(facts.rates, *facts.cautions)


def _show_channels(facts: Selling) -> None:
    table = pl.DataFrame(
        [
            {
                "channel": sale.channel,
                **{
                    f"{name}_{end}": None if span is None else float(getattr(span, end))
                    for name, span in (("net", sale.net), ("paid", sale.paid))
                    for end in ("low", "mid", "high")
                },
                "left": float(sale.left),
                "chance": None if sale.chance is None else 100 * sale.chance,
                "weeks": sale.weeks,
            }
            for sale in facts.channels
        ],
        infer_schema_length=None,
    )
    money = {
        "left": "Left on average, sold or not",
        "net_mid": "Left if it sells, the middle",
        "paid_mid": "A buyer pays, the middle",
    }
    show_table(
        table.with_columns(pl.col(*money, "chance", "weeks").cast(pl.Float64).round()),
        "channels",
        {
            "channel": "Where",
            **{name: f"{words} ({facts.currency})" for name, words in money.items()},
            "chance": TableColumn("Chance of a sale (%)", "%.0f"),
            "weeks": TableColumn("Weeks until half are sold", "%.0f"),
        },
        every=table,
        height="content",
    )


def _show_auction(facts: Selling) -> None:
    auction, currency = facts.auction, facts.currency
    st.header("At auction", help=what_is("reserve"))
    estimates = {"low": auction.low_estimate, "high": auction.high_estimate}
    if None not in estimates.values():
        show_metrics(
            (f"{words} estimate ({currency}, hammer)", number_words(amount))
            for words, amount in estimates.items()
            if amount is not None
        )
    write(*selling_words.auction_sentences(facts))
    if not auction.evidence.tells:
        return  # that the chance of a sale is not known is said below
    show_chart(reserve_chart(facts), reserve_caption(), "reserve")
    with st.expander("Reserves in figures"):
        show_table(
            auction.reserves.with_columns(pl.col("chance") * 100, pl.col("net", "left").round()),
            "reserves",
            {
                "reserve": f"Reserve ({currency}, hammer)",
                "chance": TableColumn("Chance of a sale (%)", "%.0f"),
                "net": f"Net if sold ({currency})",
                "left": f"Left on average ({currency})",
            },
        )


def _show_asking(facts: Selling) -> None:
    """What to ask, and how to come down; no chart where the records do not tell that the price matters."""
    st.header("Asking price and how to come down", help=what_is("asking price"))
    write(*selling_words.waiting_sentences(facts), selling_words.bargain_sentence(facts))
    for channel, plan in facts.asking.items():
        st.write(f"**{selling_words.WHERE[channel].capitalize()}**")
        show_table(
            plan.ladder.with_columns(pl.col("asking").round(), pl.col("sold_by_then") * 100),
            f"ladder, {channel}",
            {
                "week": TableColumn("From week", "%d"),
                "asking": f"Ask ({facts.currency})",
                "sold_by_then": TableColumn("Sold before the next step (%)", "%.0f"),
            },
            height="content",
        )
        if facts.price_tells:
            chart = waiting_chart(facts, channel).properties(height=340)
            show_chart(chart, waiting_caption(channel), f"asking price, {channel}")


def _show_what_ifs(facts: Selling) -> None:
    st.header(f"What if, before it is sold {selling_words.WHERE[facts.best.channel]}")
    write(*selling_words.first_sentences(facts))
    if facts.first.is_empty():
        return
    money = {
        "gain": "More on average",
        "cost_mid": "It costs, the middle",
        "net_before": "A sale leaves now",
        "net_after": "It then leaves",
    }
    show_table(
        facts.first.with_columns(
            pl.col(*money).round(),
            pl.col("pays") * 100,
            compared=pl.when("supported").then(pl.lit("yes")).otherwise(pl.lit("no")),
        ),
        "what if",
        {
            "item": "What",
            "kind": "Kind",
            **{name: f"{words} ({facts.currency})" for name, words in money.items()},
            "pays": TableColumn("It pays in (% of cases)", "%.0f"),
            "compared": "Seen before and after on the same car",
        },
        every=facts.first,
        height="content",
    )
