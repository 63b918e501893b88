"""Buy: a verdict on the price, what the car comes to until it stands ready, what to offer and where to stop,
what to say to the seller, bids, and what else the money buys."""

from collections.abc import Callable
from typing import Final

import polars as pl
import streamlit as st

from dashboards import caches, page_layout
from dashboards.asking.offer_terms import ask_amount, ask_offer
from dashboards.asking.typed_fields import ask_year
from dashboards.exhibits import offer_sheet, show_chart, show_table
from dashboards.mending import least_chosen
from dashboards.terms import show_terms
from dashboards.url_state import BOUND
from pricing.charts.buying import bids_caption, bids_chart, limits_caption, limits_chart
from pricing.decisions.buy.alternatives import Wanted
from pricing.decisions.buy.buying import BuyerTerms, Buying, buy_car
from pricing.operations.opening import standing_warning
from pricing.operations.settings import schedule_in_force, settings_of
from pricing.reports.buying_sheet import buying_sheet
from pricing.snapshot import Snapshot
from pricing.vocabulary import DRIVE_SIDES
from pricing.words.approaches import difference_sentence
from pricing.words.buying import (
    LINE_WORDS,
    alternative_sentences,
    argument_sentences,
    basis_note,
    gap_sentences,
    limit_sentences,
    mended_limit_sentences,
    total_sentences,
    verdict_sentence,
)
from pricing.words.condition import goals_sentence
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import about_words, number_words
from pricing.words.sentences import range_sentence

CARS_SHOWN: Final = 6


def show_page() -> None:
    """Ask for the car and the buyer's terms; show the verdict and what it rests on."""
    st.title("Buy")
    with page_layout.one_sentence():
        asked = page_layout.ask_market_and_car()
        if asked is None:
            return
        state = asked.snapshot
        offer = ask_offer(asked)
        with st.expander("Your terms: how sure you must be, other costs, what else would do"):
            terms = _ask_terms(state, offer.currency, inspected=offer.costs is not None)
        if offer.asking is None and offer.car.channel != "auction":
            st.info(
                "Type the price that is asked for the car, and the verdict comes. For a car that goes to "
                "auction choose "
                "the channel auction under the car above instead."
            )
            return
        with page_layout.one_sentence("This cannot be reckoned: "):
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
                    limits=settings_of(state).verdict_limits,
                    indexed=page_layout.laid_out(state),
                ),
                standing_warning(state.state),
            )


def _ask_terms(state: Snapshot, currency: str, *, inspected: bool) -> BuyerTerms:
    certainty = st.slider(
        "How sure must you be that it sells for what it cost you? (%)",
        5,
        95,
        60,
        5,
        key="certainty",
        help="The surer, the lower the price to walk away at.",
        **BOUND,
    )
    st.markdown("**Other costs**")
    first, second, third = st.columns(3)
    with first:
        transport = ask_amount("To bring it home", "transport", currency, name="transport")
    with second:
        repairs = None
        if inspected:
            st.caption("Repairs are those of the inspection, with your quotes.")
            page_layout.link("mend", "Repairs and quotes")
        else:
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
    page_layout.link("settings", "Charges stand on the page Settings")
    return BuyerTerms(
        currency, certainty / 100, transport=transport, repairs=repairs, import_from=imported,
        least=least_chosen(), wanted=_ask_wanted(state),
    )  # fmt: skip


def _ask_wanted(state: Snapshot) -> Wanted:
    """What another car must be."""
    st.markdown("**What another car for the money must be**")
    first, second, third = st.columns(3)
    with first:
        body = _among("Body style", "other_body_style", caches.values(state, "body_style"))
        drive = _among("Drive side", "other_drive_side", list(DRIVE_SIDES))
    with second:
        begin, end = (_year(label, key) for label, key in (("From", "other_from"), ("To", "other_to")))
    with third:
        country = _among("Sold in", "other_country", caches.values(state, "country"), country_words)
    return Wanted(body, drive, begin, end, country)


def _among(label: str, key: str, choices: list[str], shown: Callable[[str], str] = str) -> str | None:
    return st.selectbox(label, choices, None, key=key, format_func=shown, placeholder="any", **BOUND)


def _year(label: str, key: str) -> int | None:
    return ask_year(label, key, placeholder="any year", **BOUND)


def _show(facts: Buying, warning: str | None) -> None:
    with st.container(key="verdict"):
        st.markdown(escaped(verdict_sentence(facts)))
    with st.container(horizontal=True):
        for words, limit in (("offer first", facts.opening), ("walk away above", facts.walk_away)):
            amount = "nothing" if limit.price is None else number_words(limit.price)
            st.metric(f"{words} ({facts.currency}, {facts.price_basis})", amount, width="content")
        if facts.total is not None:
            words = "in all until it stands ready" if facts.loses is not None else "in all, as it stands"
            st.metric(f"{words} ({facts.currency})", about_words(facts.total.mid), width="content")
        st.metric(
            f"the same car ready to drive ({facts.currency})",
            about_words(facts.ready.mid),
            width="content",
        )
    show_terms("all-in", "asking price", "hammer price", "premium", "condition band")
    if facts.valuation.opinion_alone:
        st.warning(escaped(range_sentence(facts.valuation)))
    with st.expander("What these figures say"):
        for sentence in (*total_sentences(facts), *limit_sentences(facts), *mended_limit_sentences(facts)):
            st.write(escaped(sentence))
    if facts.arguments:
        st.header("What to say to the seller")
        for sentence in argument_sentences(facts):
            st.markdown(f"- {escaped(sentence)}")
    offer_sheet(lambda words: buying_sheet(facts, warning, words), "The sheet to take along", "buying_sheet")
    st.header("What it rests on")
    for sentence in (range_sentence(facts.valuation), *gap_sentences(facts)):
        st.write(escaped(sentence))
    if facts.approaches is not None:
        st.write(escaped(difference_sentence(facts.approaches)))
    st.caption(escaped(basis_note(facts)))
    show_chart(limits_chart(facts), limits_caption(facts), "limits")
    _show_costs(facts)
    if facts.bids.height:
        _show_bids(facts)
    _show_alternatives(facts)
    if facts.better is not None:
        st.header("Mend it, or buy better")
        st.write(escaped(goals_sentence(facts.better)))
    page_layout.link("mend", "Mend it, or buy better")
    st.header("Questions to put before you pay")
    st.markdown("\n".join(f"- {escaped(question)}" for question in facts.questions))
    for caution in facts.cautions:
        st.caption(escaped(caution))


def _show_costs(facts: Buying) -> None:
    if facts.day_one.is_empty():
        return
    st.header("The whole cost, line by line", help=what_is("all-in"))
    ends = {"low": "Low", "mid": "Mid", "high": "High"}
    show_table(
        facts.day_one.drop_nulls("mid").with_columns(
            pl.col("line").replace_strict(LINE_WORDS),
            pl.when(pl.col("low") == pl.col("high"))
            .then(pl.col(list(ends)).cast(pl.Float64))
            .otherwise(pl.col(list(ends)).cast(pl.Float64).round_sig_figs(3)),
            counted=pl.when("counted").then(pl.lit("yes")).otherwise(pl.lit("no")),
        ),
        "line by line",
        {
            "line": "Line",
            **{
                end: st.column_config.NumberColumn(f"{words} ({facts.currency})", format="localized")
                for end, words in ends.items()
            },
            "counted": "Counts towards the price to walk away at",
            "source": "From",
        },
        every=facts.day_one,
        height="content",
    )
    empty = facts.day_one.filter(pl.col("mid").is_null())["line"].replace_strict(LINE_WORDS)
    if len(empty):
        st.caption(escaped(f"Left empty, so not counted: {', '.join(empty)}."))
    st.caption(escaped(facts.rates))


def _show_bids(facts: Buying) -> None:
    st.header("Bids", help=what_is("hammer price"))
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


def _show_alternatives(facts: Buying) -> None:
    st.header("What else the money buys")
    sentences = alternative_sentences(facts)
    if facts.alternatives.is_empty():
        st.write(escaped(sentences[0]))
        return
    currency = facts.valuation.currency
    money = {
        name: st.column_config.NumberColumn(f"{name.capitalize()} ({currency})", format="localized")
        for name in ("low", "mid", "high")
    }
    rounded = pl.col("low", "mid", "high").round_sig_figs(3).round().cast(pl.Int64)
    groups = facts.alternatives.group_by("at", maintain_order=True)
    for place, (sentence, ((name,), rows)) in enumerate(zip(sentences, groups, strict=True)):
        st.write(escaped(sentence))
        with st.expander("These cars", expanded=place == 0, key=f"others-{place}"):
            show_table(
                rows.drop("at", "budget").head(CARS_SHOWN).with_columns(rounded, pl.col("within") * 100),
                f"other cars for {name}",
                {
                    "make": "Make",
                    "model": "Model",
                    "variant": "Variant",
                    "year": st.column_config.NumberColumn("Year", format="%d"),
                    "body_style": "Body style",
                    "condition_band": "Condition band",
                    "sales": st.column_config.NumberColumn("Sales", format="localized"),
                    **money,
                    "within": st.column_config.NumberColumn("Sold within your money (%)", format="%.0f"),
                    "evidence": "Evidence",
                },
                every=rows,
                height="content",
            )
