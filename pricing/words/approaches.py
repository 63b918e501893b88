"""How far the comparable sales and the price model are apart, and by what, in a sentence or two."""

from typing import Final

from pricing.decisions.approaches import Difference
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted

_APART: Final = {
    (True, True): noted(
        "The comparable sales come to {share} more than the price model, {way} of the way to the end of its "
        "range."
    ),
    (True, False): noted(
        "The comparable sales come to {share} more than the price model, outside its range."
    ),
    (False, True): noted(
        "The comparable sales come to {share} less than the price model, {way} of the way to the end of its "
        "range."
    ),
    (False, False): noted(
        "The comparable sales come to {share} less than the price model, outside its range."
    ),
}
"""By whether they come to more, and whether within the model's range."""


def difference_sentence(difference: Difference, words: LocaleWords = PLAIN) -> str:
    """By how much the two differ, and what stands behind either.

    >>> apart = Difference(1.1, 0.5, 12, 0.3, True, 0.75, -0.04, False, "1 to 5 sales")
    >>> difference_sentence(apart).split(". ")[0]
    'The comparable sales come to 10% more than the price model, 50% of the way to the end of its range'
    """
    size, share = abs(difference.share_of_range), words.share(abs(difference.ratio - 1.0))
    apart = words.say(_APART[difference.ratio >= 1.0, size <= 1.0], share=share, way=words.share(size))
    gross, sales = words.share(difference.gross), difference.comparables
    why = [
        words.many(
            "the {number} sale needed adjustments of {gross} of its price in all, more than a close likeness "
            "bears",
            "the {number} sales needed adjustments of {gross} of their price in all, more than a close "
            "likeness bears",
            sales, gross=gross,
        )
        if difference.unlike
        else words.many(
            "the {number} sale needed adjustments of {gross} of its price in all",
            "the {number} sales needed adjustments of {gross} of their price in all",
            sales, gross=gross,
        )
    ]  # fmt: skip
    if difference.of_other_models >= 0.005:
        other = words.share(difference.of_other_models)
        why.append(words.say("{share} of their weight is of other models", share=other))
    if abs(difference.date_move) >= 0.005:
        change = words.per_cent(100 * difference.date_move, 0)
        why.append(
            words.say(
                "the market's index moved them by {change}, where the model has a trend of its own",
                change=change,
            )
        )
    if not difference.graded:
        why.append(words.say("nobody graded the car"))
    why.append(words.say("the price model's evidence: {depth}", depth=words.word(difference.evidence)))
    reasons = words.say("Why they may differ: {reasons}.", reasons="; ".join(why))
    return f"{apart} {reasons}"
