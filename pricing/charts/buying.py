"""Charts for a buyer: facts in, ``alt.Chart`` out."""

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, QUIET
from pricing.decisions.buy.buying import Buying
from pricing.words.language.reader import day_words


def limits_chart(facts: Buying) -> alt.LayerChart:
    """Share of like cars that sell for less than each price, with the limits and the price asked, all-in, in
    the market's base currency."""
    valuation = facts.valuation
    curve = valuation.distribution.select(price="to_price", share=pl.col("share").cum_sum().clip(0.0, 1.0))
    marks = [
        {"price": float(price), "mark": name, "kind": kind}
        for name, price, kind in (
            ("walk away", facts.walk_away.all_in_base, "limit"),
            ("open", facts.opening.all_in_base, "limit"),
            ("asked", None if facts.asking is None else float(valuation.asking or 0), "asked"),
        )
        if price is not None
    ]
    frame = pl.DataFrame(marks, schema={"price": pl.Float64, "mark": pl.String, "kind": pl.String})
    frame = frame.sort("price").with_columns(row=pl.int_range(pl.len()))
    title = alt.TitleParams(
        "Share of like cars that sell for less",
        subtitle=f"all-in prices in {valuation.currency} at {day_words(valuation.as_of)}",
        subtitleColor=QUIET,
        anchor="start",
        fontSize=15,
    )
    x = alt.X(
        "price:Q",
        title=f"price ({valuation.currency}, all-in)",
        axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
        scale=alt.Scale(zero=False, nice=False, padding=8),
    )
    line = (
        alt.Chart(curve)
        .mark_line(color=MAIN, strokeWidth=2.5, interpolate="monotone")
        .encode(
            x=x,
            y=alt.Y("share:Q", title="share that sells for less", axis=alt.Axis(format="%", tickCount=5)),
            tooltip=[alt.Tooltip("price:Q", format=",.0f"), alt.Tooltip("share:Q", format=".0%")],
        )
    )
    layers: list[alt.Chart] = [line]
    for kind, color, dash in (("limit", INK, [4, 3]), ("asked", ASKED, [1, 0])):
        part = frame.filter(pl.col("kind") == kind)
        rules = alt.Chart(part).mark_rule(color=color, strokeDash=dash, strokeWidth=2)
        layers.append(
            rules.encode(
                x=alt.X("price:Q"), tooltip=[alt.Tooltip("mark:N"), alt.Tooltip("price:Q", format=",.0f")]
            )
        )
    for row in frame.iter_rows(named=True):
        words = alt.Chart(pl.DataFrame([row])).mark_text(
            align="right" if row["row"] == 0 else "left",
            dx=-4 if row["row"] == 0 else 4,
            fontSize=12,
            color=ASKED if row["kind"] == "asked" else INK,
        )
        layers.append(
            words.encode(x=alt.X("price:Q"), y=alt.YValue(14 + 16 * row["row"]), text=alt.Text("mark:N"))
        )
    return alt.LayerChart(layer=layers, title=title, height=300)


def bids_chart(facts: Buying) -> alt.LayerChart:
    """What each bid comes to all-in: hammer price and what is charged on it, with the walk-away price."""
    frame = facts.bids.select(bid=pl.col("price").cast(pl.Float64), all_in=pl.col("all_in").cast(pl.Float64))
    bars = alt.Chart(frame).encode(
        y=alt.Y("bid:O", title=f"bid ({facts.currency})", sort="descending", axis=alt.Axis(format=",.0f"))
    )
    tooltip = [alt.Tooltip("bid:Q", format=",.0f"), alt.Tooltip("all_in:Q", title="all-in", format=",.2f")]
    return alt.LayerChart(
        layer=[
            bars.mark_bar(color=QUIET, height=8).encode(
                x=alt.X("all_in:Q", title=f"all-in ({facts.currency})"), tooltip=tooltip
            ),
            bars.mark_bar(color=MAIN, height=8).encode(x=alt.X("bid:Q"), tooltip=tooltip),
        ]
    ).properties(
        title=alt.TitleParams(
            "What each bid comes to",
            subtitle="dark: hammer price; grey: what is charged on it",
            subtitleColor=QUIET,
            anchor="start",
            fontSize=15,
        ),
        height=alt.Step(20),
    )
