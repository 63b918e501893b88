"""Where does this car sit: its price range, where the asking price stands, what is behind both."""

from collections.abc import Callable
from decimal import Decimal

import polars as pl
import streamlit as st

from dashboards import page_layout
from dashboards.exhibits import show_chart, show_table
from pricing.car import Car
from pricing.charts import valuation as charts
from pricing.decisions.amounts import Conversion
from pricing.decisions.approaches import difference
from pricing.decisions.valuation import Valuation, value_car
from pricing.decisions.verdict import LIMITS
from pricing.errors import EvidenceError, MoneyError
from pricing.evidence.comparison.comparables import Comparables, find_comparables
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.words import sentences
from pricing.words.approaches import difference_sentence
from pricing.words.glossary import what_is
from pricing.words.opinions import ground_sentence, statement_words
from pricing.words.plain_text import escaped

SALES_SHOWN = 200


def show_page() -> None:
    """Ask for a car, value it, show the valuation."""
    st.title("Where does this car sit")
    with page_layout.one_sentence():
        asked = page_layout.ask_market_and_car()
        if asked is None:
            return
        snapshot, model, car, asking = asked
        with page_layout.one_sentence("This car cannot be valued: "):
            records = snapshot.of_model(car.make, car.model)
            valuation = value_car(records, model, car, asking=asking)
            show_valuation(
                valuation,
                _in_other_currency(snapshot, valuation),
                lambda: _comparables(snapshot, car),
                settings_of(snapshot).verdict_limits,
            )
            show_ways_on()


def _comparables(snapshot: Snapshot, car: Car) -> Comparables | None:
    """The comparable sales, once the market is laid out and where there are enough of them."""
    book = page_layout.laid_out(snapshot)
    if book is None:
        return None
    try:
        return find_comparables(book, car)
    except EvidenceError:
        return None


def _in_other_currency(snapshot: Snapshot, valuation: Valuation) -> str | None:
    """The range in the second currency of the settings."""
    other = settings_of(snapshot).other_currency
    if other is None or valuation.mid is None:
        return None
    try:
        rate = Conversion.at(other, snapshot.base_currency, valuation.as_of)
    except MoneyError as error:
        return f"{error}."
    return sentences.other_currency_sentence(valuation, other, Decimal(rate.units) / Decimal(rate.base_units))


def show_valuation(
    valuation: Valuation,
    elsewhere: str | None,
    comparables: Callable[[], Comparables | None],
    limits: tuple[float, ...] = LIMITS,
) -> None:
    """The valuation from the answer to the evidence, and the caution with the answer; the comparable sales
    are looked for once the answer is shown."""
    st.subheader(escaped(sentences.car_words(valuation.car)))
    if valuation.mid is None:
        st.warning(escaped(sentences.range_sentence(valuation)))
    else:
        show_answer(valuation, elsewhere, limits)
        show_distribution(valuation, comparables())
        show_make_up(valuation)
    show_bands(valuation)
    show_sales(valuation)


def show_answer(valuation: Valuation, elsewhere: str | None, limits: tuple[float, ...]) -> None:
    """Low, mid and high, and the standing in a sentence."""
    with st.container(horizontal=True):
        for name in ("low", "mid", "high"):
            amount = sentences.rounded(getattr(valuation, name))
            st.metric(f"{name} ({valuation.currency})", f"{amount:,}", help=what_is(name), width="content")
    st.write(escaped(sentences.range_sentence(valuation)))
    if elsewhere is not None:
        st.write(escaped(elsewhere))
    if valuation.asking is not None:
        st.write(f"**{escaped(sentences.standing_sentence(valuation, limits))}**")
    st.caption(escaped(sentences.CAUTION))


def show_distribution(valuation: Valuation, comparables: Comparables | None) -> None:
    """The distribution of prices, with the comparable sales on it, and how far the two are apart."""
    table = None if comparables is None else comparables.table
    show_chart(
        charts.distribution_chart(valuation, table),
        sentences.distribution_caption(valuation, 0 if table is None else table.height),
        "price distribution",
    )
    apart = None if comparables is None else difference(valuation, comparables)
    if apart is not None:
        st.write(escaped(difference_sentence(apart)))


def show_make_up(valuation: Valuation) -> None:
    """The terms behind the mid price, drawn and in figures."""
    show_chart(charts.terms_chart(valuation), sentences.terms_caption(valuation), "what makes up the price")
    said = [sentences.term_words(term) for term in valuation.terms.iter_rows(named=True)]
    with st.expander("The terms in figures"):
        show_table(
            valuation.terms.select(
                pl.Series("term", said, pl.String),
                *("factor", "low", "high"),
                so_far=pl.col("factor").cum_prod(),
            ),
            "terms of the price",
            {
                "term": "Term, with this car's own value",
                "factor": st.column_config.NumberColumn("Factor", format="%.4g"),
                "low": st.column_config.NumberColumn("80% interval from", format="%.4g"),
                "high": st.column_config.NumberColumn("to", format="%.4g"),
                "so_far": st.column_config.NumberColumn(
                    f"Price so far ({valuation.currency})", format="%.0f"
                ),
            },
            every=valuation.terms,
        )


def show_bands(valuation: Valuation) -> None:
    """The same car in every condition band, with the sales of the model."""
    show_chart(charts.bands_chart(valuation), sentences.bands_caption(valuation), "price by condition band")
    money = st.column_config.NumberColumn(format="localized")
    prices = pl.col("low", "mid", "high").round_sig_figs(3).round().cast(pl.Int64)
    show_table(
        valuation.bands.with_columns(prices),
        "prices by condition band",
        {
            "condition_band": f"Band ({valuation.currency}, {valuation.basis})",
            **dict.fromkeys(("low", "mid", "high"), money),
            "reason": "Why no range" if valuation.bands["reason"].is_not_null().any() else None,
        },
    )


def show_sales(valuation: Valuation) -> None:
    """The sold cars of the model, nearest first."""
    st.subheader("The sales behind it")
    st.write(escaped(sentences.evidence_sentence(valuation)))
    ground = ground_sentence(valuation)
    if ground is not None:
        st.write(escaped(ground))
    for stated in valuation.opinions.iter_rows(named=True):
        st.caption(escaped(statement_words(stated)))
    if valuation.sales.is_empty():
        return
    shown = (
        valuation.sales.head(SALES_SHOWN)
        .with_columns(
            pl.col("options").list.eval(pl.element().str.replace_all("_", " ")).list.join(", "),
            pl.col("price", "odometer_km").round().cast(pl.Int64),
            pl.col("condition_band").fill_null("not graded"),
        )
        .select(
            "event_date",
            "price",
            "variant",
            "year",
            "condition_band",
            "odometer_km",
            "options",
            "channel",
            "country",
            "source",
            "source_ref",
        )
    )
    show_table(
        shown,
        "sales of the model",
        {
            "event_date": st.column_config.DateColumn("Sold", format="YYYY-MM-DD"),
            "price": st.column_config.NumberColumn(
                f"Price ({valuation.currency}, {valuation.basis})", format="localized"
            ),
            "variant": "Variant",
            "year": st.column_config.NumberColumn("Year", format="%d"),
            "condition_band": "Condition band",
            "odometer_km": st.column_config.NumberColumn("Odometer (km)", format="localized"),
            "options": "Options",
            "channel": "Channel",
            "country": "Country",
            "source": "Source",
            "source_ref": "Reference",
        },
        every=valuation.sales,
    )
    st.caption(
        f"Prices are those of the day of sale, {valuation.basis}, in {valuation.currency}. Nearest first:"
        " same chassis number, same variant, nearest condition band, newest. "
        f"{shown.height} of {valuation.sales.height} shown."
    )


def show_ways_on() -> None:
    """Where a person goes from here with this car."""
    st.subheader("From here")
    with st.container(horizontal=True):
        page_layout.link("inspect", "Inspect it")
        page_layout.link("mend", "Mend it or buy better")
        page_layout.link("comparables", "See comparable sales")
        page_layout.link("buy", "Buy it")
        page_layout.link("sell", "Sell it")
        page_layout.link("appraisals", "Appraise it")
