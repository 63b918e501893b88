"""Charts of a repair budget and of mending against buying better: facts in, ``alt.Chart`` out."""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, MAIN, PALE, PAPER
from pricing.charts.encodings import ENDS, MONEY, colours, name_axis, range_tips, tips, titled
from pricing.condition.budget import RepairBudget
from pricing.decisions.mending import EVERYTHING, MendOrBuy
from pricing.words.language.reader import day_words

PARTS: Final = {
    "price_now": "this car now",
    "budget": "its repairs",
    "price_then": "this car mended",
    "better_car": "a car already there",
}
"""Columns of ``MendOrBuy.goals`` with low, mid and high, and what each is called."""

_BUDGET: Final = {
    "p10": "one time in ten below",
    "p50": "as likely as not below",
    "p80": "four times in five below",
    "expected": "expected",
}


def budget_chart(budget: RepairBudget) -> alt.LayerChart:
    """What each area takes: from one time in ten to four times in five, the middle marked."""
    areas = budget.areas.sort("expected", descending=True)
    amounts = ((f"{name}:Q", f"{words} ({budget.currency})", MONEY) for name, words in _BUDGET.items())
    base = alt.Chart(areas).encode(
        y=name_axis("area:N", areas["area"].to_list(), 150), tooltip=tips("area:N", *amounts)
    )
    axis = alt.Axis(format=MONEY, tickCount=5)
    x = alt.X("p10:Q", title=f"repairs ({budget.currency}, all taxes in)", axis=axis)
    layers = [
        base.mark_bar(height=14, cornerRadius=2, color=MAIN).encode(x=x, x2="p80:Q"),
        base.mark_tick(color=PAPER, thickness=3, size=14).encode(x="p50:Q"),
        base.mark_point(shape="diamond", filled=True, size=40, color=ASKED, opacity=1).encode(x="expected:Q"),
    ]
    basis = f"rates of {budget.country}, prices of {day_words(budget.on)}, in {budget.currency}"
    return alt.LayerChart(layer=layers, title=titled("Repair budget by area", basis), height=alt.Step(26))


def budget_caption(budget: RepairBudget) -> str:
    """What ``budget_chart`` shows."""
    return (
        "Each bar runs from what an area's repairs stay below one time in ten to what they stay below four "
        "times in five; the notch is the middle, the diamond what is expected on average. Areas do not add "
        "up bar by bar: they are seldom all dear at once."
    )


def comparison_chart(decision: MendOrBuy) -> alt.LayerChart:
    """This car now, and for every goal its repairs, this car mended, and a car already there."""
    everything = pl.col("goal") == EVERYTHING
    goal = pl.when(everything).then(pl.lit(EVERYTHING)).otherwise(pl.format("to {}", "goal"))
    long = pl.concat(
        decision.goals.select(
            line=pl.lit(words) if name == "price_now" else pl.format("{}: {}", goal, pl.lit(words)),
            part=pl.lit(words),
            **{end: pl.col(f"{name}_{end}") for end in ENDS},
            place=pl.int_range(pl.len()) * (name != "price_now"),
        )
        for name, words in PARTS.items()
    )
    long = long.unique("line", keep="first", maintain_order=True).sort("place", maintain_order=True)
    lines, currency = long["line"].to_list(), decision.currency
    is_goal = alt.when("indexof(datum.value, ': ') < 0")
    axis = alt.Axis(
        labelLimit=170,
        labelExpr="split(datum.value, ': ')[1] || datum.value",
        labelFontWeight=is_goal.then(alt.value(700)).otherwise(alt.value(400)),
        ticks=False,
    )
    base = alt.Chart(long).encode(
        y=alt.Y("line:N", sort=lines, title=None, scale=alt.Scale(domain=_under_goals(lines)), axis=axis),
        tooltip=[*tips(("line:N", "what")), *range_tips(currency)],
    )
    money = alt.Axis(format=MONEY, tickCount=5, labelOverlap=True)
    spans = base.mark_bar(height=14, cornerRadius=2).encode(
        x=alt.X("low:Q", title=f"price or cost ({currency}, all-in)", axis=money),
        x2="high:Q",
        color=colours("part:N", dict(zip(PARTS.values(), (MAIN, ASKED, MAIN, PALE), strict=True)), None),
    )
    middles = base.mark_tick(color=PAPER, thickness=3, size=14).encode(x="mid:Q")
    fixed = base.transform_filter("datum.low == datum.high").mark_tick(color=MAIN, thickness=4, size=18)
    title = titled("Mending against buying better", f"all-in, in {currency}")
    return alt.LayerChart(layer=[spans, middles, fixed.encode(x="mid:Q")], title=title, height=alt.Step(22))


def _under_goals(lines: list[str]) -> list[str]:
    """The lines of a comparison with each goal as a line of its own above them.

    >>> _under_goals(["this car now", "to average: its repairs", "to average: this car mended"])
    ['this car now', 'to average', 'to average: its repairs', 'to average: this car mended']
    """
    return list(dict.fromkeys(name for line in lines for name in (line.partition(": ")[0], line)))


def comparison_caption(decision: MendOrBuy) -> str:
    """What ``comparison_chart`` shows."""
    now = "its market price" if decision.asking is None else "the price asked"
    return (
        f"For everything found, and for each higher band: this car now ({now}), its repairs, what it would "
        "be worth mended, and what a car that is there already sells for. Bars run from one time in ten to "
        "nine times in ten, the notch is the middle. Compare the first two together with the last."
    )
