"""What rose and what fell, as a chart."""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import MAIN, PALE, PAPER, QUIET

MOST_DRAWN: Final = 24
"""Models that ``movers_chart`` draws: the sharpest rises and the sharpest falls, half each."""


def drawn_movers(found: pl.DataFrame) -> pl.DataFrame:
    """The rows of ``movers`` that are drawn: those with a figure, or the two ends of them."""
    told = found.drop_nulls("per_cent")
    if told.height <= MOST_DRAWN:
        return told
    return pl.concat([told.head(MOST_DRAWN // 2), told.tail(MOST_DRAWN // 2)])


def movers_chart(found: pl.DataFrame) -> alt.LayerChart:
    """How far models moved in a year, each with its interval, the sharpest rise at the top."""
    frame = drawn_movers(found).with_columns(
        name=pl.col("make") + " " + pl.col("model"),
        beyond=pl.col("told").is_in(["rose", "fell"]),
    )
    base = alt.Chart(frame)
    y = alt.Y("name:N", title=None, sort=frame["name"].to_list(), axis=alt.Axis(labelLimit=150))
    x = alt.X("per_cent:Q", title="change in a year (%)", axis=alt.Axis(format="+.0f", tickCount=5))
    tooltip = [
        alt.Tooltip("name:N", title="model"),
        alt.Tooltip("per_cent:Q", title="change (%)", format="+.0f"),
        alt.Tooltip("low:Q", format="+.0f"),
        alt.Tooltip("high:Q", format="+.0f"),
        alt.Tooltip("sales:Q", title="like sales, last year"),
        alt.Tooltip("sales_before:Q", title="the year before"),
        alt.Tooltip("told:N", title="what that says"),
    ]
    fill = alt.Color("beyond:N", legend=None, scale=alt.Scale(domain=[True, False], range=[MAIN, PAPER]))
    layers = [
        alt.Chart(pl.DataFrame({"nought": [0.0]}))
        .mark_rule(color=QUIET, strokeDash=[2, 3])
        .encode(x=alt.X("nought:Q")),
        base.mark_rule(color=PALE, strokeWidth=2).encode(y=y, x=alt.X("low:Q"), x2=alt.X2("high:Q")),
        base.mark_point(filled=True, stroke=MAIN, strokeWidth=1.5, size=70, opacity=1).encode(
            y=y, x=x, color=fill, tooltip=tooltip
        ),
    ]
    return alt.LayerChart(layer=layers, title=alt.TitleParams("What rose and what fell"), height=alt.Step(22))
