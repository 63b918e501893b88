"""Buy: a verdict on the price, what the car comes to until it stands ready, what to offer and where to stop,
what to say to the seller, bids, and what else the money buys."""

from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.asking.offer_terms import ask_amount, ask_offer
from dashboards.asking.typed_fields import ask_year
from dashboards.downloads import offer_sheet
from dashboards.exhibits import show_chart
from dashboards.mending import least_chosen
from dashboards.page_layout import SubjectCar, ask_market_and_car, laid_out, link, one_sentence, page
from dashboards.tables import TableColumn, headings, show_table
from dashboards.text import show_metrics, show_terms, show_verdict, write, write_list, write_small
from dashboards.url_state import BOUND
from pricing.charts.buying import bids_caption, bids_chart, limits_caption, limits_chart
from pricing.decisions.buy.alternatives import Wanted
from pricing.decisions.buy.buying import BuyerTerms, Buying, buy_car
from pricing.operations.opening import standing_warning
from pricing.operations.settings import schedule_in_force, settings_of
from pricing.reports.buying_sheet import buying_sheet
from pricing.snapshot import Snapshot
from pricing.vocabulary import DRIVE_SIDES
from pricing.words import buying as buying_words
from pricing.words.approaches import difference_sentence
from pricing.words.condition import goals_sentence
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import about_words, number_words
from pricing.words.sentences import range_sentence

FIRST_CARS: Final = 6
"""Other cars for the money that the page shows."""


@page("Buy", ask_market_and_car)
def show_page(subject: SubjectCar) -> None:
    """Ask for the car and the buyer's terms; show the verdict and what it rests on."""
    snapshot = subject.snapshot
    offer = ask_offer(subject)
    with st.expander("Your terms: how sure you must be, other costs, what else would do"):
        terms = _ask_terms(snapshot, offer.currency, inspected=offer.costs is not None)
    if offer.asking is None and offer.car.channel != "auction":
        st.info(
            "Type the price that is asked for the car, and the verdict comes. For a car that goes to auction "
            "choose the channel auction under the car above instead."
        )
        return
    with one_sentence("This cannot be reckoned: "):
        facts = buy_car(
            snapshot,
            subject.model,
            offer.car,
            terms,
            asking=offer.asking,
            schedule=schedule_in_force(snapshot),
            inspection=offer.inspection,
            costs=offer.costs,
            own_rates=snapshot.state.own_rates,
            limits=settings_of(snapshot).verdict_limits,
            indexed=laid_out(snapshot),
        )
        _show(facts, standing_warning(snapshot.state))


def _ask_terms(snapshot: Snapshot, currency: str, *, inspected: bool) -> BuyerTerms:
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
        transport = ask_amount("To bring it home", "transport", currency, "transport")
    with second:
        repairs = None
        if inspected:
            st.caption("Repairs are those of the inspection, with your quotes.")
            link("mend", "Repairs and quotes")
        else:
            repairs = ask_amount("First repairs", "first_repairs", currency)
    schedule = schedule_in_force(snapshot)
    charges = schedule.charges if schedule else ()
    sources = sorted({charge.source for charge in charges if charge.kind.startswith("import")})
    imported = third.selectbox(
        "Imported, with duty and tax of", sources, None, key="import_from", placeholder="not imported"
    )
    link("settings", "Charges stand on the page Settings")
    return BuyerTerms(
        currency, certainty / 100, transport=transport, repairs=repairs, import_from=imported,
        least=least_chosen(), wanted=_ask_wanted(snapshot),
    )  # fmt: skip


def _ask_wanted(snapshot: Snapshot) -> Wanted:
    st.markdown("**What another car for the money must be**")
    first, second, third = st.columns(3)
    anything: dict[str, Any] = {"placeholder": "any", **BOUND}
    bodies, countries = caches.values(snapshot, "body_style"), caches.values(snapshot, "country")
    body = first.selectbox("Body style", bodies, None, key="other_body_style", **anything)
    drive = first.selectbox("Drive side", list(DRIVE_SIDES), None, key="other_drive_side", **anything)
    with second:
        begin, end = (
            ask_year(label, key, placeholder="any year", **BOUND)
            for label, key in (("From", "other_from"), ("To", "other_to"))
        )
    country = third.selectbox(
        "Sold in", countries, None, key="other_country", format_func=country_words, **anything
    )
    return Wanted(body, drive, begin, end, country)


def _show(facts: Buying, warning: str | None) -> None:
    show_verdict(buying_words.verdict_sentence(facts))
    metrics = [
        (
            f"{words} ({facts.currency}, {facts.price_basis})",
            "nothing" if limit.price is None else number_words(limit.price),
        )
        for words, limit in (("offer first", facts.opening), ("walk away above", facts.walk_away))
    ]
    if facts.total is not None:
        words = "in all until it stands ready" if facts.loses is not None else "in all, as it stands"
        metrics.append((f"{words} ({facts.currency})", about_words(facts.total.mid)))
    metrics.append((f"the same car ready to drive ({facts.currency})", about_words(facts.ready.mid)))
    show_metrics(metrics)
    show_terms("all-in", "asking price", "hammer price", "premium", "condition band")
    if facts.valuation.opinion_alone:
        st.warning(escaped(range_sentence(facts.valuation)))
    with st.expander("What these figures say"):
        write(
            *buying_words.total_sentences(facts),
            *buying_words.limit_sentences(facts),
            *buying_words.mended_limit_sentences(facts),
        )
    if facts.arguments:
        st.header("What to say to the seller")
        for sentence in buying_words.argument_sentences(facts):
            write_list([sentence])
    offer_sheet(lambda words: buying_sheet(facts, warning, words), "The sheet to take along", "buying_sheet")
    st.header("What it rests on")
    write(range_sentence(facts.valuation), *buying_words.gap_sentences(facts))
    if facts.approaches is not None:
        write(difference_sentence(facts.approaches))
    write_small(buying_words.basis_note(facts))
    show_chart(limits_chart(facts), limits_caption(facts), "limits")
    _show_costs(facts)
    if facts.bids.height:
        _show_bids(facts)
    _show_alternatives(facts)
    if facts.better is not None:
        st.header("Mend it, or buy better")
        write(goals_sentence(facts.better))
    link("mend", "Mend it, or buy better")
    st.header("Questions to put before you pay")
    write_list(facts.questions)
    write_small(*facts.cautions)


def _show_costs(facts: Buying) -> None:
    if facts.day_one.is_empty():
        return
    st.header("The whole cost, line by line", help=what_is("all-in"))
    amounts = pl.col("low", "mid", "high").cast(pl.Float64)
    show_table(
        facts.day_one.drop_nulls("mid").with_columns(
            pl.col("line").replace_strict(buying_words.LINE_WORDS),
            pl.when(pl.col("low") == pl.col("high")).then(amounts).otherwise(amounts.round_sig_figs(3)),
            counted=pl.when("counted").then(pl.lit("yes")).otherwise(pl.lit("no")),
        ),
        "line by line",
        {
            "line": "Line",
            **{end: f"{end.capitalize()} ({facts.currency})" for end in ("low", "mid", "high")},
            "counted": "Counts towards the price to walk away at",
            "source": "From",
        },
        every=facts.day_one,
        height="content",
    )
    empty = facts.day_one.filter(pl.col("mid").is_null())["line"].replace_strict(buying_words.LINE_WORDS)
    if len(empty):
        write_small(f"Left empty, so not counted: {', '.join(empty)}.")
    write_small(facts.rates)


def _show_bids(facts: Buying) -> None:
    st.header("Bids", help=what_is("hammer price"))
    show_chart(bids_chart(facts), bids_caption(facts), "bids")
    names = {"price": "Bid", "premium": "Premium", "all_in": "All-in", "total": "Total", "left": "Left"}
    show_table(
        facts.bids.with_columns(pl.col(list(names)).cast(pl.Float64)),
        "bids in figures",
        {name: f"{words} ({facts.currency})" for name, words in names.items()},
        every=facts.bids,
    )


def _show_alternatives(facts: Buying) -> None:
    st.header("What else the money buys")
    sentences = buying_words.alternative_sentences(facts)
    if facts.alternatives.is_empty():
        write(sentences[0])
        return
    money = {end: f"{end.capitalize()} ({facts.valuation.currency})" for end in ("low", "mid", "high")}
    rounded = pl.col(list(money)).round_sig_figs(3).round().cast(pl.Int64)
    groups = facts.alternatives.group_by("at", maintain_order=True)
    for place, (sentence, ((name,), rows)) in enumerate(zip(sentences, groups, strict=True)):
        write(sentence)
        with st.expander("These cars", expanded=place == 0, key=f"others-{place}"):
            show_table(
                rows.head(FIRST_CARS).with_columns(rounded, pl.col("within") * 100),
                f"other cars for {name}",
                {
                    **headings("make", "model", "variant", "year", "body_style", "condition_band", "sales"),
                    **money,
                    "within": TableColumn("Sold within your money (%)", "%.0f"),
                    **headings("evidence"),
                },
                every=rows,
                height="content",
            )
