"""Where does this car sit: its price range, where the price asked stands, what is behind both."""

from decimal import Decimal
from functools import partial

import polars as pl
import streamlit as st

from dashboards.exhibits import chosen_of, show_chart
from dashboards.keeping.kept_cars import offer_keeping
from dashboards.page_layout import (
    SubjectCar,
    ask_market_and_car,
    laid_out,
    link,
    one_sentence,
    page,
    show_journeys,
)
from dashboards.tables import TableColumn, headings, show_table
from dashboards.text import show_folded, show_metrics, show_terms, show_verdict, write, write_small
from pricing.car import Car
from pricing.charts import valuation as charts
from pricing.charts.position import CHOSEN, position_caption, position_picture
from pricing.decisions.amounts import Conversion
from pricing.decisions.approaches import difference
from pricing.decisions.valuation import Valuation, value_car
from pricing.errors import EvidenceError, MoneyError
from pricing.evidence.comparison.comparables import Comparables, find_comparables
from pricing.operations.settings import settings_of
from pricing.snapshot import Snapshot
from pricing.words import sentences
from pricing.words.approaches import difference_sentence
from pricing.words.condition import BAND_LOOKS
from pricing.words.depth import facts_sentence, known_words
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import about_words, day_words
from pricing.words.opinions import ground_sentence, statement_words

NEAREST_SALES = 200
"""Sales of the model that the page shows."""


@page("Where does this car sit?", partial(ask_market_and_car, first=True))
def show_page(subject: SubjectCar) -> None:
    """Ask for a car, value it, show the valuation."""
    snapshot, model, car, asking = subject
    with one_sentence("This car cannot be valued: "):
        records = snapshot.of_model(car.make, car.model)
        valuation = value_car(records, model, car, asking=asking)
        if valuation.mid is None:
            st.warning(escaped(sentences.range_sentence(valuation)))
        else:
            _show_answer(valuation, settings_of(snapshot).verdict_limits)
            elsewhere = _in_other_currency(snapshot, valuation)
            _show_picture(valuation, _comparables(snapshot, car), elsewhere)  # looked for after the answer
            show_folded("What makes up the price", "make_up", lambda: _show_make_up(valuation))
        show_folded("The four conditions in figures", "bands", lambda: _show_bands(valuation))
        folded = st.expander("The sales behind it", key="sales_behind", on_change="rerun")
        write(sentences.evidence_sentence(valuation))
        if folded.open:
            with folded:
                _show_sales(valuation)
        offer_keeping(snapshot, car, asking)
        show_journeys()


def _comparables(snapshot: Snapshot, car: Car) -> Comparables | None:
    """The comparable sales, once the market is laid out and where there are enough of them."""
    index = laid_out(snapshot)
    try:
        return None if index is None else find_comparables(index, car)
    except EvidenceError:
        return None


def _in_other_currency(snapshot: Snapshot, valuation: Valuation) -> str | None:
    other = settings_of(snapshot).other_currency
    if other is None or valuation.mid is None:
        return None
    try:
        rate = Conversion.at(other, snapshot.base_currency, valuation.as_of)
    except MoneyError as error:
        return f"{error}."
    return sentences.other_currency_sentence(valuation, other, Decimal(rate.units) / Decimal(rate.base_units))


def _show_answer(valuation: Valuation, limits: tuple[float, ...]) -> None:
    """The verdict in one sentence, the range in large figures, how much is known as a word and a count."""
    if valuation.asking is not None:
        show_verdict(sentences.standing_sentence(valuation, limits))
    else:
        show_verdict(sentences.car_words(valuation.car))
    metrics = [
        (f"{name} ({valuation.currency})", about_words(getattr(valuation, name)), what_is(name))
        for name in ("low", "mid", "high")
    ]
    show_metrics(metrics, key="range")
    word, count = known_words(valuation)
    known = f"**{escaped(word)}**: {escaped(count)}"
    st.container(key="known").markdown(known, help=what_is("evidence depth"))


def _show_picture(valuation: Valuation, comparables: Comparables | None, elsewhere: str | None) -> None:
    """The answer as one picture, and the sale that was pressed on it; then what it says in words."""
    table = None if comparables is None else comparables.table
    event = show_chart(
        position_picture(valuation, table),
        position_caption(valuation, 0 if table is None else table.height),
        "where this car sits",
        selects=CHOSEN,
    )
    if table is not None:
        _show_chosen(valuation, table, chosen_of(event, CHOSEN, "record_id"))
    if valuation.asking is not None:
        write(sentences.car_words(valuation.car))
    write(sentences.range_sentence(valuation), elsewhere, facts_sentence(valuation))
    write_small(sentences.CAUTION)
    show_terms("low", "mid", "high", "all-in", "condition band", "comparable sale")
    apart = None if comparables is None else difference(valuation, comparables)
    if apart is not None:
        with st.expander("How far the nearest sales and this range are apart"):
            write(difference_sentence(apart))


def _show_chosen(valuation: Valuation, table: pl.DataFrame, record: str | None) -> None:
    rows = table.filter(pl.col("record_id") == pl.lit(record, pl.String))
    if rows.is_empty():
        return
    sale = rows.row(0, named=True)
    own = {name: sale[name] for name in ("variant", "year", "condition_band")}
    price, adjusted = (
        sentences.exact_words(sale[name], valuation.currency) for name in ("price", "adjusted_price")
    )
    with st.container(key="card-sale"):
        car = sentences.car_words({**valuation.car, **own, "odometer_km": None, "options": []})
        st.markdown(f"**{escaped(car)}**")
        write(
            f"Sold on {day_words(sale['event_date'])} for {price} ({sale['source']}, {sale['source_ref']}). "
            f"Brought to this car and to today: {adjusted}."
        )
        link("comparables", "How each sale was brought to this car")


def _show_make_up(valuation: Valuation) -> None:
    terms = [sentences.term_words(term) for term in valuation.terms.iter_rows(named=True)]
    show_chart(charts.terms_chart(valuation), charts.terms_caption(valuation), "what makes up the price")
    show_table(
        valuation.terms.with_columns(pl.Series("term", terms, pl.String), so_far=pl.col("factor").cum_prod()),
        "terms of the price",
        {
            "term": "What counts, with this car's own value",
            "factor": TableColumn("Factor", "%.4g"),
            "low": TableColumn("80% interval from", "%.4g"),
            "high": TableColumn("to", "%.4g"),
            "so_far": TableColumn(f"Price so far ({valuation.currency})", "%.0f"),
        },
        every=valuation.terms,
    )


def _show_bands(valuation: Valuation) -> None:
    """The same car in every condition band, in figures, with what such a car looks like."""
    bands = valuation.bands.select(
        "condition_band",
        pl.col("mid", "low", "high").round_sig_figs(3).round().cast(pl.Int64),
        pl.col("condition_band").replace_strict(BAND_LOOKS, return_dtype=pl.String).alias("looks"),
        "reason",
    )
    columns = {
        "condition_band": "Condition",
        "mid": f"Middle ({valuation.currency}, {valuation.basis})",
        "low": f"Low ({valuation.currency})",
        "high": f"High ({valuation.currency})",
        "looks": "What it looks like",
    }
    if bands["reason"].is_not_null().any():
        columns["reason"] = "Why no range"
    show_table(bands, "prices by condition band", columns, every=bands, height="content")


def _show_sales(valuation: Valuation) -> None:
    """The sold cars of the model, nearest first, and what is said of it."""
    write(ground_sentence(valuation))
    write_small(*(statement_words(stated) for stated in valuation.opinions.iter_rows(named=True)))
    if valuation.sales.is_empty():
        return
    sales = valuation.sales.head(NEAREST_SALES)
    codes = sales["country"].drop_nulls().unique()
    countries = {code: country_words(code) for code in codes}
    show_table(
        sales.with_columns(
            pl.col("options").list.eval(pl.element().str.replace_all("_", " ")).list.join(", "),
            pl.col("price", "odometer_km").round().cast(pl.Int64),
            pl.col("condition_band").fill_null("not graded"),
            pl.col("country").replace_strict(countries, default=None, return_dtype=pl.String),
        ),
        "sales of the model",
        {
            "price": f"Price ({valuation.currency}, {valuation.basis})",
            "event_date": "Sold",
            **headings("variant", "year", "condition_band", "odometer_km", "options", "channel", "country"),
            **headings("source", "source_ref"),
        },
        every=valuation.sales,
    )
    st.caption(
        f"Prices are those of the day of sale, {valuation.basis}, in {valuation.currency}. Nearest first:"
        " same chassis number, same variant, nearest condition band, newest. "
        f"{sales.height} of {valuation.sales.height} shown."
    )
