"""What price indices and comparable sales say, in sentences."""

import re
from typing import Any, Final

import polars as pl

from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.indices.index import PriceIndex
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import day_words, long_day_form, number_words
from pricing.words.sentences import exact_words, money_words


def reconciliation_sentences(comparables: Comparables) -> list[str]:
    """The reconciled value and how it came about, one thought a sentence."""
    table, currency = comparables.table, comparables.currency
    levels = ", ".join(
        f"{size} of the {level}" for level, size in table["match_level"].value_counts(sort=True).rows()
    )
    first, last, least, most = table.select(
        pl.col("event_date").min(), last=pl.col("event_date").max(), least=pl.col("adjusted_price").min(),
        most=pl.col("adjusted_price").max(),
    ).row(0)  # fmt: skip
    heaviest = table.sort("weight", descending=True).row(0, named=True)
    sentences = [
        f"{table.height} comparable sales ({levels}), sold between {day_words(first)} and {day_words(last)}, "
        f"were brought to the subject at {day_words(comparables.as_of)}.",
        "Adjustments multiply, each on the price that the lines before it left: the sale's conditions and "
        "date first, then what differs between the cars.",
        f"The adjusted prices run from {exact_words(least, currency)} to {exact_words(most, currency)}; half "
        f"of their weight lies below {money_words(comparables.mid, currency)}. Weight is given for few and "
        f"small adjustments, recent sales and graded cars; the most, {heaviest['weight']:.0%}, has the sale "
        f"of {day_words(heaviest['event_date'])} at {exact_words(heaviest['price'], currency)}.",
        range_sentence(comparables),
        bracket_sentence(comparables),
    ]
    flagged = table.filter(pl.col("flags").list.len() > 0)
    if flagged.height:
        sentences.append(
            f"{flagged.height} of them exceed a rule of thumb (10% a line, 15% net, 25% gross); together "
            f"they have {float(flagged['weight'].sum()):.0%} of the weight, for beyond 25% a sale counts "
            "for less with the square of the excess."
        )
    ends = comparables.date_line_ends
    if comparables.as_of > ends:
        sentences.append(
            f"The index that moves prices through time ends at {day_words(ends)} and is held level after "
            "that."
        )
    asking = comparables.offers.filter(pl.col("meaning") == "ceiling")["adjusted_price"]
    if asking.len():
        lowest: Any = asking.min()
        sentences.append(
            f"{asking.len()} like cars are or were advertised; an asking price is a ceiling, never a sale, "
            f"and has no weight. The lowest, adjusted to the subject, is {exact_words(lowest, currency)}."
        )
    return [*sentences, *map(_choice_sentence, comparables.choices)]


def range_sentence(comparables: Comparables) -> str:
    """What the range holds and how that is known, or why there is none."""
    if comparables.low is None or comparables.high is None:
        return f"No range can be given, only the middle: {comparables.reason}."
    low, high = (money_words(end, comparables.currency) for end in (comparables.low, comparables.high))
    spread = (
        f"Of 100 sales of such a car, {round(100 * comparables.coverage)} should fall between {low} and "
        f"{high}: a single sale strays by {comparables.sale_spread:.0%}, and the middle is known to "
        f"{comparables.mid_error:.0%} (standard deviations)."
    )
    if not comparables.scores:
        return spread
    return (
        f"{spread} This is how far {number_words(comparables.scores)} past sales of its kind "
        f"({comparables.kind}) fell from what the others said of them."
    )


def comparables_caption(comparables: Comparables) -> str:
    """What ``charts.evidence.comparables_chart`` shows."""
    return (
        "Each line is a comparable sale, numbered as in the grid: the ring is the price paid, the disc the "
        f"same price brought to this car and to {day_words(comparables.as_of)}, larger with weight. The "
        "shaded band runs from low to high, the broken line is the mid value."
    )


def bracket_sentence(comparables: Comparables, words: LocaleWords = PLAIN) -> str:
    """Whether some of the cars sold are worth more than the subject and some less."""
    return words.say(_BRACKETED[comparables.bracketed])


_BRACKETED: Final = {
    True: noted("The subject is bracketed: some of the cars sold are worth more than it and some less."),
    False: noted(
        "The subject is not bracketed: every car sold is worth more, or every one less, so the value reaches "
        "beyond the evidence."
    ),
}


def _choice_sentence(choice: Choice) -> str:
    actions = {"add": "added", "drop": "dropped", "adjust": "adjusted by hand", "weigh": "weighed by hand"}
    line = "" if choice.line is None else f" ({choice.line} {choice.per_cent:+g}%)"
    weight = f" (at {choice.per_cent:g}% of its weight)" if choice.action == "weigh" else ""
    return f"Sale {choice.record_id} was {actions[choice.action]}{line}{weight}: {choice.reason.rstrip('.')}."


def index_sentence(index: PriceIndex, words: LocaleWords = PLAIN) -> str:
    """Where an index stands, how far it is known, and how it was made."""
    points = index.frame.drop_nulls("index")
    last = points.row(-1, named=True)
    gaps = index.frame.height - points.height
    if last["low"] is None:
        reach = words.say("no interval, as no sale is left over to tell one by")
    else:
        low, high = words.number(last["low"], 1), words.number(last["high"], 1)
        reach = words.say("{low} to {high} at {share}", low=low, high=high, share=words.share(index.coverage))
    sales, repeat = int(points["sales"].sum()), index.method == "repeat sales"
    values = {
        "method": words.word(index.method), "scope": capital(words.word(index.scope)),
        "period": words.word(index.period), "base": period_words(index.base, words),
        "index": words.number(last["index"], 1), "last": period_words(last["period"], words), "reach": reach,
        "sales": words.many("{number} end of pairs of sales", "{number} ends of pairs of sales", sales)
        if repeat
        else words.many("{number} sale", "{number} sales", sales),
    }  # fmt: skip
    message = (
        noted(
            "{scope}: prices of like cars stood at {index} in {last}, where {base} is 100 ({reach}); from "
            "{sales}, by {period}, {method}."
        )
        if index.window is None
        else noted(
            "{scope}: prices of like cars stood at {index} in {last}, where {base} is 100 ({reach}); from "
            "{sales}, by {period}, {method}, in a rolling window of {window}."
        )
    )
    stands = words.say(message, **values, window=index.window)
    missing = words.many(
        "{number} of {periods} periods has no point: not enough sales.",
        "{number} of {periods} periods have no point: not enough sales.",
        gaps, periods=words.number(index.frame.height),
    )  # fmt: skip
    return f"{stands} {missing}" if gaps else stands


def period_words(name: str, words: LocaleWords = PLAIN) -> str:
    """A period of an index by its name (``Periods.names``).

    >>> period_words("2024 Q1"), period_words("2024 Q1", LocaleWords.of("fr_FR")), period_words("2024")
    ('2024 Q1', 'T1 2024', '2024')
    """
    named = re.fullmatch(r"(\d{4}) ([QH])(\d)", name)
    if named is None:
        return name
    year, kind, number = named.groups()
    return words.say(_PERIODS[kind], year=year, number=number)


_PERIODS: Final = {"Q": noted("{year} Q{number}"), "H": noted("{year} H{number}")}


def index_caption(index: PriceIndex) -> str:
    """What ``charts.evidence.index_line_chart`` shows."""
    return (
        f"How prices of {index.scope} moved while the cars stayed the same, {index.base} being 100; the "
        f"shaded band is the {index.coverage:.0%} interval. Where the line breaks there were not enough "
        "sales."
    )


def index_sales_caption(index: PriceIndex) -> str:
    """What ``charts.evidence.index_sales_chart`` shows."""
    return (
        f"Each column is a {index.period}; its height is the number of "
        f"{'ends of pairs of sales' if index.method == 'repeat sales' else 'sales'} behind the index."
    )


def lines_in_words(comparables: Comparables, record: str) -> pl.DataFrame:
    """The lines by which one sale was brought to the car: ``line``, ``comparable``, ``subject`` as a person
    writes them, the other columns of ``Comparables.lines`` as they are."""
    values = pl.col("comparable", "subject").fill_null("").str.strip_suffix(".0")
    return (
        comparables.lines.filter(pl.col("record_id") == record)
        .with_columns(_named(pl.col("line")), values)
        .with_columns(_with_days(pl.col(name)) for name in ("comparable", "subject", "source"))
    )


def _with_days(text: pl.Expr) -> pl.Expr:
    """A day at the end of a text as the reader writes it.

    >>> frame = pl.DataFrame({"source": ["reference rate of 2026-05-17", "sale record"]})
    >>> frame.select(_with_days(pl.col("source")))["source"].to_list()
    ['reference rate of 17 May 2026', 'sale record']
    """
    ends = r"\d{4}-\d{2}-\d{2}$"
    day = text.str.extract(f"({ends})").str.to_date(strict=False)
    written = day.dt.to_string(long_day_form())
    return pl.when(day.is_null()).then(text).otherwise(pl.concat_str(text.str.replace(ends, ""), written))


def flags_in_words(flags: pl.Expr) -> pl.Expr:
    """The rules of thumb that a sale is beyond, in a sentence's words.

    >>> frame = pl.DataFrame({"flags": [["odometer_km over 10%", "net over 15%"]]})
    >>> frame.select(flags_in_words(pl.col("flags"))).item()
    'odometer over 10%; net over 15%'
    """
    return flags.list.eval(_named(pl.element())).list.join("; ")


def _named(column: pl.Expr) -> pl.Expr:
    """Names of columns as words."""
    return column.str.replace(r"_km\b", "").str.replace_all("_", " ", literal=True)
