"""What the command line shows of inspections, repair budgets and the choice between mending and buying."""

import polars as pl
from rich.console import Console
from rich.text import Text

from pricing.cli.printing.terminal import console, text_table
from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.checks import NOT_SEEN, PAPER_STATES
from pricing.condition.inspection import Inspection
from pricing.decisions.mending import MendOrBuy
from pricing.words.condition import (
    budget_sentence,
    goals_sentence,
    hidden_sentence,
    mending_sentence,
    score_sentence,
    structure_sentence,
)
from pricing.words.sentences import money_words

ROWS_SHOWN = 8


def show_inspection(inspection: Inspection) -> None:
    """Every check with what was found so far."""
    out = console()
    table = text_table("check", "area", "look at", "found")
    for row in inspection.frame().iter_rows(named=True):
        table.add_row(Text(row["check"]), row["area"], Text(row["title"]), row["state"])
    out.print(table)
    seen = sum(inspection.state(check.id) != NOT_SEEN for check in inspection.sheet.checks)
    out.print(f"{seen} of {len(inspection.sheet.checks)} checks seen")


def show_result(result: InspectionResult) -> None:
    """A score as a person reads it, the cautions last."""
    out = console()
    out.print(Text(score_sentence(result)))
    out.print(Text(structure_sentence(result)))
    shares = ", ".join(f"{band} {share:.0%}" for band, share in result.band_shares.items())
    out.print(Text(f"Chance of each band: {shares}."))
    out.print(Text(result.originality))
    for heading, frame in (
        ("What holds it there (points each would give back)", result.holding),
        ("What would lift it to the next band, in order", result.lifting),
        ("What to look at next (points between best and worst)", result.look_next),
    ):
        _print_points(out, heading, frame)
    for row in result.papers.iter_rows(named=True):
        out.print(
            Text(
                f"To settle: {row['title']}: {PAPER_STATES.get(row['state'], row['state'])}. "
                f"{row['note']}".strip()
            )
        )
    out.print()
    for caution in result.cautions:
        out.print(Text(caution, style="italic"))


def show_budget(budget: RepairBudget) -> None:
    """A repair budget, its areas and the items that matter most."""
    out = console()
    out.print(Text(budget_sentence(budget)))
    out.print(Text(hidden_sentence(budget)))
    areas = text_table("area", "P10", "P50", "P80")
    for row in budget.areas.iter_rows(named=True):
        areas.add_row(
            row["area"], *(money_words(row[level], budget.currency) for level in ("p10", "p50", "p80"))
        )
    out.print(areas)
    items = text_table("item", "job", "because of", "chance", "where it comes", "expected")
    for row in budget.top().iter_rows(named=True):
        costs = (money_words(row[name], budget.currency) for name in ("when", "expected"))
        items.add_row(Text(row["title"]), row["job"], Text(row["reason"]), f"{row['chance']:.0%}", *costs)
    out.print(items)
    if budget.without_job:
        out.print(Text(f"Not in the total, no job leads from: {', '.join(budget.without_job)}"))
    out.print(Text(budget.notice, style="italic"))


def show_mending(decision: MendOrBuy) -> None:
    """Mend or buy better, a goal a line, the cautions last."""
    out = console()
    out.print(Text(goals_sentence(decision)))
    table = text_table("goal", "budget", "worth then", "car already there", "mending cheaper", "loses money")
    for row in decision.goals.iter_rows(named=True):
        ranges = (
            " to ".join(money_words(row[f"{name}_{end}"], decision.currency) for end in ("low", "high"))
            for name in ("budget", "price_then", "better_car")
        )
        table.add_row(row["goal"], *ranges, f"{row['chance_cheaper']:.0%}", f"{row['loses']:.0%}")
    out.print(table)
    for row in decision.goals.iter_rows(named=True):
        out.print(Text(mending_sentence(row, decision)))
    for caution in (decision.notice, *decision.cautions):
        out.print(Text(caution, style="italic"))


def _print_points(out: Console, heading: str, frame: pl.DataFrame) -> None:
    if frame.is_empty():
        return
    out.print(Text(heading, style="bold"))
    table = text_table("check", "look at", "found", "points")
    for row in frame.head(ROWS_SHOWN).iter_rows(named=True):
        table.add_row(Text(row["check"]), Text(row["title"]), row["state"], f"{row['points']:.1f}")
    out.print(table)
