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


def difference_sentence(found: Difference, words: LocaleWords = PLAIN) -> str:
    """By how much the two differ, and what stands behind either.

    >>> told = Difference(1.1, 0.5, 12, 0.3, True, 0.75, -0.04, False, "1 to 5 sales")
    >>> difference_sentence(told).split(". ")[0]
    'The comparable sales come to 10% more than the price model, 50% of the way to the end of its range'
    """
    more, size = found.ratio >= 1.0, abs(found.share_of_range)
    apart = words.say(
        _APART[more, size <= 1.0], share=words.share(abs(found.ratio - 1.0)), way=words.share(size)
    )
    gross = words.share(found.gross)
    why = [
        words.many(
            "the {number} sale needed adjustments of {gross} of its price in all, more than a close likeness "
            "bears",
            "the {number} sales needed adjustments of {gross} of their price in all, more than a close "
            "likeness bears",
            found.comparables, gross=gross,
        )
        if found.unlike
        else words.many(
            "the {number} sale needed adjustments of {gross} of its price in all",
            "the {number} sales needed adjustments of {gross} of their price in all",
            found.comparables, gross=gross,
        )
    ]  # fmt: skip
    if found.of_other_models >= 0.005:
        why.append(
            words.say("{share} of their weight is of other models", share=words.share(found.of_other_models))
        )
    if abs(found.date_move) >= 0.005:
        why.append(
            words.say(
                "the market's index moved them by {change}, where the model has a trend of its own",
                change=words.per_cent(100 * found.date_move, 0),
            )
        )
    if not found.graded:
        why.append(words.say("nobody graded the car"))
    why.append(words.say("the price model's evidence: {depth}", depth=words.word(found.evidence)))
    return " ".join([apart, words.say("Why they may differ: {reasons}.", reasons="; ".join(why))])
