"""What an inspection, a repair budget and the comparison of mending with buying say, in sentences."""

from typing import Any

from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.unseen_worst import UnseenWorst
from pricing.decisions.mending import EVERYTHING, LOOK_FIRST, MendOrBuy
from pricing.words.reader import day_words
from pricing.words.sentences import cases_words, money_words


def score_sentence(result: InspectionResult) -> str:
    """The score, its band and its spread, and the same were what was not seen the worst of the car.

    >>> from pricing.condition.assessment import assess
    >>> from pricing.condition.inspection import Finding, Inspection
    >>> walk = Inspection.start("monocoque", {})
    >>> score_sentence(assess(walk.fill(Finding(check.id, "worn") for check in walk.sheet.checks)))
    'Condition score 50 of 100, average; eight times in ten between 47 and 54. Seen: 100% of what counts.'
    """
    low, _, high = result.quantiles()
    said = (
        f"Condition score {result.score:.0f} of 100, {result.band}; eight times in ten between {low:.0f} and "
        f"{high:.0f}. Seen: {result.inspection.seen_share:.0%} of what counts."
    )
    worst = result.if_unseen_worst
    return said if worst is None else f"{said} {unseen_worst_sentence(worst)}"


def unseen_worst_sentence(worst: UnseenWorst) -> str:
    """The score were what was not seen the worst of the car.

    >>> unseen_worst_sentence(UnseenWorst(0.33, 20.2, 30.4, 41.0, "solid restorable"))
    'Were what was not seen no chance sample but the worst of the car: 20 to 41, solid restorable.'
    """
    return (
        f"Were what was not seen no chance sample but the worst of the car: {worst.low:.0f} to "
        f"{worst.high:.0f}, {worst.band}."
    )


def structure_sentence(result: InspectionResult) -> str:
    """What the structure allows."""
    return f"The structure allows a score of {result.structure_cap:.0f} at most."


def budget_sentence(budget: RepairBudget) -> str:
    """The repair budget as a distribution."""
    low, middle, high = (
        money_words(float(money), budget.currency) for money in (budget.p10, budget.p50, budget.p80)
    )
    return (
        f"Repairs: {middle} as likely as not; one time in ten below {low}, four times in five below {high}. "
        f"All taxes in, rates of {budget.country}, prices of {day_words(budget.on)}."
    )


def hidden_sentence(budget: RepairBudget) -> str:
    """How much of the expected budget is for what was not seen."""
    return (
        f"Of {money_words(float(budget.expected), budget.currency)} expected, "
        f"{money_words(float(budget.hidden), budget.currency)} is for what was not seen."
    )


def goal_words(goal: str, decision: MendOrBuy) -> str:
    """A goal of the comparison: what is put right, or which band is reached.

    >>> goal_words("average", None)
    'To average'
    """
    return f"Everything that is at least {decision.least!r}" if goal == EVERYTHING else f"To {goal}"


def goals_sentence(decision: MendOrBuy) -> str:
    """What tells the budgets of the goals apart."""
    everything, *bands = decision.goals.iter_rows(named=True)
    said = (
        f"To put right everything that is at least {decision.least!r} takes "
        f"{money_words(everything['budget_mid'], decision.currency)} in the middle."
    )
    if bands:
        cheapest = bands[0]
        said += (
            f" The cheapest way to the middle of {cheapest['goal']} takes "
            f"{money_words(cheapest['budget_mid'], decision.currency)} and leaves the rest as it is."
        )
    return said


def mending_sentence(row: dict[str, Any], decision: MendOrBuy) -> str:
    """One goal of the comparison: ``row`` of ``decision.goals``."""
    currency = decision.currency
    paid = (
        "at its market price"
        if decision.asking is None
        else f"at {money_words(float(decision.asking), currency)}"
    )
    what = goal_words(row["goal"], decision)
    if row["answer"] == LOOK_FIRST:
        return (
            f"{what}: {LOOK_FIRST}. Only {decision.seen:.0%} of what counts was seen, and a car of which so "
            "little was seen may be any car."
        )
    difference = row["expected_difference"]
    costs = f"{money_words(abs(difference), currency)} {'more' if difference > 0 else 'less'}"
    sentence = (
        f"{what}: {row['answer']}. Bought {paid} and mended it ends cheaper than a car already "
        f"there in {cases_words(row['chance_cheaper'])}, on average {costs}. "
    )
    if row["highest_price"] <= 0:
        return sentence + (
            f"Even as a gift, mending costs more than the better car in {cases_words(row['as_a_gift'])}."
        )
    return sentence + (
        f"The odds are even at {money_words(row['highest_price'], currency)} for this car; above "
        f"{money_words(row['leave_it_above'], currency)} leave it."
    )
