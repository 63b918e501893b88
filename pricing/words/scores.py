"""What a backtest says, in sentences."""

from collections.abc import Mapping
from typing import Any

from pricing.model.accuracy.saved_scores import SavedScores
from pricing.words.language.reader import day_words, number_words


def coverage_sentence(scores: Mapping[str, Any]) -> str:
    """How often ranges of 80 % held the price paid: ``scores`` is a row of ``Backtest.scores``.

    >>> row = {"sales": 500, "coverage_80": 0.79, "coverage_low_80": 0.75, "coverage_high_80": 0.82,
    ...        "width_80": 2.4, "withheld_80": 3}
    >>> coverage_sentence(row)
    'Of 500 later sales, 79% lay inside their 80% range (75 to 82%, given so many sales); half of the ranges had a high price less than 2.4 times the low one. For 3 no range was given.'
    """  # noqa: E501 - what it prints
    if scores["coverage_80"] is None:
        return f"For none of {number_words(scores['sales'])} later sales could a range be given."
    low, high = (100 * scores[f"coverage_{end}_80"] for end in ("low", "high"))
    withheld = scores["withheld_80"]
    refused = f" For {number_words(withheld)} no range was given." if withheld else ""
    return (
        f"Of {number_words(scores['sales'])} later sales, {100 * scores['coverage_80']:.0f}% lay inside "
        f"their 80% range ({low:.0f} to {high:.0f}%, given so many sales); half of the ranges "
        f"had a high price less than {scores['width_80']:.1f} times the low one.{refused}"
    )


def ratio_sentence(scores: Mapping[str, Any]) -> str:
    """How mid prices stood to prices paid.

    >>> ratio_sentence({"sales": 9, "median_ratio": 1.02, "cod": 23.4})
    'The middle of mid price over price paid is 1.02; on average a ratio is 23% away from it.'
    """
    if scores["median_ratio"] is None or scores["cod"] is None:
        return f"{number_words(scores['sales'])} later sales are too few for a ratio study."
    return (
        f"The middle of mid price over price paid is {scores['median_ratio']:.2f}; on average a ratio is "
        f"{scores['cod']:.0f}% away from it."
    )


def kept_sentence(saved: SavedScores, currency: str) -> str:
    """What scores kept in a market are of (day, fit, currency), and whether they still stand."""
    when = f"Scored on {day_words(saved.at.date())} at {saved.at:%H:%M} UTC, when {saved.fit_id} was in force"
    stands = (
        "records or the fit have changed since; score anew to see what they do to these figures"
        if saved.outdated
        else "neither records nor the fit have changed since"
    )
    return f"{when}; {stands}. Prices are all-in, in {currency}, of the day of each sale."


def ahead_sentence(facts: Mapping[str, Any]) -> str:
    """How a fit's prices are carried past its last sale: ``facts`` are those of the fit.

    >>> ahead_sentence({"market_shift": {"trend": "damped", "season": True, "bias": 0.02, "variance": 0.0025,
    ...                                  "origins": 5}})
    'After the last sale the trend is carried on for about a year in all, with the season of the year and a further +2% in the first year, as its 5 trials on earlier days bear out; a year ahead the market itself may by then have moved by 5% either way, which widens the range.'
    """  # noqa: E501 - what it prints
    shift = facts["market_shift"]
    moved = f"{100 * shift['variance'] ** 0.5:.0f}% either way, which widens the range."
    if not shift["origins"]:
        return f"After the last sale prices are held level; a year ahead the market may have moved by {moved}"
    trend = {
        "held level": "prices are held level",
        "damped": "the trend is carried on for about a year in all",
        "full": "the trend is carried on",
    }[shift["trend"]]
    beside = ["the season of the year"] if shift["season"] else []
    if abs(shift["bias"]) >= 0.005:
        beside.append(f"a further {100 * shift['bias']:+.0f}% in the first year")
    return (
        f"After the last sale {trend}{', with ' if beside else ''}{' and '.join(beside)}, as "
        f"its {shift['origins']} trials on earlier days bear out; a year ahead the market itself may by then "
        f"have moved by {moved}"
    )
