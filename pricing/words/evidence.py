"""What price indices and comparable sales say, in sentences."""

import re
from typing import Any, Final

import polars as pl

from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.indices.index import PriceIndex
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.reader import day_words, long_day_form, number_words
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
        bracket_sentence(found),
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
        "Each line is a comparable sale, numbered as in the grid: the ring is the price paid, the disc the "
        f"same price brought to this car and to {day_words(found.as_of)}, larger with weight. The shaded "
        "band runs from low to high, the broken line is the mid value."
    )


def bracket_sentence(found: Comparables, words: LocaleWords = PLAIN) -> str:
    """Whether some of the cars sold are worth more than the subject and some less."""
    if found.bracketed:
        return words.say(
            "The subject is bracketed: some of the cars sold are worth more than it and some less."
        )
    return words.say(
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


def index_sentence(index: PriceIndex, words: LocaleWords = PLAIN) -> str:
    """Where an index stands, how far it is known, and how it was made."""
    points = index.frame.drop_nulls("index")
    last = points.row(-1, named=True)
    gaps = index.frame.height - points.height
    if last["low"] is None:
        reach = words.say("no interval, as no sale is left over to tell one by")
    else:
        reach = words.say(
            "{low} to {high} at {share}",
            low=words.number(last["low"], 1), high=words.number(last["high"], 1),
            share=words.share(index.coverage),
        )  # fmt: skip
    values = {
        "method": words.word(index.method), "scope": capital(words.word(index.scope)),
        "period": words.word(index.period), "base": period_words(index.base, words),
        "index": words.number(last["index"], 1), "last": period_words(last["period"], words), "reach": reach,
        "sales": _unit(index.method, int(points["sales"].sum()), words),
    }  # fmt: skip
    said = (
        words.say(
            "{scope}: prices of like cars stood at {index} in {last}, where {base} is 100 ({reach}); from "
            "{sales}, by {period}, {method}.",
            **values,
        )
        if index.window is None
        else words.say(
            "{scope}: prices of like cars stood at {index} in {last}, where {base} is 100 ({reach}); from "
            "{sales}, by {period}, {method}, in a rolling window of {window}.",
            **values, window=index.window,
        )
    )  # fmt: skip
    if not gaps:
        return said
    missing = words.many(
        "{number} of {periods} periods has no point: not enough sales.",
        "{number} of {periods} periods have no point: not enough sales.",
        gaps, periods=words.number(index.frame.height),
    )  # fmt: skip
    return f"{said} {missing}"


def period_words(name: str, words: LocaleWords = PLAIN) -> str:
    """A period of an index by its name (``Periods.names``).

    >>> period_words("2024 Q1"), period_words("2024 Q1", LocaleWords.of("fr_FR")), period_words("2024")
    ('2024 Q1', 'T1 2024', '2024')
    """
    found = re.fullmatch(r"(\d{4}) ([QH])(\d)", name)
    if found is None:
        return name
    year, kind, number = found.groups()
    return words.say(_PERIODS[kind], year=year, number=number)


_PERIODS: Final = {"Q": noted("{year} Q{number}"), "H": noted("{year} H{number}")}


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
        f"Each column is a {index.period}; its height is the number of "
        f"{'ends of pairs of sales' if index.method == 'repeat sales' else 'sales'} behind the index."
    )


def _unit(method: str, number: int, words: LocaleWords) -> str:
    if method == "repeat sales":
        return words.many("{number} end of pairs of sales", "{number} ends of pairs of sales", number)
    return words.many("{number} sale", "{number} sales", number)


def lines_in_words(found: Comparables, record: str) -> pl.DataFrame:
    """The lines by which one sale was brought to the car: ``line``, ``comparable``, ``subject`` as a person
    writes them, the other columns of ``Comparables.lines`` as they are."""
    said = pl.col("comparable", "subject").fill_null("").str.strip_suffix(".0")
    return (
        found.lines.filter(pl.col("record_id") == record)
        .with_columns(_named(pl.col("line")), said)
        .with_columns(_with_days(pl.col(name)) for name in ("comparable", "subject", "source"))
    )


def _with_days(text: pl.Expr) -> pl.Expr:
    """A day at the end of a text as the reader writes it.

    >>> told = pl.DataFrame({"source": ["reference rate of 2026-05-17", "sale record"]})
    >>> told.select(_with_days(pl.col("source")))["source"].to_list()
    ['reference rate of 17 May 2026', 'sale record']
    """
    ends = r"\d{4}-\d{2}-\d{2}$"
    day = text.str.extract(f"({ends})").str.to_date(strict=False)
    written = day.dt.to_string(long_day_form())
    return pl.when(day.is_null()).then(text).otherwise(pl.concat_str(text.str.replace(ends, ""), written))


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
