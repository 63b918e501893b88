"""What price indices and comparable sales say, in sentences."""

from typing import Any

import polars as pl

from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.indices.index import PriceIndex
from pricing.words.reader import day_words, number_words
from pricing.words.sentences import exact_words, money_words


def reconciliation_sentences(found: Comparables) -> list[str]:
    """The reconciled value and how it came about, one thought a sentence."""
    table, currency = found.table, found.currency
    middle = money_words(found.mid, currency)
    rings = ", ".join(
        f"{size} of the {ring}" for ring, size in table["match_level"].value_counts(sort=True).rows()
    )
    span: Any = [f(table["event_date"]) for f in (pl.Series.min, pl.Series.max)]
    ends: Any = [f(table["adjusted_price"]) for f in (pl.Series.min, pl.Series.max)]
    heaviest = table.sort("weight", descending=True).row(0, named=True)
    sentences = [
        f"{table.height} comparable sales ({rings}), sold between {day_words(span[0])} and "
        f"{day_words(span[1])}, were brought to the subject at {day_words(found.as_of)}.",
        "Adjustments multiply, each on the price that the lines before it left: the sale's conditions and "
        "date first, then what differs between the cars.",
        f"The adjusted prices run from {exact_words(ends[0], currency)} to {exact_words(ends[1], currency)}; "
        f"half of their weight lies below {middle}. Weight is given for few and small adjustments, recent "
        f"sales and graded cars; the most, {heaviest['weight']:.0%}, has the sale of "
        f"{day_words(heaviest['event_date'])} at {exact_words(heaviest['price'], currency)}.",
        range_sentence(found),
        _bracket_sentence(found),
    ]
    flagged = table.filter(pl.col("flags").list.len() > 0)
    if flagged.height:
        sentences.append(
            f"{flagged.height} of them exceed a rule of thumb (10% a line, 15% net, 25% gross); together "
            f"they have {float(flagged['weight'].sum()):.0%} of the weight, for beyond 25% a sale counts "
            "for less with the square of the excess."
        )
    if found.as_of > found.date_line_ends:
        sentences.append(
            f"The index that moves prices through time ends at {day_words(found.date_line_ends)} and is held "
            "level after that."
        )
    return [*sentences, *_offer_sentences(found), *_choice_sentences(found)]


def range_sentence(found: Comparables) -> str:
    """What the range holds and how that is known, or why there is none."""
    if found.low is None or found.high is None:
        return f"No range can be given, only the middle: {found.reason}."
    ends = [money_words(amount, found.currency) for amount in (found.low, found.high)]
    said = (
        f"Of 100 sales of such a car, {round(100 * found.coverage)} should fall between {ends[0]} and "
        f"{ends[1]}: a single sale strays by {found.sale_spread:.0%}, and the middle is known to "
        f"{found.mid_error:.0%} (standard deviations)"
    )
    if not found.scores:
        return f"{said}."
    return (
        f"{said}. This is how far {number_words(found.scores)} past sales of its kind "
        f"({found.kind}) fell from what the others said of them."
    )


def comparables_caption(found: Comparables) -> str:
    """What ``market_charts.comparables_chart`` shows."""
    return (
        "Each line is a comparable sale, newest first: the ring is the price paid, the disc the same price "
        "brought "
        f"to this car and to {day_words(found.as_of)}, larger with weight. The shaded band runs from low "
        f"to high, "
        "the broken line is the mid value."
    )


def _bracket_sentence(found: Comparables) -> str:
    if found.bracketed:
        return "The subject is bracketed: some of the cars sold are worth more than it and some less."
    return (
        "The subject is not bracketed: every car sold is worth more, or every one less, so the value reaches "
        "beyond the evidence."
    )


def _offer_sentences(found: Comparables) -> list[str]:
    asking = found.offers.filter(pl.col("meaning") == "ceiling")
    if asking.is_empty():
        return []
    lowest = exact_words(asking["adjusted_price"].min(), found.currency)  # type: ignore[arg-type]
    return [
        f"{asking.height} like cars are or were advertised; an asking price is a ceiling, never a sale, and "
        f"has no weight. The lowest, adjusted to the subject, is {lowest}."
    ]


def _choice_sentences(found: Comparables) -> list[str]:
    words = {"add": "added", "drop": "dropped", "adjust": "adjusted by hand", "weigh": "weighed by hand"}
    return [
        f"Sale {choice.record_id} was {words[choice.action]}"
        + ("" if choice.line is None else f" ({choice.line} {choice.per_cent:+g}%)")
        + (f" (at {choice.per_cent:g}% of its weight)" if choice.action == "weigh" else "")
        + f": {choice.reason.rstrip('.')}."
        for choice in found.choices
    ]


def index_sentence(index: PriceIndex) -> str:
    """Where an index stands, how far it is known, and how it was made."""
    points = index.frame.drop_nulls("index")
    last = points.row(-1, named=True)
    rolled = "" if index.window is None else f", in a rolling window of {index.window}"
    gaps = index.frame.height - points.height
    reach = "no interval, as no sale is left over to tell one by"
    if last["low"] is not None:
        reach = f"{last['low']:.1f} to {last['high']:.1f} at {index.coverage:.0%}"
    missing = f" {gaps} of {index.frame.height} periods have no point: not enough sales." if gaps else ""
    return (
        f"{index.scope[0].upper()}{index.scope[1:]}: prices of like cars stood at {last['index']:.1f} in "
        f"{last['period']}, where {index.base} is 100 ({reach}); from "
        f"{number_words(int(points['sales'].sum()))} {_unit(index.method)}, by {index.period}, "
        f"{index.method}{rolled}.{missing}"
    )


def index_caption(index: PriceIndex) -> str:
    """What ``market_charts.index_line_chart`` shows."""
    return (
        f"How prices of {index.scope} moved while the cars stayed the same, {index.base} being 100; the "
        f"shaded band "
        f"is the {index.coverage:.0%} interval. Where the line breaks there were not enough sales."
    )


def index_sales_caption(index: PriceIndex) -> str:
    """What ``market_charts.index_sales_chart`` shows."""
    return (
        f"Each column is a {index.period}; its height is the number of {_unit(index.method)} behind the "
        "index."
    )


def _unit(method: str) -> str:
    return "ends of pairs of sales" if method == "repeat sales" else "sales"


def lines_in_words(found: Comparables, record: str) -> pl.DataFrame:
    """The lines by which one sale was brought to the car: ``line``, ``comparable``, ``subject`` as a person
    writes them, the other columns of ``Comparables.lines`` as they are."""
    said = pl.col("comparable", "subject").fill_null("").str.strip_suffix(".0")
    return found.lines.filter(pl.col("record_id") == record).with_columns(_named(pl.col("line")), said)


def flags_in_words(flags: pl.Expr) -> pl.Expr:
    """The rules of thumb that a sale is beyond, in a sentence's words.

    >>> told = pl.DataFrame({"flags": [["odometer_km over 10%", "net over 15%"]]})
    >>> told.select(flags_in_words(pl.col("flags"))).item()
    'odometer over 10%; net over 15%'
    """
    return flags.list.eval(_named(pl.element())).list.join("; ")


def _named(column: pl.Expr) -> pl.Expr:
    """Names of columns as words."""
    return column.str.replace(r"_km\b", "").str.replace_all("_", " ", literal=True)
