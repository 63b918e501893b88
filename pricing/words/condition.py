"""What condition bands, inspections, repair budgets and mending against buying say, in sentences."""

from typing import Any, Final

from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.score import UnseenWorst
from pricing.decisions.mending import EVERYTHING, LOOK_FIRST, MendOrBuy
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.sentences import cases_words, money_words

BAND_LOOKS: Final = dict(
    zip(
        CONDITION_BANDS,
        (
            "Rust through the structure, paint gone, trim missing, does not run.",
            "Structure can be saved and all is there; paint and trim are finished, the engine turns.",
            "Structure sound, paint and trim show their age, drives well with small faults.",
            "Structure like new, paint even and deep, trim complete, wants nothing mechanical.",
        ),
        strict=True,
    )
)
"""What a car in each condition band looks like for a person who stands in front of one: structure, paint,
trim and mechanics, the lowest first (common practice, no source; what the catalogue of checks asks for)."""


def score_sentence(result: InspectionResult, words: LocaleWords = PLAIN) -> str:
    """The score, its band and its spread, and the same were what was not seen the worst of the car.

    >>> from pricing.condition.assessment import assess
    >>> from pricing.condition.inspection import Finding, Inspection
    >>> walk = Inspection.start("monocoque", {})
    >>> score_sentence(assess(walk.fill(Finding(check.id, "worn") for check in walk.sheet.checks)))
    'Condition score 50 of 100, average; eight times in ten between 47 and 54. Seen: 100% of what counts.'
    """
    low, _, high = (words.number(score) for score in result.quantiles())
    score = words.say(
        "Condition score {score} of 100, {band}; eight times in ten between {low} and {high}. Seen: {share} "
        "of what counts.",
        score=words.number(result.score), band=words.word(result.band), low=low, high=high,
        share=words.share(result.inspection.seen_share),
    )  # fmt: skip
    worst = result.if_unseen_worst
    return score if worst is None else f"{score} {unseen_worst_sentence(worst, words)}"


def unseen_worst_sentence(worst: UnseenWorst, words: LocaleWords = PLAIN) -> str:
    """The score were what was not seen the worst of the car.

    >>> unseen_worst_sentence(UnseenWorst(0.33, 20.2, 30.4, 41.0, "solid restorable"))
    'If what was not seen is the worst of the car, the score is 20 to 41, solid restorable.'
    """
    return words.say(
        "If what was not seen is the worst of the car, the score is {low} to {high}, {band}.",
        low=words.number(worst.low), high=words.number(worst.high), band=words.word(worst.band),
    )  # fmt: skip


def structure_sentence(result: InspectionResult, words: LocaleWords = PLAIN) -> str:
    """What the structure allows."""
    cap = words.number(result.structure_cap)
    return words.say("The structure allows a score of {score} at most.", score=cap)


def budget_sentence(budget: RepairBudget, words: LocaleWords = PLAIN) -> str:
    """The repair budget as a distribution."""
    low, middle, high = (words.about(end, budget.currency) for end in (budget.p10, budget.p50, budget.p80))
    return words.say(
        "Repairs: {middle} as likely as not; one time in ten below {low}, four times in five below {high}. "
        "All taxes in, rates of {country}, prices of {day}.",
        middle=middle, low=low, high=high, country=budget.country, day=words.day(budget.on),
    )  # fmt: skip


def hidden_sentence(budget: RepairBudget, words: LocaleWords = PLAIN) -> str:
    """How much of the expected budget is for what was not seen."""
    expected, hidden = (words.about(cost, budget.currency) for cost in (budget.expected, budget.hidden))
    return words.say(
        "Of {expected} expected, {hidden} is for what was not seen.", expected=expected, hidden=hidden
    )


def goal_words(goal: str, decision: MendOrBuy, words: LocaleWords = PLAIN) -> str:
    """A goal of the comparison: what is put right, or which band is reached.

    >>> goal_words("average", None)
    'To average'
    """
    if goal == EVERYTHING:
        return words.say("Everything that is at least '{least}'", least=words.word(decision.least))
    return words.say("To {band}", band=words.word(goal))


def goals_sentence(decision: MendOrBuy) -> str:
    """What tells the budgets of the goals apart."""
    everything, *bands = decision.goals.iter_rows(named=True)
    sentence = (
        f"To put right everything that is at least {decision.least!r} takes "
        f"{money_words(everything['budget_mid'], decision.currency)} in the middle."
    )
    if not bands:
        return sentence
    return (
        f"{sentence} The cheapest way to the middle of {bands[0]['goal']} takes "
        f"{money_words(bands[0]['budget_mid'], decision.currency)} and leaves the rest as it is."
    )


def mending_sentence(row: dict[str, Any], decision: MendOrBuy, words: LocaleWords = PLAIN) -> str:
    """One goal of the comparison: ``row`` of ``decision.goals``."""
    currency, goal = decision.currency, goal_words(row["goal"], decision, words)
    if row["answer"] == LOOK_FIRST:
        return words.say(
            "{goal}: {answer}. Only {share} of what counts was seen, and a car of which so little was seen "
            "may be any car.",
            goal=goal, answer=words.word(LOOK_FIRST), share=words.share(decision.seen),
        )  # fmt: skip
    difference = row["expected_difference"]
    first = words.say(
        _MENDED[decision.asking is None, difference > 0],
        goal=goal,
        answer=words.word(row["answer"]),
        cases=cases_words(row["chance_cheaper"], words),
        costs=words.about(abs(difference), currency),
        asked="" if decision.asking is None else words.about(decision.asking, currency),
    )
    if row["highest_price"] <= 0:
        gift = noted("Even as a gift, mending costs more than the better car in {cases}.")
        return " ".join((first, words.say(gift, cases=cases_words(row["as_a_gift"], words))))
    price, limit = (words.about(row[name], currency) for name in ("highest_price", "leave_it_above"))
    even = noted("The odds are even at {price} for this car; above {limit} leave it.")
    return " ".join((first, words.say(even, price=price, limit=limit)))


_MENDED: Final = {
    (True, True): noted(
        "{goal}: {answer}. Bought at its market price and mended it ends cheaper than a car already there in "
        "{cases}, on average {costs} more."
    ),
    (True, False): noted(
        "{goal}: {answer}. Bought at its market price and mended it ends cheaper than a car already there in "
        "{cases}, on average {costs} less."
    ),
    (False, True): noted(
        "{goal}: {answer}. Bought at {asked} and mended it ends cheaper than a car already there in "
        "{cases}, on average {costs} more."
    ),
    (False, False): noted(
        "{goal}: {answer}. Bought at {asked} and mended it ends cheaper than a car already there in "
        "{cases}, on average {costs} less."
    ),
}
"""By whether no price is asked, and whether it costs more on average."""
