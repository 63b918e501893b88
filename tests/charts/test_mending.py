"""Charts of a repair budget and of mending hold the numbers of their facts, name their axes with units, and
can be drawn."""

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import altair as alt
import pytest
import vl_convert

from pricing.charts.mending import (
    PARTS,
    budget_caption,
    budget_chart,
    comparison_caption,
    comparison_chart,
)
from pricing.condition.budget import RepairBudget, repair_budget
from pricing.decisions.mending import EVERYTHING, MendOrBuy
from tests.decisions.test_mending import costs_of, decided, tired

BUDGET = repair_budget(costs_of(tired()))
DECISION = decided(tired(), asking=Decimal(4000))
BOTH: list[tuple[Callable[[Any], alt.LayerChart], Callable[[Any], str], RepairBudget | MendOrBuy]] = [
    (budget_chart, budget_caption, BUDGET),
    (comparison_chart, comparison_caption, DECISION),
]


def drawn(chart: alt.LayerChart) -> dict[str, Any]:
    return dict(json.loads(chart.to_json()))


def rows(chart: alt.LayerChart) -> list[dict[str, Any]]:
    (found,) = drawn(chart)["datasets"].values()
    return list(found)


@pytest.mark.parametrize(("chart", "caption", "facts"), BOTH, ids=["budget", "comparison"])
def test_a_chart_has_title_currency_unit_and_sentence_and_can_be_drawn(
    chart: Callable[[Any], alt.LayerChart], caption: Callable[[Any], str], facts: Any
) -> None:
    made = drawn(chart(facts))
    assert made["title"]["text"] and facts.currency in made["title"]["subtitle"]
    assert facts.currency in made["layer"][0]["encoding"]["x"]["title"]
    assert caption(facts).endswith(".")
    assert "<svg" in vl_convert.vegalite_to_svg(chart(facts).to_json())


def test_the_budget_has_a_bar_an_area_the_dearest_first() -> None:
    told = rows(budget_chart(BUDGET))
    assert {row["area"]: row["expected"] for row in told} == dict(
        BUDGET.areas.select("area", "expected").iter_rows()
    )
    assert [row["expected"] for row in told] == sorted((row["expected"] for row in told), reverse=True)
    assert all(row["p10"] <= row["p50"] <= row["p80"] for row in told)


def test_the_comparison_has_this_car_once_and_three_lines_a_goal() -> None:
    told = {row["line"]: row for row in rows(comparison_chart(DECISION))}
    assert len(told) == 1 + 3 * DECISION.goals.height
    now = told[PARTS["price_now"]]
    assert now["low"] == now["mid"] == now["high"] == 4000  # what is asked is known
    for band in DECISION.goals.iter_rows(named=True):
        for name, words in PARTS.items():
            if name != "price_now":
                line = told[f"{name_of(band['goal'])}: {words}"]
                assert [line[end] for end in ("low", "mid", "high")] == [
                    band[f"{name}_{end}"] for end in ("low", "mid", "high")
                ]


def name_of(goal: str) -> str:
    return goal if goal == EVERYTHING else f"to {goal}"


def test_the_caption_says_what_this_car_now_stands_for() -> None:
    assert "this car now (the price asked)" in comparison_caption(DECISION)
    assert "this car now (its market price)" in comparison_caption(decided(tired()))
