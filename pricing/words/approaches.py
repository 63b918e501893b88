"""How far the comparable sales and the price model are apart, and by what, in a sentence or two."""

from pricing.decisions.approaches import Difference


def difference_sentence(found: Difference) -> str:
    """By how much the two differ, and what stands behind either.

    >>> told = Difference(1.1, 0.5, 12, 0.3, True, 0.75, -0.04, False, "1 to 5 sales")
    >>> difference_sentence(told).split(". ")[0]
    'The comparable sales come to 10% more than the price model, 50% of the way to the end of its range'
    """
    apart = 100.0 * (found.ratio - 1.0)
    side = "more" if apart >= 0 else "less"
    size = abs(found.share_of_range)
    where = f"{size:.0%} of the way to the end of its range" if size <= 1.0 else "outside its range"
    likeness = ", more than a close likeness bears" if found.unlike else ""
    why = [
        f"the {found.comparables} sales needed adjustments of {found.gross:.0%} of their price in "
        f"all{likeness}"
    ]
    if found.of_other_models >= 0.005:
        why.append(f"{found.of_other_models:.0%} of their weight is of other models")
    if abs(found.date_move) >= 0.005:
        why.append(
            f"the market's index moved them by {found.date_move:+.0%}, where the model has a trend of its own"
        )
    if not found.graded:
        why.append("nobody graded the car")
    why.append(f"the price model's evidence: {found.evidence}")
    return (
        f"The comparable sales come to {abs(apart):.0f}% {side} than the price model, {where}. "
        f"Why they may differ: {'; '.join(why)}."
    )
