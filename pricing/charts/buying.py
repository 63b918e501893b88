"""Charts for a buyer: facts in, ``alt.Chart`` out; a caption of the same name says what each shows."""

from typing import Any

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, QUIET
from pricing.charts.encodings import MONEY, price_axis, share_axis, tips, titled
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
    line = alt.Chart(curve).mark_line(color=MAIN, strokeWidth=2.5, interpolate="monotone")
    layers: list[alt.Chart] = [
        line.encode(
            x=price_axis("price:Q", f"price ({valuation.currency}, all-in)"),
            y=share_axis("share:Q", "share that sells for less"),
            tooltip=tips(("price:Q", "", MONEY), ("share:Q", "", ".0%")),
        )
    ]
    for kind, color, dash in (("limit", INK, [4, 3]), ("asked", ASKED, [1, 0])):
        part = frame.filter(pl.col("kind") == kind)
        rules = alt.Chart(part).mark_rule(color=color, strokeDash=dash, strokeWidth=2)
        layers.append(rules.encode(x="price:Q", tooltip=tips("mark:N", ("price:Q", "", MONEY))))
    for row in frame.iter_rows(named=True):
        side: dict[str, Any] = {"align": "right", "dx": -4} if row["row"] == 0 else {"align": "left", "dx": 4}
        color = ASKED if row["kind"] == "asked" else INK
        words = alt.Chart(pl.DataFrame([row])).mark_text(fontSize=12, color=color, **side)
        layers.append(words.encode(x="price:Q", y=alt.YValue(14 + 16 * row["row"]), text="mark:N"))
    basis = f"all-in prices in {valuation.currency} at {day_words(valuation.as_of)}"
    return alt.LayerChart(
        layer=layers, title=titled("Share of like cars that sell for less", basis), height=300
    )


def bids_chart(facts: Buying) -> alt.LayerChart:
    """What each bid comes to all-in: hammer price and what is charged on it, with the walk-away price."""
    frame = facts.bids.select(bid=pl.col("price").cast(pl.Float64), all_in=pl.col("all_in").cast(pl.Float64))
    bars = alt.Chart(frame).encode(
        y=alt.Y("bid:O", title=f"bid ({facts.currency})", sort="descending", axis=alt.Axis(format=MONEY)),
        tooltip=tips(("bid:Q", "", MONEY), ("all_in:Q", "all-in", ",.2f")),
    )
    all_in = alt.X("all_in:Q", title=f"all-in ({facts.currency})")
    return alt.LayerChart(
        layer=[
            bars.mark_bar(color=QUIET, height=8).encode(x=all_in),
            bars.mark_bar(color=MAIN, height=8).encode(x="bid:Q"),
        ],
        title=titled("What each bid comes to", "dark: hammer price; grey: what is charged on it"),
        height=alt.Step(20),
    )


def limits_caption(facts: Buying) -> str:
    """What ``limits_chart`` shows."""
    asking = "" if facts.asking is None else " The thick line is the price asked."
    return (
        "The curve is the share of like cars that sell for less than each price, all-in. The dashed lines "
        f"are the walk-away price and the opening offer, all-in.{asking}"
    )


def bids_caption(facts: Buying) -> str:
    """What ``bids_chart`` shows."""
    return (
        f"Each bar is a bid and what it comes to, in {facts.currency}; its grey end is what is charged on it."
    )
