"""What an inspection, a repair budget and the comparison of mending with buying say, in sentences."""

from typing import Any

from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.unseen_worst import UnseenWorst
from pricing.decisions.mending import EVERYTHING, LOOK_FIRST, MendOrBuy
from pricing.words.locale import PLAIN, LocaleWords
from pricing.words.sentences import cases_words, money_words


def score_sentence(result: InspectionResult, words: LocaleWords = PLAIN) -> str:
    """The score, its band and its spread, and the same were what was not seen the worst of the car.

    >>> from pricing.condition.assessment import assess
    >>> from pricing.condition.inspection import Finding, Inspection
    >>> walk = Inspection.start("monocoque", {})
    >>> score_sentence(assess(walk.fill(Finding(check.id, "worn") for check in walk.sheet.checks)))
    'Condition score 50 of 100, average; eight times in ten between 47 and 54. Seen: 100% of what counts.'
    """
    low, _, high = result.quantiles()
    said = words.say(
        "Condition score {score} of 100, {band}; eight times in ten between {low} and {high}. Seen: {share} "
        "of what counts.",
        score=words.number(result.score), band=words.word(result.band), low=words.number(low),
        high=words.number(high), share=words.share(result.inspection.seen_share),
    )  # fmt: skip
    worst = result.if_unseen_worst
    return said if worst is None else f"{said} {unseen_worst_sentence(worst, words)}"


def unseen_worst_sentence(worst: UnseenWorst, words: LocaleWords = PLAIN) -> str:
    """The score were what was not seen the worst of the car.

    >>> unseen_worst_sentence(UnseenWorst(0.33, 20.2, 30.4, 41.0, "solid restorable"))
    'Were what was not seen no chance sample but the worst of the car: 20 to 41, solid restorable.'
    """
    return words.say(
        "Were what was not seen no chance sample but the worst of the car: {low} to {high}, {band}.",
        low=words.number(worst.low), high=words.number(worst.high), band=words.word(worst.band),
    )  # fmt: skip


def structure_sentence(result: InspectionResult, words: LocaleWords = PLAIN) -> str:
    """What the structure allows."""
    return words.say(
        "The structure allows a score of {score} at most.", score=words.number(result.structure_cap)
    )


def budget_sentence(budget: RepairBudget, words: LocaleWords = PLAIN) -> str:
    """The repair budget as a distribution."""
    low, middle, high = (
        words.about(money, budget.currency) for money in (budget.p10, budget.p50, budget.p80)
    )
    return words.say(
        "Repairs: {middle} as likely as not; one time in ten below {low}, four times in five below {high}. "
        "All taxes in, rates of {country}, prices of {day}.",
        middle=middle, low=low, high=high, country=budget.country, day=words.day(budget.on),
    )  # fmt: skip


def hidden_sentence(budget: RepairBudget, words: LocaleWords = PLAIN) -> str:
    """How much of the expected budget is for what was not seen."""
    return words.say(
        "Of {expected} expected, {hidden} is for what was not seen.",
        expected=words.about(budget.expected, budget.currency),
        hidden=words.about(budget.hidden, budget.currency),
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
