"""What was asked for a kept car over time, as a chart."""

import altair as alt
import polars as pl

from pricing.charts.design import ASKED
from pricing.words.language.reader import day_form, day_words, long_day_form
from pricing.words.sentences import exact_words


def prices_chart(prices: pl.DataFrame) -> alt.LayerChart:
    """Prices asked (``KeptCars.prices``) as steps, each holding until the next."""
    frame = prices.with_columns(pl.col("amount").cast(pl.Float64))
    currency = prices["currency"][-1]
    base = alt.Chart(frame.select("noted_on", "amount", "currency"))
    x = alt.X(
        "noted_on:T",
        title=None,
        axis=alt.Axis(format=day_form("%-d", "%b", "%Y"), tickCount=4, labelOverlap=True, grid=False),
    )
    y = alt.Y("amount:Q", title=f"asked ({currency})", scale=alt.Scale(zero=False, padding=12))
    tooltip = [
        alt.Tooltip("noted_on:T", title="noted on", format=long_day_form()),
        alt.Tooltip("amount:Q", format=",.0f"),
    ]
    layers = [
        base.mark_line(color=ASKED, strokeWidth=2, interpolate="step-after").encode(x=x, y=y),
        base.mark_point(color=ASKED, filled=True, size=60, opacity=1).encode(x=x, y=y, tooltip=tooltip),
    ]
    return alt.LayerChart(layer=layers, title=alt.TitleParams("Asked for it over time"), height=160)


def prices_caption(prices: pl.DataFrame) -> str:
    """What ``prices_chart`` shows, in words."""
    told = [
        f"{exact_words(row['amount'], row['currency'])} on {day_words(row['noted_on'])}"
        for row in prices.iter_rows(named=True)
    ]
    return f"Asked: {'; '.join(told)}."
