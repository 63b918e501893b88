"""Charts of price indices and of comparable sales."""

from typing import Any

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, QUIET
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.indices.index import PriceIndex
from pricing.words.evidence import period_words
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import long_day_form


def index_chart(index: PriceIndex, words: LocaleWords = PLAIN) -> alt.VConcatChart:
    """The index with its interval, and the sales of every period below."""
    title = _index_title(index, words)
    prices, counts = index_line_chart(index, words=words), index_sales_chart(index, words)
    prices.title = counts.title = alt.Undefined
    both = alt.vconcat(prices.properties(width=560), counts.properties(width=560)).properties(title=title)
    return both.resolve_scale(x="shared")


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
    points = alt.Chart(frame.drop_nulls("index"))
    title = words.say("index, {base} = 100", base=period_words(index.base, words))
    y = alt.Y("index:Q", title=title, scale=alt.Scale(zero=False))
    layers: list[Any] = [
        points.mark_area(color=PALE, opacity=0.5).encode(
            x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"), detail=alt.Detail("run:N")
        ),
        points.mark_line(color=MAIN, strokeWidth=2).encode(x=x, y=y, detail=alt.Detail("run:N")),
        points.mark_point(color=MAIN, filled=True, size=22).encode(x=x, y=y, tooltip=tooltip),
    ]
    if sales is not None and sales.height:
        layers.insert(0, _sale_rings(frame, sales))
    real = frame.drop_nulls("real")
    if real.height:
        layers.append(
            alt.Chart(real)
            .mark_line(color=ASKED, strokeDash=[5, 3], strokeWidth=2)
            .encode(x=x, y=alt.Y("real:Q"), detail=alt.Detail("real_run:N"), tooltip=tooltip)
        )
    return alt.LayerChart(layer=layers, height=260, title=_index_title(index, words))


def _sale_rings(frame: pl.DataFrame, sales: pl.DataFrame) -> alt.Chart:
    ends = frame.select(low=0.5 * pl.col("index").min(), high=1.6 * pl.col("index").max()).row(0)
    shown = sales.filter(pl.col("relative").is_between(ends[0] or 0.0, ends[1] or 1e9)).select(
        pl.col("event_date").cast(pl.Datetime).alias("starts"),
        pl.col("relative").alias("index"),
        pl.col("event_date").dt.to_string(long_day_form()).alias("sold"),
        "model",
        "year",
        pl.col("condition_band").fill_null("not graded"),
        "price",
    )
    return (
        alt.Chart(shown)
        .mark_point(size=26, filled=False, color=QUIET, strokeWidth=1.1, opacity=0.7)
        .encode(
            x=alt.X("starts:T"),
            y=alt.Y("index:Q"),
            tooltip=[
                alt.Tooltip("sold:N"),
                alt.Tooltip("model:N"),
                alt.Tooltip("year:Q", format="d"),
                alt.Tooltip("condition_band:N", title="condition"),
                alt.Tooltip("price:Q", format=",.0f"),
            ],
        )
    )


def index_sales_chart(index: PriceIndex, words: LocaleWords = PLAIN) -> alt.Chart:
    """The sales behind every period of an index."""
    return (
        alt.Chart(index.frame)
        .mark_bar(color=QUIET)
        .encode(
            x=_period_axis(index.period),
            y=alt.Y("sales:Q", title=words.say("sales"), axis=alt.Axis(tickCount=3)),
            tooltip=_index_tooltip(),
        )
        .properties(height=60, title=alt.TitleParams(words.say("Sales behind it"), fontSize=12))
    )


def _period_axis(period: str) -> alt.X:
    form = "%Y" if period == "year" else "%b %Y"
    return alt.X(
        "starts:T",
        title=None,
        axis=alt.Axis(labelOverlap=True, format=form, tickCount=8),
    )


def _index_tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("period:N"),
        alt.Tooltip("index:Q", format=".1f"),
        alt.Tooltip("low:Q", format=".1f"),
        alt.Tooltip("high:Q", format=".1f"),
        alt.Tooltip("real:Q", title="deflated", format=".1f"),
        alt.Tooltip("sales:Q", format=",d"),
        alt.Tooltip("note:N"),
    ]


def _index_title(index: PriceIndex, words: LocaleWords) -> alt.TitleParams:
    told = {
        "method": capital(words.word(index.method)), "base": period_words(index.base, words),
        "share": words.share(index.coverage),
    }  # fmt: skip
    subtitle = (
        words.say("{method} index, {base} = 100; shaded: {share} interval; dashed: deflated", **told)
        if index.frame["real"].is_not_null().any()
        else words.say("{method} index, {base} = 100; shaded: {share} interval", **told)
    )
    return alt.TitleParams(
        words.say("How prices moved, {scope}", scope=words.word(index.scope)),
        subtitle=subtitle,
    )


def comparables_chart(found: Comparables, words: LocaleWords = PLAIN) -> alt.LayerChart:
    """Every comparable as it sold (ring) and as adjusted to the subject (disc, its size the weight), numbered
    as in the grid, over the reconciled range."""
    days = [
        f"{place}: {words.short_day(day)}" for place, day in enumerate(found.table["event_date"], start=1)
    ]
    frame = found.table.with_columns(
        pl.col("price", "adjusted_price").cast(pl.Float64), label=pl.Series(days, dtype=pl.String)
    )
    y = alt.Y("label:N", sort=frame["label"].to_list(), title=None, axis=alt.Axis(labelLimit=180))
    x = alt.X(
        "price:Q",
        title=words.say("price ({currency}, {basis})", currency=found.currency, basis=words.word("all-in")),
        scale=alt.Scale(zero=False, nice=False, padding=12),
        axis=alt.Axis(format=",.0f", tickCount=5),
    )
    tooltip = [
        alt.Tooltip("label:N", title="sale"),
        alt.Tooltip("source_ref:N", title="reference"),
        alt.Tooltip("variant:N"),
        alt.Tooltip("condition_band:N", title="condition band"),
        alt.Tooltip("price:Q", format=",.0f"),
        alt.Tooltip("adjusted_price:Q", title="adjusted price", format=",.0f"),
        alt.Tooltip("net_per_cent:Q", title="net (%)", format="+.1f"),
        alt.Tooltip("gross_per_cent:Q", title="gross (%)", format=".1f"),
        alt.Tooltip("weight:Q", format=".1%"),
    ]
    mid = pl.DataFrame({"mid": [float(found.mid)]})
    ends = pl.DataFrame(
        {"low": [found.low], "high": [found.high]},
        schema={"low": pl.Float64, "high": pl.Float64},
        strict=False,
    ).drop_nulls()
    base = alt.Chart(
        frame.select(
            "label", "source_ref", "variant", "condition_band", "price", "adjusted_price", "net_per_cent",
            "gross_per_cent", "weight",
        )
    )  # fmt: skip
    size = alt.Size("weight:Q", legend=None, scale=alt.Scale(range=[20, 220]))
    layers: list[Any] = [
        alt.Chart(ends).mark_rect(color=PALE, opacity=0.35).encode(x=alt.X("low:Q"), x2=alt.X2("high:Q")),
        alt.Chart(mid).mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=1.5).encode(x=alt.X("mid:Q")),
        base.mark_rule(color=QUIET).encode(y=y, x=x, x2=alt.X2("adjusted_price:Q")),
        base.mark_point(color=QUIET, filled=False, size=45).encode(y=y, x=x, tooltip=tooltip),
        base.mark_point(color=MAIN, filled=True, opacity=1).encode(
            y=y, x=alt.X("adjusted_price:Q"), size=size, tooltip=tooltip
        ),
    ]
    title = alt.TitleParams(
        words.say("Comparable sales, adjusted to the subject"),
        subtitle=words.say(
            "ring: as sold; disc: adjusted to {day}, larger with weight", day=words.day(found.as_of)
        ),
    )
    return alt.LayerChart(layer=layers, title=title, height=alt.Step(24))
