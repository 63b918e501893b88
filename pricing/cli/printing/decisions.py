"""What the command line shows of inspections and repairs, and to a buyer and a seller."""

from collections.abc import Callable
from typing import Any

from pricing.cli.printing.console import caution, print_table, say
from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.checks import NOT_SEEN, PAPER_STATES
from pricing.condition.inspection import Inspection
from pricing.decisions.buy.buying import Buying
from pricing.decisions.mending import MendOrBuy
from pricing.decisions.sell.selling import Selling
from pricing.words import condition as words
from pricing.words.buying import LINE_WORDS, basis_note, buying_sentences, cents_words
from pricing.words.condition import goals_sentence, mending_sentence
from pricing.words.selling import selling_sentences
from pricing.words.sentences import car_words, exact_words, money_words

OTHERS_SHOWN = 8


def show_buying(facts: Buying) -> None:
    """The facts for a buyer as tables and sentences, the cautions last."""

    def cents(name: str, unknown: str = "") -> Callable[[dict[str, Any]], str]:
        return lambda row: unknown if row[name] is None else cents_words(row[name], facts.currency)

    def amount(row: dict[str, Any]) -> str:
        if row["low"] == row["high"]:
            return cents("mid")(row)
        return " to ".join(money_words(row[end], facts.currency) for end in ("low", "high"))

    say(car_words(facts.valuation.car), style="bold")
    say(*buying_sentences(facts), basis_note(facts))
    columns: dict[str, Any] = {
        "until it stands ready": lambda row: LINE_WORDS[row["line"]],
        "amount": amount,
        "from": lambda row: row["source"] + ("" if row["counted"] else ", not counted against the limit"),
    }
    print_table(columns, facts.day_one, empty="")
    if facts.bids.height:
        columns = {
            "bid": cents("price"), "premium": cents("premium"), "all-in": cents("all_in"),
            "total": cents("total"), "left to the limit": cents("left"),
        }  # fmt: skip
        print_table(columns, facts.bids)
        columns = {"all-in": cents("all_in"), "highest hammer price": cents("price", "none")}
        print_table(columns, facts.bids_back)
    _print_others(facts)
    if facts.better is not None:
        goals = facts.better.goals.iter_rows(named=True)
        say(goals_sentence(facts.better), *(mending_sentence(row, facts.better) for row in goals))
    say(*(f"? {question}" for question in facts.questions), facts.rates)
    caution(*facts.cautions)


def show_selling(facts: Selling) -> None:
    """The facts for a seller as tables and sentences, the cautions last."""

    def money(name: str, unknown: str = "") -> Callable[[dict[str, Any]], str]:
        return lambda row: unknown if row[name] is None else money_words(row[name], facts.currency)

    def asking(row: dict[str, Any]) -> str:
        return exact_words(row["asking"], facts.currency)

    def chance(name: str) -> Callable[[dict[str, Any]], str]:
        return lambda row: "unknown" if row[name] is None else f"{row[name]:.0%}"

    say(car_words(facts.valuation.car), style="bold")
    say(*selling_sentences(facts))
    columns: dict[str, Any] = {
        "reserve": lambda row: exact_words(row["reserve"], facts.currency) if row["reserve"] else "none",
        "chance of a sale": "{chance:.0%}",
        "net if sold": money("net"),
        "left on average": money("left"),
    }
    if facts.auction.evidence.tells:
        print_table(columns, facts.auction.reserves)
    for channel, plan in facts.asking.items():
        columns = {
            f"asked ({channel})": asking, "within 4 weeks": chance("within_4"), "8 weeks": chance("within_8"),
            "12 weeks": chance("within_12"), "left on average": money("left"),
        }  # fmt: skip
        print_table(columns, plan.prices)
        columns = {f"ladder ({channel})": asking, "from week": "{week}"}
        print_table({**columns, "sold before the next step": chance("sold_by_then")}, plan.ladder)
    columns = {
        "what if": "{item}", "cost": money("cost_mid", "not said"), "a sale then leaves": money("net_after"),
        "more on average": "{gain:+,.0f}", "pays": "{pays:.0%}",
    }  # fmt: skip
    print_table(columns, facts.first, empty="")
    caution(*facts.cautions)


def _print_others(facts: Buying) -> None:
    def money(name: str) -> Callable[[dict[str, Any]], str]:
        return lambda row: money_words(row[name], facts.valuation.currency)

    def car(row: dict[str, Any]) -> str:
        return " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)

    columns: dict[str, Any] = {
        "about": "{year}", "condition band": "{condition_band}", "low": money("low"), "mid": money("mid"),
        "high": money("high"), "sell for it": "{within:.0%}", "evidence": "{evidence}",
    }  # fmt: skip
    for (name,), others in facts.alternatives.group_by("at", maintain_order=True):
        print_table({f"for {name}": car, **columns}, others.head(OTHERS_SHOWN))


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
