"""What was asked for a kept car over time, as a chart."""

import altair as alt
import polars as pl

from pricing.charts.design import ASKED
from pricing.charts.encodings import MONEY, tips
from pricing.words.language.reader import day_form, day_words, long_day_form
from pricing.words.sentences import exact_words


def prices_chart(prices: pl.DataFrame) -> alt.LayerChart:
    """Prices asked (``KeptCars.prices``) as steps, each holding until the next."""
    frame = prices.select("noted_on", pl.col("amount").cast(pl.Float64), "currency")
    axis = alt.Axis(format=day_form("%-d", "%b", "%Y"), tickCount=4, labelOverlap=True, grid=False)
    scale = alt.Scale(zero=False, padding=12)
    base = alt.Chart(frame).encode(
        x=alt.X("noted_on:T", title=None, axis=axis),
        y=alt.Y("amount:Q", title=f"asked ({prices['currency'][-1]})", scale=scale),
    )
    tooltip = tips(("noted_on:T", "noted on", long_day_form()), ("amount:Q", "", MONEY))
    layers = [
        base.mark_line(color=ASKED, strokeWidth=2, interpolate="step-after"),
        base.mark_point(color=ASKED, filled=True, size=60, opacity=1).encode(tooltip=tooltip),
    ]
    return alt.LayerChart(layer=layers, title=alt.TitleParams("Asked for it over time"), height=160)


def prices_caption(prices: pl.DataFrame) -> str:
    """What ``prices_chart`` shows, in words."""
    asking = [
        f"{exact_words(row['amount'], row['currency'])} on {day_words(row['noted_on'])}"
        for row in prices.iter_rows(named=True)
    ]
    return f"Asked: {'; '.join(asking)}."
