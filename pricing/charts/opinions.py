"""Charts of what people say: by band, beside the sales and the price model."""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, MAIN, PALE, QUIET
from pricing.charts.encodings import MONEY, colours, name_axis, price_axis, tips, titled
from pricing.decisions.opinions import StatedBands
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.reader import long_day_form, number_words

MODEL: Final = "price model"
TYPED: Final = "as typed"
STATED: Final = "said"
SALES: Final = "sales"
MOST_SOURCES: Final = 8
"""Sources drawn, those who spoke last."""

_KINDS: Final = {TYPED: ASKED, STATED: PALE, MODEL: MAIN}


def stated_bands_chart(bands: StatedBands, typed: pl.DataFrame | None = None) -> alt.LayerChart:
    """Spans of every source, the price model's ranges and the sales of each band; ``typed`` spans
    (``condition_band``, ``low``, ``high``, in the same currency) on top of them."""
    sources = bands.opinions.sort("stated_on")["source"].unique(maintain_order=True).to_list()[-MOST_SOURCES:]
    stated = bands.opinions.filter(pl.col("source").is_in(sources))
    spans = [(bands.model, pl.lit(MODEL), MODEL), (stated, pl.col("source"), STATED)]
    spans += [] if typed is None else [(typed, pl.lit(TYPED), TYPED)]
    ends = [
        pl.col(end).round(0).cast(pl.String).str.strip_suffix(".0").fill_null("open")
        for end in ("low", "high")
    ]
    rows = pl.concat(
        frame.select("condition_band", "low", "high", who=who, kind=pl.lit(kind))
        for frame, who, kind in spans
    ).with_columns(
        words=pl.format("{} to {}", *ends),
        low=pl.coalesce("low", pl.col("high") / 2),
        high=pl.coalesce("high", pl.col("low") * 2),
    )
    order = [*([TYPED] if typed is not None else []), *sources, MODEL, SALES]
    domain = [*reversed(CONDITION_BANDS)]
    axis = name_axis("condition_band:N", domain, 130, "condition band", scale=alt.Scale(domain=domain))
    offset = alt.YOffset("who:N", sort=order, scale=alt.Scale(domain=order, paddingInner=0.15))
    price = price_axis("low:Q", f"price ({bands.currency}, all-in)", alt.Scale(zero=True, nice=True))
    bars = (
        alt.Chart(rows)
        .mark_bar(cornerRadius=2)
        .encode(
            y=axis,
            yOffset=offset,
            x=price,
            x2="high:Q",
            color=colours("kind:N", _KINDS, alt.Legend(orient="bottom", columns=3, labelLimit=200)),
            tooltip=tips(
                ("who:N", "by"),
                ("condition_band:N", "condition band"),
                ("words:N", f"from, to ({bands.currency})"),
            ),
        )
    )
    sold = bands.sales.with_columns(
        who=pl.lit(SALES), event_date=pl.col("event_date").dt.to_string(long_day_form())
    )
    rings = alt.Chart(sold).mark_point(size=26, filled=False, color=QUIET, strokeWidth=1.2, opacity=0.8)
    points = rings.encode(
        y=axis,
        yOffset=offset,
        x="price:Q",
        tooltip=tips(("event_date:N", "sold"), ("price:Q", f"price ({bands.currency})", MONEY)),
    )
    names = (
        alt.Chart(rows.filter(pl.col("kind") == STATED))
        .mark_text(align="left", dx=4, fontSize=10, color=QUIET)
        .encode(y=axis, yOffset=offset, x="high:Q", text="who:N")
    )
    title = titled(
        f"What is said of the {bands.make} {bands.model_name}", f"all-in prices in {bands.currency}"
    )
    return alt.LayerChart(layer=[bars, names, points], title=title, height=alt.Step(17))


def stated_bands_caption(bands: StatedBands, typed: bool = False) -> str:
    """What :func:`stated_bands_chart` shows."""
    own = "your spans as you type them, then " if typed else ""
    model = (
        f"the price model's ranges ({bands.coverage:.0%} of like cars)"
        if bands.model.height
        else "no range of a price model, which needs more sales"
    )
    return (
        f"In each condition band: {own}the spans of every source, {model}, and as rings the "
        f"{number_words(bands.sales.height)} graded sales of the last years. An open end is drawn to half or "
        "twice the other."
    )
