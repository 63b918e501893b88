"""Charts of what people say: by band, beside the sales and the price model."""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, MAIN, PALE, QUIET
from pricing.decisions.opinions import StatedBands
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.reader import long_day_form, number_words

MODEL: Final = "price model"
TYPED: Final = "as typed"
SALES: Final = "sales"
MOST_SOURCES: Final = 8
"""Sources drawn, those who spoke last."""

_KINDS: Final = (TYPED, "said", MODEL)


def stated_bands_chart(bands: StatedBands, typed: pl.DataFrame | None = None) -> alt.LayerChart:
    """Spans of every source, the price model's ranges and the sales of each band; ``typed`` spans
    (``condition_band``, ``low``, ``high``, in the same currency) on top of them."""
    spans = [bands.model.select("condition_band", "low", "high", who=pl.lit(MODEL), kind=pl.lit(MODEL))]
    sources = bands.opinions.sort("stated_on")["source"].unique(maintain_order=True).to_list()[-MOST_SOURCES:]
    said = bands.opinions.filter(pl.col("source").is_in(sources))
    spans.append(said.select("condition_band", "low", "high", who="source", kind=pl.lit("said")))
    if typed is not None:
        spans.append(typed.select("condition_band", "low", "high", who=pl.lit(TYPED), kind=pl.lit(TYPED)))
    rows = pl.concat(spans).with_columns(
        words=pl.format(
            "{} to {}",
            pl.col("low").round(0).cast(pl.String).str.strip_suffix(".0").fill_null("open"),
            pl.col("high").round(0).cast(pl.String).str.strip_suffix(".0").fill_null("open"),
        ),
        low=pl.coalesce("low", pl.col("high") / 2),
        high=pl.coalesce("high", pl.col("low") * 2),
    )
    order = [*([TYPED] if typed is not None else []), *sources, MODEL, SALES]
    offset = alt.YOffset("who:N", sort=order, scale=alt.Scale(domain=order, paddingInner=0.15))
    axis = alt.Y(
        "condition_band:N", sort=[*reversed(CONDITION_BANDS)], title="condition band",
        axis=alt.Axis(labelLimit=130), scale=alt.Scale(domain=[*reversed(CONDITION_BANDS)]),
    )  # fmt: skip
    price = alt.X(
        "low:Q", title=f"price ({bands.currency}, all-in)", scale=alt.Scale(zero=True, nice=True),
        axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
    )  # fmt: skip
    bars = (
        alt.Chart(rows)
        .mark_bar(cornerRadius=2)
        .encode(
            y=axis,
            yOffset=offset,
            x=price,
            x2=alt.X2("high:Q"),
            color=alt.Color(
                "kind:N",
                title=None,
                scale=alt.Scale(domain=list(_KINDS), range=[ASKED, PALE, MAIN]),
                legend=alt.Legend(orient="bottom", columns=3, labelLimit=200),
            ),
            tooltip=[
                alt.Tooltip("who:N", title="by"),
                alt.Tooltip("condition_band:N", title="condition band"),
                alt.Tooltip("words:N", title=f"from, to ({bands.currency})"),
            ],
        )
    )
    sold = bands.sales.with_columns(
        who=pl.lit(SALES), event_date=pl.col("event_date").dt.to_string(long_day_form())
    )
    points = (
        alt.Chart(sold)
        .mark_point(size=26, filled=False, color=QUIET, strokeWidth=1.2, opacity=0.8)
        .encode(
            y=axis,
            yOffset=offset,
            x=alt.X("price:Q"),
            tooltip=[
                alt.Tooltip("event_date:N", title="sold"),
                alt.Tooltip("price:Q", title=f"price ({bands.currency})", format=",.0f"),
            ],
        )
    )
    names = (
        alt.Chart(rows.filter(pl.col("kind") == "said"))
        .mark_text(align="left", dx=4, fontSize=10, color=QUIET)
        .encode(y=axis, yOffset=offset, x=alt.X("high:Q"), text=alt.Text("who:N"))
    )
    return alt.LayerChart(
        layer=[bars, names, points],
        title=alt.TitleParams(
            f"What is said of the {bands.make} {bands.model_name}", anchor="start", fontSize=15,
            subtitle=f"all-in prices in {bands.currency}", subtitleColor=QUIET,
        ),
        height=alt.Step(17),
    )  # fmt: skip


def stated_bands_caption(bands: StatedBands, typed: bool = False) -> str:
    """What :func:`stated_bands_chart` shows."""
    own = "your spans as you type them, then " if typed else ""
    model = (
        f"the price model's ranges ({bands.coverage:.0%} of like cars)"
        if bands.model.height
        else "no range of a price model, which needs more sales"
    )
    sales = bands.sales.height
    return (
        f"In each condition band: {own}the spans of every source, {model}, and as rings the "
        f"{number_words(sales)} graded sales of the last years. An open end is drawn to half or twice "
        "the other."
    )
