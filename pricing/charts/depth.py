"""Charts of what offers and sales say: lots that sold, asking against sold, what a better condition costs,
what rose and what fell."""

from itertools import pairwise
from typing import Any, Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.charts.encodings import LEGEND, MONEY, colours, name_axis, tips
from pricing.evidence.depth import Depth
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.reader import long_day_form

_STEPS: Final = {
    f"{band} over {below}": colour
    for (below, band), colour in zip(pairwise(CONDITION_BANDS), (QUIET, ASKED, MAIN), strict=True)
}
"""From each condition to the next, the lowest first, and its colour."""

MOST_DRAWN: Final = 24
"""Models that ``movers_chart`` draws: the sharpest rises and the sharpest falls, half each."""


def bands_through_time_chart(depth: Depth) -> alt.LayerChart:
    """The premium of each condition band over the next below, by span of years, with its interval."""
    frame = depth.band_premiums.drop_nulls("per_cent").with_columns(
        step=pl.col("band") + " over " + pl.col("next_below"),
        span=pl.format("to {}", pl.col("to_date").dt.year()),
    )
    base = alt.Chart(frame).encode(
        x=alt.X("span:N", title="years", axis=alt.Axis(labelAngle=0)),
        xOffset=alt.XOffset("step:N", sort=list(_STEPS)),
        color=colours("step:N", _STEPS),
    )
    points = base.mark_point(filled=True, size=60).encode(
        y=alt.Y("per_cent:Q", title="premium over the next band (%)"),
        shape=alt.Shape("step:N", title=None, legend=LEGEND, scale=alt.Scale(domain=list(_STEPS))),
        tooltip=tips("step:N", ("per_cent:Q", "premium (%)", "+.0f"), *_interval_tips("+.0f"), "sales:Q"),
    )
    return alt.LayerChart(
        layer=[base.mark_rule(strokeWidth=2).encode(y="low:Q", y2="high:Q"), points],
        title=alt.TitleParams(f"What a better condition band costs, {depth.scope}", subtitle="95% intervals"),
        height=380,
    )


def _interval_tips(form: str) -> tuple[tuple[str, str, str], ...]:
    return ("low:Q", "", form), ("high:Q", "", form)


def sold_by_year_chart(depth: Depth) -> alt.LayerChart:
    """The share of lots at auction that found a buyer, by year, with its interval and the number of lots."""
    frame = depth.sold_by_year.drop_nulls("share").select(
        pl.col("year").cast(pl.String),
        *(pl.col(name) * 100 for name in ("share", "low", "high")),
        "lots",
    )
    years = alt.Scale(domain=depth.sold_by_year["year"].cast(pl.String).to_list())
    axis = alt.Axis(labelAngle=0, labelOverlap=True)
    base = alt.Chart(frame).encode(x=alt.X("year:O", title=None, axis=axis, scale=years))
    shares = alt.Scale(domain=[0, 100])
    points = base.mark_point(color=MAIN, filled=True, size=60, opacity=1).encode(
        y=alt.Y("share:Q", title="sold of 100 lots", scale=shares, axis=alt.Axis(tickCount=5)),
        tooltip=tips(
            "year:N", ("share:Q", "sold of 100", ".0f"), *_interval_tips(".0f"), ("lots:Q", "", ",d")
        ),
    )
    layers = [
        base.mark_rule(color=PALE, strokeWidth=2).encode(y="low:Q", y2="high:Q"),
        points,
        base.mark_text(color=QUIET, dx=9, align="left", fontSize=11).encode(
            y="share:Q", text=alt.Text("lots:Q", format=",d")
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
        pl.col("asking", "sold").cast(pl.Float64),
        "make",
        per_cent=(pl.col("ratio") - 1) * 100,
    )
    lines = {"middle": gap.per_cent, "low": gap.low, "high": gap.high, "asked": 0.0}
    middle = pl.DataFrame([lines], schema=dict.fromkeys(lines, pl.Float64), strict=False)
    known = alt.Chart(middle.drop_nulls("middle"))
    rings = alt.Chart(frame).mark_point(color=INK, filled=False, size=36, strokeWidth=1.2)
    years = alt.Axis(labelOverlap=True, format="%Y", tickCount="year")
    layers: list[Any] = [
        alt.Chart(middle.drop_nulls()).mark_rect(color=PALE, opacity=0.35).encode(y="low:Q", y2="high:Q"),
        known.mark_rule(color=ASKED, strokeWidth=2).encode(y="asked:Q"),
        known.mark_rule(color=MAIN, strokeWidth=2).encode(y="middle:Q"),
        rings.encode(
            x=alt.X("event_date:T", title=None, axis=years),
            y=alt.Y("per_cent:Q", title="sold over asked (%)", axis=alt.Axis(format="+.0f", tickCount=5)),
            tooltip=tips(
                "make:N",
                ("event_date:T", "sold", long_day_form()),
                ("asking:Q", "asked", MONEY),
                ("sold:Q", "sold for", MONEY),
                ("per_cent:Q", "over asked (%)", "+.0f"),
            ),
        ),
    ]
    title = alt.TitleParams(
        f"From asking to sold, {depth.scope}",
        subtitle="upper line: the price asked; lower: the middle of the sales",
    )
    return alt.LayerChart(layer=layers, title=title, height=230)


def drawn_movers(models: pl.DataFrame) -> pl.DataFrame:
    """The rows of ``movers`` that are drawn: those with a figure, or the two ends of them."""
    known = models.drop_nulls("per_cent")
    if known.height <= MOST_DRAWN:
        return known
    return pl.concat([known.head(MOST_DRAWN // 2), known.tail(MOST_DRAWN // 2)])


def movers_chart(models: pl.DataFrame) -> alt.LayerChart:
    """How far models moved in a year, each with its interval, the sharpest rise at the top."""
    frame = drawn_movers(models).with_columns(
        name=pl.col("make") + " " + pl.col("model"),
        beyond=pl.col("told").is_in(["rose", "fell"]),
    )
    base = alt.Chart(frame).encode(y=name_axis("name:N", frame["name"].to_list(), 150))
    nought = alt.Chart(pl.DataFrame({"nought": [0.0]})).mark_rule(color=QUIET, strokeDash=[2, 3])
    marks = base.mark_point(filled=True, stroke=MAIN, strokeWidth=1.5, size=70, opacity=1).encode(
        x=alt.X("per_cent:Q", title="change in a year (%)", axis=alt.Axis(format="+.0f", tickCount=5)),
        color=colours("beyond:N", {True: MAIN, False: PAPER}, None),
        tooltip=tips(
            ("name:N", "model"),
            ("per_cent:Q", "change (%)", "+.0f"),
            *_interval_tips("+.0f"),
            ("sales:Q", "like sales, last year"),
            ("sales_before:Q", "the year before"),
            ("told:N", "what that says"),
        ),
    )
    intervals = base.mark_rule(color=PALE, strokeWidth=2).encode(x="low:Q", x2="high:Q")
    return alt.LayerChart(
        layer=[nought.encode(x="nought:Q"), intervals, marks],
        title=alt.TitleParams("What rose and what fell"),
        height=alt.Step(22),
    )
