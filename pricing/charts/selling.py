"""Charts for a seller: facts in, ``alt.Chart`` out."""

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.decisions.sell.selling import Selling
from pricing.words.language.reader import day_words


def proceeds_chart(facts: Selling) -> alt.LayerChart:
    """What buyers pay and what is left, channel by channel, eight sales in ten."""
    rows = [
        {
            "channel": found.channel,
            "part": part,
            **{end: float(getattr(span, end)) for end in ("low", "mid", "high")},
        }
        for found in facts.channels
        for part, span in (("paid, all-in", found.paid), ("left to the seller", found.net))
        if span is not None
    ]
    base = alt.Chart(pl.DataFrame(rows)).encode(
        y=alt.Y("channel:N", title=None, sort=None), yOffset=alt.YOffset("part:N", sort="descending")
    )
    x = alt.X(
        "low:Q",
        title=f"amount ({facts.currency})",
        axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
        scale=alt.Scale(zero=False, padding=8),
    )
    color = alt.Color(
        "part:N",
        title=None,
        scale=alt.Scale(domain=["left to the seller", "paid, all-in"], range=[MAIN, PALE]),
        legend=alt.Legend(orient="bottom", columns=1, labelLimit=300),
    )
    tooltip = [
        "channel:N",
        "part:N",
        *(alt.Tooltip(f"{end}:Q", format=",.0f") for end in ("low", "mid", "high")),
    ]
    return alt.LayerChart(
        layer=[
            base.mark_bar(height=14, cornerRadius=2).encode(
                x=x, x2=alt.X2("high:Q"), color=color, tooltip=tooltip
            ),
            base.mark_tick(color=PAPER, thickness=3, size=14).encode(x=alt.X("mid:Q"), tooltip=tooltip),
        ]
    ).properties(title=_title("What a sale leaves, by channel", facts), height=alt.Step(24))


def reserve_chart(facts: Selling) -> alt.LayerChart:
    """Chance of a sale against the reserve."""
    frame, reserve = facts.auction.reserves.select("reserve", "chance"), float(facts.auction.reserve)
    shown = frame.filter(pl.col("reserve") > 0)
    line = (
        alt.Chart(shown)
        .mark_line(color=MAIN, strokeWidth=2.5)
        .encode(
            x=alt.X(
                "reserve:Q",
                title=f"reserve ({facts.currency}, hammer)",
                axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
                scale=alt.Scale(zero=False, nice=False),
            ),
            y=alt.Y("chance:Q", title="chance of a sale", axis=alt.Axis(format="%", tickCount=5)),
            tooltip=[alt.Tooltip("reserve:Q", format=",.0f"), alt.Tooltip("chance:Q", format=".0%")],
        )
    )
    layers: list[alt.Chart] = [line]
    if reserve > 0:
        mark = alt.Chart(pl.DataFrame({"reserve": [reserve]}))
        layers.append(
            mark.mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=2).encode(x=alt.X("reserve:Q"))
        )
    return alt.LayerChart(
        layer=layers, title=_title("Chance of a sale against the reserve", facts), height=280
    )


def waiting_chart(facts: Selling, channel: str) -> alt.Chart:
    """Chance of a sale within 4, 8 and 12 weeks against the asking price, on one channel."""
    shown = facts.asking[channel].prices.select("asking", "within_4", "within_8", "within_12")
    frame = shown.unpivot(index="asking", variable_name="weeks", value_name="chance").with_columns(
        pl.col("weeks").str.replace("within_", "").str.replace("$", " weeks")
    )
    order = ["4 weeks", "8 weeks", "12 weeks"]
    return (
        alt.Chart(frame.drop_nulls("chance"))
        .mark_line(strokeWidth=2.5, point=True)
        .encode(
            x=alt.X(
                "asking:Q",
                title=f"asking price ({facts.currency})",
                axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
                scale=alt.Scale(zero=False, nice=False, padding=8),
            ),
            y=alt.Y("chance:Q", title="chance of a sale", axis=alt.Axis(format="%", tickCount=5)),
            color=alt.Color(
                "weeks:N",
                title="within",
                sort=order,
                scale=alt.Scale(domain=order, range=[QUIET, ASKED, MAIN]),
                legend=alt.Legend(orient="bottom"),
            ),
            strokeDash=alt.StrokeDash("weeks:N", sort=order, legend=None),
            tooltip=[
                alt.Tooltip("asking:Q", format=",.0f"),
                "weeks:N",
                alt.Tooltip("chance:Q", format=".0%"),
            ],
        )
        .properties(title=_title(f"Time to sale, {channel}", facts), height=280)
    )


def _title(words: str, facts: Selling) -> alt.TitleParams:
    at = day_words(facts.valuation.as_of)
    return alt.TitleParams(
        words,
        subtitle=f"amounts in {facts.currency} at {at}",
        subtitleColor=QUIET,
        anchor="start",
        fontSize=15,
    )
