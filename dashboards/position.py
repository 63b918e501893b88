"""Where does this car sit: its price range, where the price asked stands, what is behind both."""

from collections.abc import Callable
from decimal import Decimal

import polars as pl
import streamlit as st

from dashboards import page_layout
from dashboards.exhibits import chosen_of, day_column, show_chart, show_table
from dashboards.keeping.kept_cars import offer_keeping
from dashboards.steps import show_journeys
from dashboards.terms import show_terms
from pricing.car import Car
from pricing.charts import valuation as charts
from pricing.charts.position import CHOSEN, position_caption, position_picture
from pricing.decisions.amounts import Conversion
from pricing.decisions.approaches import difference
from pricing.decisions.buy.verdict import LIMITS
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

SALES_SHOWN = 200


def show_page() -> None:
    """Ask for a car, value it, show the valuation."""
    st.title("Where does this car sit?")
    with page_layout.one_sentence():
        asked = page_layout.ask_market_and_car(first=True)
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
            offer_keeping(snapshot, car, asking)
            show_journeys()


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
    if valuation.mid is None:
        st.warning(escaped(sentences.range_sentence(valuation)))
    else:
        show_answer(valuation, limits)
        show_picture(valuation, comparables(), elsewhere)
        show_make_up(valuation)
    show_bands(valuation)
    show_sales(valuation)


def show_answer(valuation: Valuation, limits: tuple[float, ...]) -> None:
    """The verdict in one sentence, the range in large figures, how much is known as a word and a count."""
    with st.container(key="verdict"):
        if valuation.asking is not None:
            st.markdown(escaped(sentences.standing_sentence(valuation, limits)))
        else:
            st.markdown(escaped(sentences.car_words(valuation.car)))
    with st.container(horizontal=True, key="range"):
        for name in ("low", "mid", "high"):
            amount = about_words(getattr(valuation, name))
            st.metric(f"{name} ({valuation.currency})", amount, help=what_is(name), width="content")
    word, count = known_words(valuation)
    with st.container(key="known"):
        st.markdown(f"**{escaped(word)}**: {escaped(count)}", help=what_is("evidence depth"))


def show_picture(valuation: Valuation, comparables: Comparables | None, elsewhere: str | None) -> None:
    """The answer as one picture, and the sale that was pressed on it; then what it says in words."""
    table = None if comparables is None else comparables.table
    chosen = show_chart(
        position_picture(valuation, table),
        position_caption(valuation, 0 if table is None else table.height),
        "where this car sits",
        selects=CHOSEN,
    )
    if table is not None:
        _show_chosen(valuation, table, chosen_of(chosen, CHOSEN, "record_id"))
    if valuation.asking is not None:
        st.write(escaped(sentences.car_words(valuation.car)))
    st.write(escaped(sentences.range_sentence(valuation)))
    told = facts_sentence(valuation)
    for words in (elsewhere, told):
        if words is not None:
            st.write(escaped(words))
    st.caption(escaped(sentences.CAUTION))
    show_terms("low", "mid", "high", "all-in", "condition band", "comparable sale")
    apart = None if comparables is None else difference(valuation, comparables)
    if apart is not None:
        with st.expander("How far the nearest sales and this range are apart"):
            st.write(escaped(difference_sentence(apart)))


def _show_chosen(valuation: Valuation, table: pl.DataFrame, record: str | None) -> None:
    """The sale that was pressed, opened."""
    rows = table.filter(pl.col("record_id") == pl.lit(record, pl.String))
    if rows.is_empty():
        return
    sale = rows.row(0, named=True)
    with st.container(key="card-sale"):
        named = sentences.car_words({**valuation.car, **{name: sale[name] for name in ("variant", "year")},
                                     "condition_band": sale["condition_band"], "odometer_km": None,
                                     "options": []})  # fmt: skip
        paid, brought = (
            sentences.exact_words(sale[name], valuation.currency) for name in ("price", "adjusted_price")
        )
        st.markdown(f"**{escaped(named)}**")
        st.write(
            escaped(
                f"Sold on {day_words(sale['event_date'])} for {paid} ({sale['source']}, "
                f"{sale['source_ref']}). Brought to this car and to today: {brought}."
            )
        )
        page_layout.link("comparables", "How each sale was brought to this car")


def show_make_up(valuation: Valuation) -> None:
    """The terms behind the mid price, drawn and in figures."""
    folded = st.expander("What makes up the price", key="make_up", on_change="rerun")
    if not folded.open:
        return
    said = [sentences.term_words(term) for term in valuation.terms.iter_rows(named=True)]
    with folded:
        show_chart(charts.terms_chart(valuation), charts.terms_caption(valuation), "what makes up the price")
        show_table(
            valuation.terms.select(
                pl.Series("term", said, pl.String),
                *("factor", "low", "high"),
                so_far=pl.col("factor").cum_prod(),
            ),
            "terms of the price",
            {
                "term": "What counts, with this car's own value",
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
    """The same car in every condition band, in figures, with what such a car looks like."""
    folded = st.expander("The four conditions in figures", key="bands", on_change="rerun")
    if not folded.open:
        return
    money = st.column_config.NumberColumn
    prices = pl.col("low", "mid", "high").round_sig_figs(3).round().cast(pl.Int64)
    with folded:
        show_table(
            valuation.bands.with_columns(
                prices, looks=pl.col("condition_band").replace_strict(BAND_LOOKS, return_dtype=pl.String)
            ).select("condition_band", "mid", "low", "high", "looks", "reason"),
            "prices by condition band",
            {
                "condition_band": "Condition",
                "mid": money(f"Middle ({valuation.currency}, {valuation.basis})", format="localized"),
                "low": money(f"Low ({valuation.currency})", format="localized"),
                "high": money(f"High ({valuation.currency})", format="localized"),
                "looks": "What it looks like",
                "reason": "Why no range" if valuation.bands["reason"].is_not_null().any() else None,
            },
            height="content",
        )


def show_sales(valuation: Valuation) -> None:
    """The sold cars of the model, nearest first."""
    folded = st.expander("The sales behind it", key="sales_behind", on_change="rerun")
    st.write(escaped(sentences.evidence_sentence(valuation)))
    if not folded.open:
        return
    with folded:
        _show_sales(valuation)


def _show_sales(valuation: Valuation) -> None:
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
            _names(valuation.sales.head(SALES_SHOWN)["country"]).alias("country"),
        )
        .select(
            "price",
            "event_date",
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
            "event_date": day_column("Sold"),
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


def _names(codes: pl.Series) -> pl.Series:
    """Countries by name."""
    known = {code: country_words(code) for code in codes.drop_nulls().unique().to_list()}
    return codes.replace_strict(known, default=None, return_dtype=pl.String)
