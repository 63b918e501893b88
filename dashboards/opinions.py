"""What people say: spans by condition band, typed or asked for price by price, beside the market's own; what
is contradicted; and how good each source was."""

from decimal import Decimal
from pathlib import Path
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, page_layout, people
from dashboards.asking.spans import ask_quartiles, field_keys, median_of, put_in_taken
from dashboards.asking.typed_fields import ask_amount_in, ask_day, ask_year
from dashboards.exhibits import day_column, show_chart, show_table
from dashboards.url_state import BOUND
from pricing.car import today
from pricing.charts.opinions import stated_bands_caption, stated_bands_chart
from pricing.decisions.opinions import StatedBands, source_record, stated_bands
from pricing.errors import OpinionError
from pricing.intake.transfers import received
from pricing.model.market_fit import fit_market
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import MINIMUM_SALES, PriceModel
from pricing.model.saved import save
from pricing.money.currencies import CURRENCIES
from pricing.opinions.statement import BASES
from pricing.snapshot import Snapshot
from pricing.store.kept.opinions import KeptOpinions
from pricing.store.market import Market
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, SPANS
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import day_words
from pricing.words.opinions import HONESTY, score_sentence, statement_words, subject_words

COMMON_CURRENCIES: Final = ("EUR", "GBP", "USD", "CHF", "SEK")
NEVER: Final = "Statements are kept for good: one that is withdrawn stays on file and counts no more."
ENDS: Final = ("low", "high")
_DONE: Final = "opinions_done"

Span = dict[str, Decimal | None]
"""``low``, ``middle`` and ``high`` of one band; None where open or not asked for."""


def show_page() -> None:
    """Ask, show beside, keep; then what is on file."""
    st.title("What people say")
    put_in_taken()
    st.write(
        "People who know a model well can price it in each condition from memory. What they say here counts "
        "as evidence beside the sales, never as one of them."
    )
    with page_layout.one_sentence():
        state = caches.snapshot()
        own = None if state is None or caches.is_demo(state) else state
        if state is not None and own is None:
            st.caption(
                "An invented demo market is shown beside; what you say goes into a market of your own."
            )
        if (done := st.session_state.pop(_DONE, None)) is not None:
            st.success(escaped(done))
        bands = _ask_statement(state, own)
        _ask_file(own)
        if state is not None and bands is not None:
            _show_contradictions(bands)
        if own is not None and own.opinions().height:
            _show_kept(own)
            _show_scores(own)
        st.caption(escaped(HONESTY))


def _ask_statement(state: Snapshot | None, own: Snapshot | None) -> StatedBands | None:
    """The form; gives what is known of the model that was named."""
    who, when = st.columns(2)
    with who:
        source = st.text_input("Who says it", None, 500, key="said_by", **BOUND, placeholder="a name")
    with when:
        stated_on = ask_day("On which day", "today", max_value="today", key="said_on") or today()
    standing = st.text_input(
        "Who is that? In a few words", None, 500, key="said_standing",
        placeholder="such as: restores this model for thirty years",
    )  # fmt: skip
    names = pl.DataFrame(schema=["make", "model"]) if state is None else state.counts
    first, second, third = st.columns(3)
    with first:
        make = st.selectbox(
            "Make", names["make"].unique(maintain_order=True).to_list(), None, key="said_make", **BOUND,
            accept_new_options=True, placeholder="choose, or type a new one",
        )  # fmt: skip
    with second:
        models = names.filter(pl.col("make") == pl.lit(make, dtype=pl.String))
        model = st.selectbox(
            "Model", models["model"].unique(maintain_order=True).to_list(), None, key="said_model", **BOUND,
            accept_new_options=True, placeholder="choose, or type a new one",
        )  # fmt: skip
    with third:
        base = "EUR" if state is None else state.base_currency
        choices = list(dict.fromkeys([base, *COMMON_CURRENCIES, *sorted(CURRENCIES)]))
        currency = st.selectbox("Currency", choices, 0, key="said_currency", **BOUND)
    more = _ask_more()
    first, second = st.columns(2)
    with first:
        holds = st.radio(
            "How many such cars should your span hold?", list(SPANS), None, horizontal=True,
            key="said_holds", **BOUND,
            help="Of the sales of such cars: half of them, eight in ten, or nearly all (nineteen in twenty); "
            "as many of the others below as above.",
        )  # fmt: skip
    with second:
        basis = st.radio(
            "The amounts are", list(BASES), BASES.index("all-in"), key="said_basis", **BOUND, horizontal=True,
            help="All-in is all that a buyer pays, hammer without the premium, net what a seller keeps.",
        )  # fmt: skip
    typed_in, beside = st.columns(2)
    with typed_in:
        spans = _ask_bands(currency)
    bands = _known(state, make, model, holds) if make and model else None
    with beside:
        if bands is None:
            st.info("Name the make and the model to see what the market says of it in each condition.")
        else:
            typed = _typed_frame(spans) if currency == bands.currency and basis == "all-in" else None
            show_chart(
                stated_bands_chart(bands, typed),
                stated_bands_caption(bands, typed is not None),
                "stated bands",
            )
    common = {
        "source": source, "standing": standing, "stated_on": stated_on.isoformat(), "make": make,
        "model": model, "currency": currency, "price_basis": basis, "holds": holds, **more,
    }  # fmt: skip
    _keep(own, common, spans)
    return bands


def _ask_more() -> dict[str, str | None]:
    """What narrows a statement down."""
    with st.expander("Only some of them: variant, years, country, channel"):
        first, second, third = st.columns(3)
        with first:
            variant = st.text_input("Variant", None, 500, key="said_variant", **BOUND, placeholder="all")
        with second:
            since = ask_year("Model years from", "said_from", **BOUND, placeholder="all")
            until = ask_year("Model years to", "said_to", **BOUND, placeholder="all")
        with third:
            country = st.text_input(
                "Country (ISO 3166)", None, 2, key="said_country", **BOUND, placeholder="any"
            )
            channel = st.selectbox("Channel", CHANNELS, None, key="said_channel", **BOUND, placeholder="any")
    return {
        "variant": variant, "year_from": None if since is None else str(since),
        "year_to": None if until is None else str(until),
        "country": None if country is None else country.upper(), "channel": channel,
    }  # fmt: skip


def _ask_bands(currency: str) -> dict[str, Span]:
    """Low and high of each band, either of which may be left open."""
    ask_quartiles(currency)
    spans: dict[str, Span] = {}
    for band in reversed(CONDITION_BANDS):
        low_key, high_key = field_keys(band)
        low_of, high_of = st.columns(2)
        name = f"{band[0].upper()}{band[1:]}"
        with low_of:
            low = _amount(f"{name}: from", low_key, currency)
        with high_of:
            high = _amount(f"{name}: to", high_key, currency)
        spans[band] = {"low": low, "middle": median_of(band, low, high), "high": high}
    return spans


def _amount(label: str, key: str, currency: str) -> Decimal | None:
    return ask_amount_in(currency, label, key, "price", cost=False, placeholder="open", **BOUND)


def _typed_frame(spans: dict[str, Span]) -> pl.DataFrame | None:
    rows = [
        {"condition_band": band} | {end: None if span[end] is None else float(str(span[end])) for end in ENDS}
        for band, span in spans.items()
        if any(span.values())
    ]
    schema = {"condition_band": pl.String, "low": pl.Float64, "high": pl.Float64}
    return pl.DataFrame(rows, schema=schema) if rows else None


def _model(state: Snapshot) -> PriceModel | None:
    """The fit that the market is priced by; none where prices rest on opinions, which stand beside anyway."""
    model = None if state.state.fit is None else state.model
    return None if isinstance(model, OpinionBands) else model


def _known(state: Snapshot | None, make: str, model: str, holds: str | None) -> StatedBands | None:
    if state is None:
        return None
    found, unknown = state.names().find((make, model, None))
    named = (make, model) if unknown else (str(found[0]), str(found[1]))
    fitted = None if unknown else _model(state)
    return stated_bands(state, fitted, *named, holds=holds or "eight in ten")


def _keep(own: Snapshot | None, common: dict[str, Any], spans: dict[str, Span]) -> None:
    """Keep what was said, once it is whole; what contradicts itself is asked again."""
    if not people.may("load"):
        st.caption("To keep what you say, ask whoever manages this market for the role load.")
        return
    meant = st.checkbox("A better condition does sell for less here: I mean it", False, key="said_meant")
    if not st.button("Keep what is said", type="primary"):
        return
    wanted = {"source": "who says it", "make": "the make", "model": "the model", "holds": "what a span holds"}
    missing = [words for name, words in wanted.items() if not common[name]]
    rows = [
        common
        | {"condition_band": band}
        | {end: None if price is None else str(price) for end, price in span.items()}
        for band, span in spans.items()
        if any(span.values())
    ]
    if missing or not rows:
        raise OpinionError(
            f"still to say: {', '.join(missing + ([] if rows else ['a span of one band at least']))}"
        )
    path = caches.own_market_path()
    market = Market.open(path, base_currency=common["currency"])
    kept = market.statements.add(pl.DataFrame(rows, infer_schema_length=None), meant=meant)
    _after(market, kept)


def _ask_file(own: Snapshot | None) -> None:
    if not people.may("load"):
        return
    with st.expander("From a file (csv, xlsx)"):
        st.write(
            "One row a statement, with the columns source, stated_on, make, model, condition_band or "
            "condition_score, low, high, currency, price_basis and holds; and, where wanted, standing, "
            "variant, year_from, year_to, country, channel, middle."
        )
        upload = st.file_uploader("File of statements", ["csv", "xlsx"], key="said_file")
        if upload is not None and st.button("Keep the statements of the file"):
            currency = "EUR" if own is None else own.base_currency
            market = Market.open(caches.own_market_path(), base_currency=currency)
            with received(upload.name, upload.getvalue()) as path:
                _after(market, market.statements.load([Path(path)]))


def _after(market: Market, kept: KeptOpinions) -> None:
    """Say what became of it; a market without sales enough is fitted at once, for that takes no time."""
    sold = market.sales().filter(pl.col("outcome") == "sold").height
    words = f"{kept.kept} of {kept.read} statements are kept; {kept.known} were known already."
    if kept.kept and sold < MINIMUM_SALES:
        save(fit_market(market), market)
        words += " Cars can be asked about now, by opinion alone."
    elif kept.kept:
        words += " A new fit of the price model, on the page of the records, takes them in."
    st.session_state[_DONE] = words
    st.rerun()


def _show_contradictions(bands: StatedBands) -> None:
    for question in bands.questions:
        st.warning(escaped(question.sentence))
    for row in bands.changed.iter_rows(named=True):
        st.write(
            escaped(
                f"{row['source']} changed what was said of '{row['condition_band']}': on "
                f"{day_words(row['stated_on'])} the middle is {row['change']:+.0%} against that of "
                f"{day_words(row['stated_on_before'])}."
            )
        )


def _show_kept(state: Snapshot) -> None:
    st.header("On file")
    said = state.opinions()
    show_table(
        said.select(
            "opinion_id", "source", "stated_on", "make", "model", "condition_band", "low", "high", "currency",
            "holds",
        ).reverse(),
        "statements",
        {
            "opinion_id": "Statement", "source": "Source",
            "stated_on": day_column("Said on"), "make": "Make",
            "model": "Model", "condition_band": "Condition band", "low": "From", "high": "To",
            "currency": "Currency", "holds": "Holds",
        },
        every=said,
    )  # fmt: skip
    if not people.may("load"):
        return
    with st.expander("Withdraw a statement"):
        st.write(NEVER)
        words = {
            row["opinion_id"]: f"{subject_words(row)}, {statement_words(row)}"
            for row in said.iter_rows(named=True)
        }
        chosen = st.selectbox(
            "Statement", list(words), None, format_func=words.__getitem__, key="withdraw_id"
        )
        reason = st.text_input("Why", None, 500, key="withdraw_why")
        if st.button("Withdraw it", disabled=not (chosen and reason)) and chosen and reason:
            state.market.statements.withdraw(chosen, reason)
            st.session_state[_DONE] = "The statement is withdrawn; it is kept, and counts no more."
            st.rerun()


def _show_scores(state: Snapshot) -> None:
    st.header("How right they were")
    found = state.by_write.get("source record", lambda: source_record(state))
    for row in found.sources.iter_rows(named=True):
        st.write(escaped(score_sentence(row)))
    if found.pairs.height:
        part = st.segmented_control(
            "Bias told apart by", ["condition band", "price"], default="condition band", key="bias_by"
        )
        table = found.bias_by("price" if part == "price" else "condition_band")
        number: Any = st.column_config.NumberColumn
        show_table(
            table.with_columns(pl.col("bias", "held") * 100),
            "bias of sources",
            {
                "source": "Source", "part": str(part or "condition band").capitalize(),
                "sales": number("Sales", format="localized"),
                "bias": number("Middle above what was paid (%)", format="%+.0f"),
                "held": number("Sales inside the spans (%)", format="%.0f"),
            },
            height="content",
        )  # fmt: skip
