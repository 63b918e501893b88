"""Charts of price indices and of comparable sales."""

from typing import Any

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, QUIET
from pricing.charts.encodings import MONEY, name_axis, tips
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.indices.index import PriceIndex
from pricing.words.evidence import period_words
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import long_day_form


def index_chart(index: PriceIndex, words: LocaleWords = PLAIN) -> alt.VConcatChart:
    """The index with its interval, and the sales of every period below."""
    prices, counts = index_line_chart(index, words=words), index_sales_chart(index, words)
    prices.title = counts.title = alt.Undefined
    both = alt.vconcat(prices.properties(width=560), counts.properties(width=560))
    return both.properties(title=_index_title(index, words)).resolve_scale(x="shared")


def index_line_chart(
    index: PriceIndex, sales: pl.DataFrame | None = None, words: LocaleWords = PLAIN
) -> alt.LayerChart:
    """The index with its interval, a break where there is no point; the deflated index as a dashed line where
    there is one; ``sales`` (``sale_points``) as rings, those off the picture left out."""
    frame = index.frame.with_columns(
        run=pl.col("index").is_null().cast(pl.Int32).cum_sum(),
        real_run=pl.col("real").is_null().cast(pl.Int32).cum_sum(),
    )
    x, tooltip = _period_axis(index.period), _index_tooltip()
    points = alt.Chart(frame.drop_nulls("index")).encode(x=x)
    title = words.say("index, {base} = 100", base=period_words(index.base, words))
    y = alt.Y("index:Q", title=title, scale=alt.Scale(zero=False))
    layers: list[Any] = [
        points.mark_area(color=PALE, opacity=0.5).encode(y="low:Q", y2="high:Q", detail="run:N"),
        points.mark_line(color=MAIN, strokeWidth=2).encode(y=y, detail="run:N"),
        points.mark_point(color=MAIN, filled=True, size=22).encode(y=y, tooltip=tooltip),
    ]
    if sales is not None and sales.height:
        layers.insert(0, _sale_rings(frame, sales))
    real = frame.drop_nulls("real")
    if real.height:
        dashed = alt.Chart(real).mark_line(color=ASKED, strokeDash=[5, 3], strokeWidth=2)
        layers.append(dashed.encode(x=x, y="real:Q", detail="real_run:N", tooltip=tooltip))
    return alt.LayerChart(layer=layers, height=260, title=_index_title(index, words))


def _sale_rings(frame: pl.DataFrame, sales: pl.DataFrame) -> alt.Chart:
    ends = frame.select(low=0.5 * pl.col("index").min(), high=1.6 * pl.col("index").max()).row(0)
    inside = sales.filter(pl.col("relative").is_between(ends[0] or 0.0, ends[1] or 1e9)).select(
        pl.col("event_date").cast(pl.Datetime).alias("starts"),
        pl.col("relative").alias("index"),
        pl.col("event_date").dt.to_string(long_day_form()).alias("sold"),
        "model",
        "year",
        pl.col("condition_band").fill_null("not graded"),
        "price",
    )
    rings = alt.Chart(inside).mark_point(size=26, filled=False, color=QUIET, strokeWidth=1.1, opacity=0.7)
    condition, price = ("condition_band:N", "condition"), ("price:Q", "", MONEY)
    return rings.encode(
        x="starts:T", y="index:Q", tooltip=tips("sold:N", "model:N", ("year:Q", "", "d"), condition, price)
    )


def index_sales_chart(index: PriceIndex, words: LocaleWords = PLAIN) -> alt.Chart:
    """The sales behind every period of an index."""
    bars = (
        alt.Chart(index.frame)
        .mark_bar(color=QUIET)
        .encode(
            x=_period_axis(index.period),
            y=alt.Y("sales:Q", title=words.say("sales"), axis=alt.Axis(tickCount=3)),
            tooltip=_index_tooltip(),
        )
    )
    return bars.properties(height=60, title=alt.TitleParams(words.say("Sales behind it"), fontSize=12))


def _period_axis(period: str) -> alt.X:
    form = "%Y" if period == "year" else "%b %Y"
    return alt.X("starts:T", title=None, axis=alt.Axis(labelOverlap=True, format=form, tickCount=8))


def _index_tooltip() -> list[alt.Tooltip]:
    figures = [(f"{name}:Q", "", ".1f") for name in ("index", "low", "high")]
    return tips("period:N", *figures, ("real:Q", "deflated", ".1f"), ("sales:Q", "", ",d"), "note:N")


def _index_title(index: PriceIndex, words: LocaleWords) -> alt.TitleParams:
    values = {
        "method": capital(words.word(index.method)),
        "base": period_words(index.base, words),
        "share": words.share(index.coverage),
    }
    subtitle = (
        words.say("{method} index, {base} = 100; shaded: {share} interval; dashed: deflated", **values)
        if index.frame["real"].is_not_null().any()
        else words.say("{method} index, {base} = 100; shaded: {share} interval", **values)
    )
    title = words.say("How prices moved, {scope}", scope=words.word(index.scope))
    return alt.TitleParams(title, subtitle=subtitle)


def comparables_chart(comparables: Comparables, words: LocaleWords = PLAIN) -> alt.LayerChart:
    """Every comparable as it sold (ring) and as adjusted to the subject (disc, its size the weight), numbered
    as in the grid, over the reconciled range."""
    currency = comparables.currency
    days = [
        f"{place}: {words.short_day(day)}"
        for place, day in enumerate(comparables.table["event_date"], start=1)
    ]
    frame = comparables.table.select(
        pl.Series("label", days, dtype=pl.String),
        "source_ref",
        "variant",
        "condition_band",
        pl.col("price", "adjusted_price").cast(pl.Float64),
        "net_per_cent",
        "gross_per_cent",
        "weight",
    )
    x = alt.X(
        "price:Q",
        title=words.say("price ({currency}, {basis})", currency=currency, basis=words.word("all-in")),
        scale=alt.Scale(zero=False, nice=False, padding=12),
        axis=alt.Axis(format=MONEY, tickCount=5),
    )
    tooltip = tips(
        ("label:N", "sale"),
        ("source_ref:N", "reference"),
        "variant:N",
        ("condition_band:N", "condition band"),
        ("price:Q", "", MONEY),
        ("adjusted_price:Q", "adjusted price", MONEY),
        ("net_per_cent:Q", "net (%)", "+.1f"),
        ("gross_per_cent:Q", "gross (%)", ".1f"),
        ("weight:Q", "", ".1%"),
    )
    mid = alt.Chart(pl.DataFrame({"mid": [float(comparables.mid)]}))
    ends = pl.DataFrame(
        {"low": [comparables.low], "high": [comparables.high]},
        schema={"low": pl.Float64, "high": pl.Float64},
        strict=False,
    ).drop_nulls()
    base = alt.Chart(frame).encode(y=name_axis("label:N", days, 180))
    size = alt.Size("weight:Q", legend=None, scale=alt.Scale(range=[20, 220]))
    discs = base.mark_point(color=MAIN, filled=True, opacity=1)
    layers: list[Any] = [
        alt.Chart(ends).mark_rect(color=PALE, opacity=0.35).encode(x="low:Q", x2="high:Q"),
        mid.mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=1.5).encode(x="mid:Q"),
        base.mark_rule(color=QUIET).encode(x=x, x2="adjusted_price:Q"),
        base.mark_point(color=QUIET, filled=False, size=45).encode(x=x, tooltip=tooltip),
        discs.encode(x="adjusted_price:Q", size=size, tooltip=tooltip),
    ]
    day = words.day(comparables.as_of)
    title = alt.TitleParams(
        words.say("Comparable sales, adjusted to the subject"),
        subtitle=words.say("ring: as sold; disc: adjusted to {day}, larger with weight", day=day),
    )
    return alt.LayerChart(layer=layers, title=title, height=alt.Step(24))
