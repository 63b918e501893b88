"""What people say: spans by condition band, typed or asked for price by price, beside the market's own; what
is contradicted; and how good each source was."""

from decimal import Decimal
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, people
from dashboards.asking.offer_terms import currency_choices
from dashboards.asking.spans import ask_quartiles, field_keys, median_of, put_in_taken
from dashboards.asking.typed_fields import ask_amount_in, ask_day, ask_year
from dashboards.exhibits import show_chart
from dashboards.page_layout import finish, one_sentence, show_done
from dashboards.tables import AS_IT_IS, TableColumn, headings, show_table
from dashboards.text import write, write_small
from dashboards.url_state import BOUND
from pricing.car import today
from pricing.charts.opinions import stated_bands_caption, stated_bands_chart
from pricing.decisions.opinions import StatedBands, source_record, stated_bands
from pricing.errors import OpinionError
from pricing.intake.transfers import received
from pricing.model.market_fit import fit_market
from pricing.model.price_model import MINIMUM_SALES
from pricing.model.saved import save
from pricing.opinions.statement import BASES
from pricing.snapshot import Snapshot
from pricing.store.kept.opinions import KeptOpinions
from pricing.store.market import Market
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, SPANS
from pricing.words.language.plain_text import capital, escaped
from pricing.words.language.reader import day_words
from pricing.words.opinions import HONESTY, score_sentence, statement_words, subject_words

NEVER: Final = "Statements are kept for good: one that is withdrawn stays on file and counts no more."
ENDS: Final = ("low", "high")
_SPAN_TYPES: Final = {"condition_band": pl.String, "low": pl.Float64, "high": pl.Float64}

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
    with one_sentence():
        snapshot, own = caches.snapshot(), caches.own_snapshot()
        if snapshot is not None and own is None:
            st.caption(
                "An invented demo market is shown beside; what you say goes into a market of your own."
            )
        show_done()
        bands = _ask_statement(snapshot)
        if people.may("load"):
            with st.expander("From a file (csv, xlsx)"):
                _ask_file(own)
        if snapshot is not None and bands is not None:
            _show_contradictions(bands)
        if own is not None and own.opinions().height:
            _show_on_file(own)
            _show_scores(own)
        write_small(HONESTY)


def _ask_statement(snapshot: Snapshot | None) -> StatedBands | None:
    """The form; gives what is known of the model that was named."""
    who, when = st.columns(2)
    source = who.text_input("Who says it", None, 500, key="said_by", **BOUND, placeholder="a name")
    with when:
        stated_on = ask_day("On which day", "today", max_value="today", key="said_on") or today()
    standing = st.text_input(
        "Who is that? In a few words", None, 500, key="said_standing",
        placeholder="such as: restores this model for thirty years",
    )  # fmt: skip
    names = pl.DataFrame(schema=["make", "model"]) if snapshot is None else snapshot.counts
    first, second, third = st.columns(3)
    new: dict[str, Any] = {"accept_new_options": True, "placeholder": "choose, or type a new one", **BOUND}
    makes = names["make"].unique(maintain_order=True).to_list()
    make = first.selectbox("Make", makes, None, key="said_make", **new)
    of_make = names.filter(pl.col("make") == pl.lit(make, dtype=pl.String))
    models = of_make["model"].unique(maintain_order=True).to_list()
    model = second.selectbox("Model", models, None, key="said_model", **new)
    choices = currency_choices("EUR" if snapshot is None else snapshot.base_currency)
    currency = third.selectbox("Currency", choices, 0, key="said_currency", **BOUND)
    narrower = _ask_narrower()
    first, second = st.columns(2)
    holds = first.radio(
        "How many such cars should your span hold?", list(SPANS), None, horizontal=True,
        key="said_holds", **BOUND,
        help="Of the sales of such cars: half of them, eight in ten, or nearly all (nineteen in twenty); "
        "as many of the others below as above.",
    )  # fmt: skip
    basis = second.radio(
        "The amounts are", list(BASES), BASES.index("all-in"), key="said_basis", **BOUND, horizontal=True,
        help="All-in is all that a buyer pays, hammer without the premium, net what a seller keeps.",
    )  # fmt: skip
    fields, beside = st.columns(2)
    with fields:
        spans = {band: span for band, span in _ask_spans(currency).items() if any(span.values())}
    bands = _stated_bands(snapshot, make, model, holds) if make and model else None
    with beside:
        if bands is None:
            st.info("Name the make and the model to see what the market says of it in each condition.")
        else:
            typed = None
            if spans and currency == bands.currency and basis == "all-in":
                rows = [{"condition_band": band, **span} for band, span in spans.items()]
                typed = pl.DataFrame(rows, schema_overrides=_SPAN_TYPES).drop("middle")
            caption = stated_bands_caption(bands, typed is not None)
            show_chart(stated_bands_chart(bands, typed), caption, "stated bands")
    statement = {
        "source": source, "standing": standing, "stated_on": stated_on.isoformat(), "make": make,
        "model": model, "currency": currency, "price_basis": basis, "holds": holds, **narrower,
    }  # fmt: skip
    _ask_keeping(statement, spans)
    return bands


def _ask_narrower() -> dict[str, str | None]:
    with st.expander("Only some of them: variant, years, country, channel"):
        first, second, third = st.columns(3)
        variant = first.text_input("Variant", None, 500, key="said_variant", **BOUND, placeholder="all")
        with second:
            since = ask_year("Model years from", "said_from", **BOUND, placeholder="all")
            until = ask_year("Model years to", "said_to", **BOUND, placeholder="all")
        country = third.text_input(
            "Country (ISO 3166)", None, 2, key="said_country", **BOUND, placeholder="any"
        )
        channel = third.selectbox("Channel", CHANNELS, None, key="said_channel", **BOUND, placeholder="any")
    return {
        "variant": variant, "year_from": None if since is None else str(since),
        "year_to": None if until is None else str(until),
        "country": None if country is None else country.upper(), "channel": channel,
    }  # fmt: skip


def _ask_spans(currency: str) -> dict[str, Span]:
    """Low and high of each band, either of which may be left open."""
    ask_quartiles(currency)
    spans: dict[str, Span] = {}
    for band in reversed(CONDITION_BANDS):
        ends: Span = {}
        fields = zip(ENDS, ("from", "to"), field_keys(band), st.columns(2), strict=True)
        for end, word, key, column in fields:
            with column:
                label, options = f"{capital(band)}: {word}", {"placeholder": "open", **BOUND}
                ends[end] = ask_amount_in(currency, label, key, "price", cost=False, **options)
        spans[band] = {**ends, "middle": median_of(band, ends["low"], ends["high"])}
    return spans


def _stated_bands(snapshot: Snapshot | None, make: str, model: str, holds: str | None) -> StatedBands | None:
    """What the market says of a model; by its fit, unless prices rest on opinions, which stand beside."""
    if snapshot is None:
        return None
    names, unknown = snapshot.names().find((make, model, None))
    by_sales = not unknown and snapshot.state.fit is not None and not snapshot.opinion_alone
    fit = snapshot.model if by_sales else None
    return stated_bands(snapshot, fit, str(names[0]), str(names[1]), holds=holds or "eight in ten")


def _ask_keeping(statement: dict[str, Any], spans: dict[str, Span]) -> None:
    """Keep what was said, once it is whole; what contradicts itself is asked again."""
    if not people.may("load"):
        st.caption("To keep what you say, ask whoever manages this market for the role load.")
        return
    meant = st.checkbox("A better condition does sell for less here: I mean it", False, key="said_meant")
    if not st.button("Keep what is said", type="primary"):
        return
    wanted = {"source": "who says it", "make": "the make", "model": "the model", "holds": "what a span holds"}
    missing = [words for name, words in wanted.items() if not statement[name]]
    if not spans:
        missing.append("a span of one band at least")
    if missing:
        raise OpinionError(f"still to say: {', '.join(missing)}")
    rows = [
        {
            **statement,
            "condition_band": band,
            **{end: None if price is None else str(price) for end, price in span.items()},
        }
        for band, span in spans.items()
    ]
    market = Market.open(caches.own_market_path(), base_currency=statement["currency"])
    _finish(market, market.statements.add(pl.DataFrame(rows, infer_schema_length=None), meant=meant))


def _ask_file(own: Snapshot | None) -> None:
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
            _finish(market, market.statements.load([path]))


def _finish(market: Market, result: KeptOpinions) -> None:
    """Say what became of it; a market without sales enough is fitted at once, for that takes no time."""
    words = f"{result.kept} of {result.read} statements are kept; {result.known} were known already."
    if result.kept and market.sales().filter(outcome="sold").height < MINIMUM_SALES:
        save(fit_market(market), market)
        words += " Cars can be asked about now, by opinion alone."
    elif result.kept:
        words += " A new fit of the price model, on the page of the records, takes them in."
    finish(words)


def _show_contradictions(bands: StatedBands) -> None:
    for question in bands.questions:
        st.warning(escaped(question.sentence))
    for row in bands.changed.iter_rows(named=True):
        write(
            f"{row['source']} changed what was said of '{row['condition_band']}': on "
            f"{day_words(row['stated_on'])} the middle is {row['change']:+.0%} against that of "
            f"{day_words(row['stated_on_before'])}."
        )


def _show_on_file(own: Snapshot) -> None:
    st.header("On file")
    statements = own.opinions()
    show_table(
        statements.reverse(),
        "statements",
        {
            "opinion_id": "Statement",
            **headings("source"),
            "stated_on": "Said on",
            **headings("make", "model", "condition_band"),
            "low": TableColumn("From", AS_IT_IS),
            "high": TableColumn("To", AS_IT_IS),
            **headings("currency", "holds"),
        },
        every=statements,
    )
    if not people.may("load"):
        return
    with st.expander("Withdraw a statement"):
        st.write(NEVER)
        words = {
            row["opinion_id"]: f"{subject_words(row)}, {statement_words(row)}"
            for row in statements.iter_rows(named=True)
        }
        chosen = st.selectbox(
            "Statement", list(words), None, format_func=words.__getitem__, key="withdraw_id"
        )
        reason = st.text_input("Why", None, 500, key="withdraw_why")
        if st.button("Withdraw it", disabled=not (chosen and reason)) and chosen and reason:
            own.market.statements.withdraw(chosen, reason)
            finish("The statement is withdrawn; it is kept, and counts no more.")


def _show_scores(own: Snapshot) -> None:
    st.header("How right they were")
    record = own.by_write.get("source record", lambda: source_record(own))
    write(*(score_sentence(row) for row in record.sources.iter_rows(named=True)))
    if not record.pairs.height:
        return
    part = st.segmented_control(
        "Bias told apart by", ["condition band", "price"], default="condition band", key="bias_by"
    )
    table = record.bias_by("price" if part == "price" else "condition_band")
    show_table(
        table.with_columns(pl.col("bias", "held") * 100),
        "bias of sources",
        {
            **headings("source"),
            "part": capital(str(part or "condition band")),
            **headings("sales"),
            "bias": TableColumn("Middle above what was paid (%)", "%+.0f"),
            "held": TableColumn("Sales inside the spans (%)", "%.0f"),
        },
        height="content",
    )
