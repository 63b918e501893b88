"""Charts of a repair budget and of mending against buying better: facts in, ``alt.Chart`` out."""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, MAIN, PALE, PAPER, QUIET
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


def budget_chart(budget: RepairBudget) -> alt.LayerChart:
    """What each area takes: from one time in ten to four times in five, the middle marked."""
    areas = budget.areas.sort("expected", descending=True)
    base = alt.Chart(areas)
    y = alt.Y("area:N", sort=areas["area"].to_list(), title=None, axis=alt.Axis(labelLimit=150))
    tooltip = [
        alt.Tooltip("area:N"),
        *(
            alt.Tooltip(f"{name}:Q", title=f"{words} ({budget.currency})", format=",.0f")
            for name, words in (
                ("p10", "one time in ten below"),
                ("p50", "as likely as not below"),
                ("p80", "four times in five below"),
                ("expected", "expected"),
            )
        ),
    ]
    spans = base.mark_bar(height=14, cornerRadius=2, color=MAIN).encode(
        y=y,
        x=alt.X(
            "p10:Q",
            title=f"repairs ({budget.currency}, all taxes in)",
            axis=alt.Axis(format=",.0f", tickCount=5),
        ),
        x2=alt.X2("p80:Q"),
        tooltip=tooltip,
    )
    middles = base.mark_tick(color=PAPER, thickness=3, size=14).encode(y=y, x=alt.X("p50:Q"), tooltip=tooltip)
    ends = base.mark_point(shape="diamond", filled=True, size=40, color=ASKED, opacity=1).encode(
        y=y, x=alt.X("expected:Q"), tooltip=tooltip
    )
    title = alt.TitleParams(
        "Repair budget by area",
        subtitle=f"rates of {budget.country}, prices of {day_words(budget.on)}, in {budget.currency}",
        subtitleColor=QUIET,
        anchor="start",
        fontSize=15,
    )
    return alt.LayerChart(layer=[spans, middles, ends], title=title, height=alt.Step(26))


def budget_caption(budget: RepairBudget) -> str:
    """What ``budget_chart`` shows."""
    return (
        "Each bar runs from what an area's repairs stay below one time in ten to what they stay below four "
        "times "
        "in five; the notch is the middle, the diamond what is expected on average. Areas do not add up "
        "bar by "
        "bar: they are seldom all dear at once."
    )


def comparison_chart(decision: MendOrBuy) -> alt.LayerChart:
    """This car now, and for every goal its repairs, this car mended, and a car already there."""
    long = pl.concat(
        decision.goals.select(
            line=pl.lit(PARTS[name])
            if name == "price_now"
            else pl.format(
                "{}: {}",
                pl.when(pl.col("goal") == EVERYTHING)
                .then(pl.lit(EVERYTHING))
                .otherwise(pl.format("to {}", "goal")),
                pl.lit(words),
            ),
            part=pl.lit(words),
            low=pl.col(f"{name}_low"),
            mid=pl.col(f"{name}_mid"),
            high=pl.col(f"{name}_high"),
            place=pl.int_range(pl.len()) * (name != "price_now"),
        )
        for name, words in PARTS.items()
    )
    long = long.unique("line", keep="first", maintain_order=True).sort("place", maintain_order=True)
    currency = decision.currency
    base = alt.Chart(long)
    y = alt.Y(
        "line:N",
        sort=long["line"].to_list(),
        title=None,
        scale=alt.Scale(domain=_under_goals(long["line"].to_list())),
        axis=alt.Axis(
            labelLimit=170,
            labelExpr="split(datum.value, ': ')[1] || datum.value",
            labelFontWeight=alt.when("indexof(datum.value, ': ') < 0")
            .then(alt.value(700))
            .otherwise(alt.value(400)),
            ticks=False,
        ),
    )
    tooltip = [
        alt.Tooltip("line:N", title="what"),
        *(
            alt.Tooltip(f"{end}:Q", title=f"{end} ({currency})", format=",.0f")
            for end in ("low", "mid", "high")
        ),
    ]
    spans = base.mark_bar(height=14, cornerRadius=2).encode(
        y=y,
        x=alt.X(
            "low:Q",
            title=f"price or cost ({currency}, all-in)",
            axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
        ),
        x2=alt.X2("high:Q"),
        color=alt.Color(
            "part:N",
            legend=None,
            scale=alt.Scale(domain=list(PARTS.values()), range=[MAIN, ASKED, MAIN, PALE]),
        ),
        tooltip=tooltip,
    )
    middles = base.mark_tick(color=PAPER, thickness=3, size=14).encode(y=y, x=alt.X("mid:Q"), tooltip=tooltip)
    fixed = base.transform_filter("datum.low == datum.high").mark_tick(color=MAIN, thickness=4, size=18)
    title = alt.TitleParams(
        "Mending against buying better",
        subtitle=f"all-in, in {currency}",
        subtitleColor=QUIET,
        anchor="start",
        fontSize=15,
    )
    layers: list[alt.Chart] = [spans, middles, fixed.encode(y=y, x=alt.X("mid:Q"), tooltip=tooltip)]
    return alt.LayerChart(layer=layers, title=title, height=alt.Step(22))


def _under_goals(lines: list[str]) -> list[str]:
    """The lines of a comparison with each goal as a line of its own above them.

    >>> _under_goals(["this car now", "to average: its repairs", "to average: this car mended"])
    ['this car now', 'to average', 'to average: its repairs', 'to average: this car mended']
    """
    goals = [line.partition(": ")[0] for line in lines]
    return list(dict.fromkeys(name for pair in zip(goals, lines, strict=True) for name in pair))


def comparison_caption(decision: MendOrBuy) -> str:
    """What ``comparison_chart`` shows."""
    now = "its market price" if decision.asking is None else "the price asked"
    return (
        f"For everything found, and for each higher band: this car now ({now}), its repairs, what it would "
        "be worth mended, and what a car that is there already sells for. Bars run from one time in ten to "
        "nine times in ten, the notch is the middle. Compare the first two together with the last."
    )
