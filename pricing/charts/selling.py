"""Charts for a seller: facts in, ``alt.Chart`` out; a caption of the same name says what each shows."""

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.charts.encodings import ENDS, MONEY, colours, price_axis, share_axis, tips, titled
from pricing.decisions.sell.channel_sale import HORIZON
from pricing.decisions.sell.selling import Selling
from pricing.words.language.reader import day_words


def proceeds_chart(facts: Selling) -> alt.LayerChart:
    """What buyers pay and what is left, channel by channel, eight sales in ten."""
    paid, left = "paid, all-in", "left to the seller"
    rows = [
        {"channel": sale.channel, "part": part, **{end: float(getattr(span, end)) for end in ENDS}}
        for sale in facts.channels
        for part, span in ((paid, sale.paid), (left, sale.net))
        if span is not None
    ]
    base = alt.Chart(pl.DataFrame(rows)).encode(
        y=alt.Y("channel:N", title=None, sort=None),
        yOffset=alt.YOffset("part:N", sort="descending"),
        tooltip=tips("channel:N", "part:N", *((f"{end}:Q", "", MONEY) for end in ENDS)),
    )
    x = price_axis("low:Q", f"amount ({facts.currency})", alt.Scale(zero=False, padding=8))
    color = colours("part:N", {left: MAIN, paid: PALE})
    return alt.LayerChart(
        layer=[
            base.mark_bar(height=14, cornerRadius=2).encode(x=x, x2="high:Q", color=color),
            base.mark_tick(color=PAPER, thickness=3, size=14).encode(x="mid:Q"),
        ],
        title=_title("What a sale leaves, by channel", facts),
        height=alt.Step(24),
    )


def reserve_chart(facts: Selling) -> alt.LayerChart:
    """Chance of a sale against the reserve."""
    chances = facts.auction.reserves.select("reserve", "chance").filter(pl.col("reserve") > 0)
    line = alt.Chart(chances).mark_line(color=MAIN, strokeWidth=2.5)
    scale = alt.Scale(zero=False, nice=False)
    layers: list[alt.Chart] = [
        line.encode(
            x=price_axis("reserve:Q", f"reserve ({facts.currency}, hammer)", scale),
            y=share_axis("chance:Q", "chance of a sale"),
            tooltip=tips(("reserve:Q", "", MONEY), ("chance:Q", "", ".0%")),
        )
    ]
    if facts.auction.reserve > 0:
        mark = alt.Chart(pl.DataFrame({"reserve": [float(facts.auction.reserve)]}))
        layers.append(mark.mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=2).encode(x="reserve:Q"))
    return alt.LayerChart(
        layer=layers, title=_title("Chance of a sale against the reserve", facts), height=280
    )


def waiting_chart(facts: Selling, channel: str) -> alt.Chart:
    """Chance of a sale within 4, 8 and 12 weeks against the asking price, on one channel."""
    weeks = {"4 weeks": QUIET, "8 weeks": ASKED, "12 weeks": MAIN}
    within = facts.asking[channel].prices.select("asking", "within_4", "within_8", "within_12")
    frame = within.unpivot(index="asking", variable_name="weeks", value_name="chance").with_columns(
        pl.col("weeks").str.replace("within_", "").str.replace("$", " weeks")
    )
    color = colours("weeks:N", weeks, alt.Legend(orient="bottom"))
    line = alt.Chart(frame.drop_nulls("chance")).mark_line(strokeWidth=2.5, point=True)
    return line.encode(
        x=price_axis("asking:Q", f"asking price ({facts.currency})"),
        y=share_axis("chance:Q", "chance of a sale"),
        color=color.sort(list(weeks)).title("within"),
        strokeDash=alt.StrokeDash("weeks:N", sort=list(weeks), legend=None),
        tooltip=tips(("asking:Q", "", MONEY), "weeks:N", ("chance:Q", "", ".0%")),
    ).properties(title=_title(f"Time to sale, {channel}", facts), height=280)


def _title(words: str, facts: Selling) -> alt.TitleParams:
    return titled(words, f"amounts in {facts.currency} at {day_words(facts.valuation.as_of)}")


def proceeds_caption() -> str:
    """What ``proceeds_chart`` shows."""
    return (
        "Each bar runs over eight sales in ten, paid and left of the same draws; the notch is the middle. "
        "What is left is after commission and fees."
    )


def reserve_caption() -> str:
    """What ``reserve_chart`` shows."""
    return "The chance that a lot like this one sells, against its reserve; dashed is the reserve looked at."


def waiting_caption(channel: str) -> str:
    """What ``waiting_chart`` shows.

    >>> waiting_caption("dealer")[:44]
    'How likely a sale is at each price asked, at'
    """
    where = {"dealer": "at a dealer", "private": "privately"}.get(channel, f"by {channel}")
    return f"How likely a sale is at each price asked, {where}: within 4, 8 and {HORIZON} weeks."
