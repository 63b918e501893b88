"""What the command line shows of inspections, repair budgets and the choice between mending and buying."""

from collections.abc import Callable
from typing import Any

from pricing.cli.printing.console import caution, print_table, say
from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.checks import NOT_SEEN, PAPER_STATES
from pricing.condition.inspection import Inspection
from pricing.decisions.mending import MendOrBuy
from pricing.words import condition as words
from pricing.words.sentences import money_words

ROWS_SHOWN = 8


def show_inspection(inspection: Inspection) -> None:
    """Every check with what was found so far."""
    columns = {"check": "{check}", "area": "{area}", "look at": "{title}", "found": "{state}"}
    print_table(columns, inspection.frame())
    seen = sum(inspection.state(check.id) != NOT_SEEN for check in inspection.sheet.checks)
    say(f"{seen} of {len(inspection.sheet.checks)} checks seen")


def show_result(result: InspectionResult) -> None:
    """A score as a person reads it, the cautions last."""
    shares = ", ".join(f"{band} {share:.0%}" for band, share in result.band_shares.items())
    say(
        words.score_sentence(result), words.structure_sentence(result), f"Chance of each band: {shares}.",
        result.originality,
    )  # fmt: skip
    for heading, frame in (
        ("What holds it there (points each would give back)", result.holding),
        ("What would lift it to the next band, in order", result.lifting),
        ("What to look at next (points between best and worst)", result.look_next),
    ):
        if not frame.is_empty():
            say(heading, style="bold")
            columns = {"check": "{check}", "look at": "{title}", "found": "{state}", "points": "{points:.1f}"}
            print_table(columns, frame.head(ROWS_SHOWN))
    for row in result.papers.iter_rows(named=True):
        state = PAPER_STATES.get(row["state"], row["state"])
        say(f"To settle: {row['title']}: {state}. {row['note']}".strip())
    say("")
    caution(*result.cautions)


def show_budget(budget: RepairBudget) -> None:
    """A repair budget, its areas and the items that matter most."""

    def money(name: str) -> Callable[[dict[str, float]], str]:
        return lambda row: money_words(row[name], budget.currency)

    say(words.budget_sentence(budget), words.hidden_sentence(budget))
    levels = {"P10": money("p10"), "P50": money("p50"), "P80": money("p80")}
    print_table({"area": "{area}", **levels}, budget.areas)
    columns: dict[str, Any] = {
        "item": "{title}", "job": "{job}", "because of": "{reason}", "chance": "{chance:.0%}",
        "where it comes": money("when"), "expected": money("expected"),
    }  # fmt: skip
    print_table(columns, budget.top())
    if budget.without_job:
        say(f"Not in the total, no job leads from: {', '.join(budget.without_job)}")
    caution(budget.notice)


def show_mending(decision: MendOrBuy) -> None:
    """Mend or buy better, a goal a line, the cautions last."""

    def span(name: str) -> Callable[[dict[str, float]], str]:
        ends = (f"{name}_low", f"{name}_high")
        return lambda row: " to ".join(money_words(row[end], decision.currency) for end in ends)

    say(words.goals_sentence(decision))
    columns: dict[str, Any] = {
        "goal": "{goal}", "budget": span("budget"), "worth then": span("price_then"),
        "car already there": span("better_car"), "mending cheaper": "{chance_cheaper:.0%}",
        "loses money": "{loses:.0%}",
    }  # fmt: skip
    print_table(columns, decision.goals)
    say(*(words.mending_sentence(row, decision) for row in decision.goals.iter_rows(named=True)))
    caution(decision.notice, *decision.cautions)
