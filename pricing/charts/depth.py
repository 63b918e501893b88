"""Charts of what offers and sales say: lots that sold, asking against sold, what a better condition costs."""

from itertools import pairwise
from typing import Any, Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, QUIET
from pricing.evidence.depth import Depth
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.reader import long_day_form

_STEPS: Final = [f"{band} over {below}" for below, band in pairwise(CONDITION_BANDS)]
"""From each condition to the next, the lowest first."""


def bands_through_time_chart(depth: Depth) -> alt.LayerChart:
    """The premium of each condition band over the next below, by span of years, with its interval."""
    frame = depth.band_premiums.drop_nulls("per_cent").with_columns(
        step=pl.col("band") + " over " + pl.col("next_below"),
        span=pl.format("to {}", pl.col("to_date").dt.year()),
    )
    base = alt.Chart(frame)
    x = alt.X("span:N", title="years", axis=alt.Axis(labelAngle=0))
    offset = alt.XOffset("step:N", sort=_STEPS)
    legend = alt.Legend(orient="bottom", columns=1, labelLimit=300)
    color = alt.Color(
        "step:N",
        title=None,
        scale=alt.Scale(domain=_STEPS, range=[QUIET, ASKED, MAIN]),
        legend=legend,
    )
    tooltip = [
        alt.Tooltip("step:N"),
        alt.Tooltip("per_cent:Q", title="premium (%)", format="+.0f"),
        alt.Tooltip("low:Q", format="+.0f"),
        alt.Tooltip("high:Q", format="+.0f"),
        alt.Tooltip("sales:Q"),
    ]
    bars = base.mark_rule(strokeWidth=2).encode(
        x=x, xOffset=offset, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"), color=color
    )
    points = base.mark_point(filled=True, size=60).encode(
        x=x,
        xOffset=offset,
        y=alt.Y("per_cent:Q", title="premium over the next band (%)"),
        color=color,
        shape=alt.Shape("step:N", title=None, legend=legend, scale=alt.Scale(domain=_STEPS)),
        tooltip=tooltip,
    )
    title = alt.TitleParams(
        f"What a better condition band costs, {depth.scope}",
        subtitle="95% intervals",
    )
    return alt.LayerChart(layer=[bars, points], title=title, height=380)


def sold_by_year_chart(depth: Depth) -> alt.LayerChart:
    """The share of lots at auction that found a buyer, by year, with its interval and the number of lots."""
    frame = depth.sold_by_year.drop_nulls("share").select(
        pl.col("year").cast(pl.String),
        *(pl.col(name) * 100 for name in ("share", "low", "high")),
        "lots",
    )
    years = depth.sold_by_year["year"].cast(pl.String).to_list()
    base = alt.Chart(frame)
    x = alt.X(
        "year:O", title=None, axis=alt.Axis(labelAngle=0, labelOverlap=True), scale=alt.Scale(domain=years)
    )
    y = alt.Y(
        "share:Q", title="sold of 100 lots", scale=alt.Scale(domain=[0, 100]), axis=alt.Axis(tickCount=5)
    )
    tooltip = [
        alt.Tooltip("year:N"),
        alt.Tooltip("share:Q", title="sold of 100", format=".0f"),
        alt.Tooltip("low:Q", format=".0f"),
        alt.Tooltip("high:Q", format=".0f"),
        alt.Tooltip("lots:Q", format=",d"),
    ]
    layers = [
        base.mark_rule(color=PALE, strokeWidth=2).encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
        base.mark_point(color=MAIN, filled=True, size=60, opacity=1).encode(x=x, y=y, tooltip=tooltip),
        base.mark_text(color=QUIET, dx=9, align="left", fontSize=11).encode(
            x=x, y=alt.Y("share:Q"), text=alt.Text("lots:Q", format=",d")
        ),
    ]
    title = alt.TitleParams(
        f"How many find a buyer, {depth.scope}",
        subtitle="lots at auction; beside each mark, how many there were",
    )
    return alt.LayerChart(layer=layers, title=title, height=230)


def asking_gap_chart(depth: Depth) -> alt.LayerChart:
    """What cars that were advertised and then sold fetched over the price asked, in per cent, by the day of
    the sale; the middle with its interval through it."""
    gap = depth.gap
    frame = gap.matched.select(
        pl.col("event_date").cast(pl.Datetime),
        per_cent=(pl.col("ratio") - 1) * 100,
        asking=pl.col("asking").cast(pl.Float64),
        sold=pl.col("sold").cast(pl.Float64),
        make="make",
    )
    middle = pl.DataFrame(
        {"middle": [gap.per_cent], "low": [gap.low], "high": [gap.high], "asked": [0.0]},
        schema=dict.fromkeys(("middle", "low", "high", "asked"), pl.Float64),
        strict=False,
    )
    known = alt.Chart(middle.drop_nulls("middle"))
    y = alt.Y("per_cent:Q", title="sold over asked (%)", axis=alt.Axis(format="+.0f", tickCount=5))
    layers: list[Any] = [
        alt.Chart(middle.drop_nulls())
        .mark_rect(color=PALE, opacity=0.35)
        .encode(y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
        known.mark_rule(color=ASKED, strokeWidth=2).encode(y=alt.Y("asked:Q")),
        known.mark_rule(color=MAIN, strokeWidth=2).encode(y=alt.Y("middle:Q")),
        alt.Chart(frame)
        .mark_point(color=INK, filled=False, size=36, strokeWidth=1.2)
        .encode(
            x=alt.X(
                "event_date:T",
                title=None,
                axis=alt.Axis(labelOverlap=True, format="%Y", tickCount="year"),
            ),
            y=y,
            tooltip=[
                alt.Tooltip("make:N"),
                alt.Tooltip("event_date:T", title="sold", format=long_day_form()),
                alt.Tooltip("asking:Q", title="asked", format=",.0f"),
                alt.Tooltip("sold:Q", title="sold for", format=",.0f"),
                alt.Tooltip("per_cent:Q", title="over asked (%)", format="+.0f"),
            ],
        ),
    ]
    title = alt.TitleParams(
        f"From asking to sold, {depth.scope}",
        subtitle="upper line: the price asked; lower: the middle of the sales",
    )
    return alt.LayerChart(layer=layers, title=title, height=230)
