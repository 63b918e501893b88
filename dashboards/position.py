"""Where does this car sit: its price range, where the asking price stands, what is behind both."""

import polars as pl
import streamlit as st

from dashboards import caches
from dashboards.car_form import ask_car
from pricing.decisions.valuation import Valuation, value_car
from pricing.documents import charts, sentences
from pricing.errors import PricingError

SALES_SHOWN = 200


def show_page() -> None:
    """Ask for a car, value it, show the valuation."""
    st.title("Where does this car sit")
    try:
        state = caches.market_state()
        model = caches.model(state)
    except PricingError as error:
        st.info(
            f"{error}. Load sale records with `pricing load FILE` and fit a price model with `pricing fit`."
        )
        return
    asked = ask_car(state)
    if asked is None:
        st.info("Choose a make and a model and give the model year to see what such a car sells for.")
        return
    car, asking = asked
    try:
        valuation = value_car(state, model, car, asking=asking)
    except PricingError as error:
        st.error(f"This car cannot be valued: {error}.")
        return
    show_valuation(valuation)
    if caches.fit_is_stale(state):
        st.info("Records have changed since the price model was fitted; `pricing fit` makes a new fit.")


def show_valuation(valuation: Valuation) -> None:
    """The valuation from the answer to the evidence, and the caution with the answer."""
    st.subheader(sentences.car_words(valuation.car))
    if valuation.mid is None:
        st.warning(sentences.range_sentence(valuation))
    else:
        show_answer(valuation)
        show_make_up(valuation)
    show_bands(valuation)
    show_sales(valuation)


def show_answer(valuation: Valuation) -> None:
    """Low, mid and high, the standing in a sentence, and the distribution."""
    with st.container(horizontal=True):
        for name in ("low", "mid", "high"):
            amount = sentences.rounded(getattr(valuation, name))
            st.metric(f"{name} ({valuation.currency})", f"{amount:,}", width="content")
    st.write(sentences.range_sentence(valuation))
    if valuation.asking is not None:
        st.write(f"**{sentences.standing_sentence(valuation)}**")
    st.caption(sentences.CAUTION)
    caption = sentences.distribution_caption(valuation)
    st.altair_chart(charts.distribution_chart(valuation), alt=caption)
    st.caption(caption)


def show_make_up(valuation: Valuation) -> None:
    """The terms behind the mid price, drawn and in figures."""
    caption = sentences.terms_caption(valuation)
    st.altair_chart(charts.terms_chart(valuation), alt=caption)
    st.caption(caption)
    with st.expander("The terms in figures"):
        terms = valuation.terms.with_columns(so_far=pl.col("factor").cum_prod())
        st.dataframe(
            terms,
            hide_index=True,
            column_config={
                "term": "Term",
                "value": "This car",
                "factor": st.column_config.NumberColumn("Factor", format="%.4g"),
                "low": st.column_config.NumberColumn("80 % interval from", format="%.4g"),
                "high": st.column_config.NumberColumn("to", format="%.4g"),
                "so_far": st.column_config.NumberColumn(
                    f"Price so far ({valuation.currency})", format="%.0f"
                ),
            },
        )


def show_bands(valuation: Valuation) -> None:
    """The same car in every condition band, with the sales of the model."""
    caption = sentences.bands_caption(valuation)
    st.altair_chart(charts.bands_chart(valuation), alt=caption)
    st.caption(caption)
    money = st.column_config.NumberColumn(format="localized")
    prices = pl.col("low", "mid", "high").round_sig_figs(3).round().cast(pl.Int64)
    st.dataframe(
        valuation.bands.with_columns(prices),
        hide_index=True,
        placeholder="-",
        column_config={
            "condition_band": f"Band ({valuation.currency}, {valuation.basis})",
            **dict.fromkeys(("low", "mid", "high"), money),
            "reason": "Why no range" if valuation.bands["reason"].is_not_null().any() else None,
        },
    )


def show_sales(valuation: Valuation) -> None:
    """The sold cars of the model, nearest first."""
    st.subheader("The sales behind it")
    st.write(sentences.evidence_sentence(valuation))
    if valuation.sales.is_empty():
        return
    shown = valuation.sales.head(SALES_SHOWN).with_columns(
        pl.col("options").list.eval(pl.element().str.replace_all("_", " ")).list.join(", "),
        pl.col("price", "odometer_km").round().cast(pl.Int64),
        pl.col("condition_band").fill_null("not graded"),
    )
    st.dataframe(
        shown.select(
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
        ),
        hide_index=True,
        placeholder="-",
        column_config={
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
    )
    st.caption(
        f"Prices are those of the day of sale, {valuation.basis}, in {valuation.currency}. Nearest first:"
        " same chassis number, same variant, nearest condition band, newest. "
        f"{shown.height} of {valuation.sales.height} shown."
    )
