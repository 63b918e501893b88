"""Text as people type it into text that the contract reads: money, numbers, dates, words.

Every function leaves what it cannot read as it was, so that the contract's check rejects it by name and the
row is quarantined with the text that a person can mend.
"""

from collections.abc import Mapping
from typing import Final

import polars as pl

DATE_ORDERS: Final = {
    "day-month-year": ("%d/%m/%Y", "%d/%b/%Y", "%d/%B/%Y", "%d/%m/%y"),
    "month-day-year": ("%m/%d/%Y", "%b/%d/%Y", "%B/%d/%Y", "%m/%d/%y"),
    "year-month-day": ("%Y/%m/%d", "%Y/%b/%d"),
}
"""Orders a date may be stated to be in. Without one only ISO 8601 dates are read."""

CURRENCY_SIGNS: Final = {
    "£": "GBP",
    "€": "EUR",
    "¥": "JPY",
    "zł": "PLN",
    "CHF": "CHF",
    "US$": "USD",
    "A$": "AUD",
}
"""Signs that stand for one currency. A bare $ or kr is several, so the currency must then be stated."""

_GROUP_MARKS: Final = r"[\s\u{a0}\u{2009}\u{202f}'’]"


def number_text(cell: pl.Expr, decimal: str = ".") -> pl.Expr:
    """A plain number from ``45 000``, ``4,250.00`` or, with the decimal mark ``,``, from ``4.250,00``.

    >>> typed = pl.DataFrame({"cell": ["4,250.50", "45 000", "4,25", "12k", "-7", "a few"]})
    >>> typed.select(number_text(pl.col("cell"))).to_series().to_list()
    ['4250.50', '45000', '4,25', '12000', '-7', 'a few']
    """
    plain = cell.str.strip_chars().str.replace_all(f"({_GROUP_MARKS})+", "")
    plain = plain.str.replace(r"[.,][-–—]+$", "")
    group, point = (",", r"\.") if decimal == "." else (r"\.", ",")
    thousands = plain.str.extract(f"^(-?[0-9]+(?:{point}[0-9]+)?)[kK]$").str.replace(",", ".", literal=True)
    whole = plain.str.contains(f"^[-+]?([0-9]+|[0-9]{{1,3}}({group}[0-9]{{3}})+)({point}[0-9]+)?$")
    bare = plain.str.replace_all("." if decimal == "," else ",", "", literal=True).str.replace(
        ",", ".", literal=True
    )
    return (
        pl.when(whole)
        .then(bare.str.strip_prefix("+"))
        .when(thousands.is_not_null())
        .then((thousands.cast(pl.Decimal(18, 3), strict=False) * 1000).cast(pl.Int64).cast(pl.String))
        .otherwise(cell)
    )


def money_text(cell: pl.Expr, decimal: str = ".") -> pl.Expr:
    """The number in an amount of money, its currency sign or code taken away.

    >>> typed = pl.DataFrame({"cell": ["£4,250", "SEK 45 000", "4250.-", "$900", "POA"]})
    >>> typed.select(money_text(pl.col("cell"))).to_series().to_list()
    ['4250', '45000', '4250', '900', 'POA']
    """
    bare = cell.str.strip_chars().str.replace(r"^(-?)\s*([A-Z]{3}|(US|A|C)?\$|£|€|¥|[Kk]r\.?|zł)\s*", "$1")
    bare = bare.str.replace(r"\s*([A-Z]{3}|\$|£|€|¥|[Kk]r\.?|zł|:-)$", "")
    number = number_text(bare, decimal)
    return pl.when(number.str.contains(r"^-?[0-9]+(\.[0-9]+)?$")).then(number).otherwise(cell)


def currency_in(cell: pl.Expr) -> pl.Expr:
    """The ISO 4217 code that an amount of money carries, by its code or by a sign that means one currency.

    >>> typed = pl.DataFrame({"cell": ["£4,250", "SEK 45 000", "$900"]})
    >>> typed.select(currency_in(pl.col("cell"))).to_series().to_list()
    ['GBP', 'SEK', None]
    """
    sign = cell.str.extract("(£|€|¥|zł|US\\$|A\\$)")
    code = cell.str.extract(r"^\s*-?\s*([A-Z]{3})\s*-?[0-9]").fill_null(
        cell.str.extract(r"[0-9\s.,-]([A-Z]{3})\s*$")
    )
    return pl.coalesce(code, sign.replace_strict(CURRENCY_SIGNS, default=None, return_dtype=pl.String))


def date_text(cell: pl.Expr, order: str | None) -> pl.Expr:
    """An ISO date from one written in a stated order; a time of day is dropped.

    >>> typed = pl.DataFrame({"cell": ["03/04/2024", "3.4.24", "3 Apr 2024", "2024-04-03 00:00:00", "soon"]})
    >>> typed.select(date_text(pl.col("cell"), "day-month-year")).to_series().to_list()
    ['2024-04-03', '2024-04-03', '2024-04-03', '2024-04-03', 'soon']
    """
    iso = cell.str.extract(r"^\s*([0-9]{4}-[0-9]{2}-[0-9]{2})([T ][0-9:.]+(Z|[+-][0-9:]+)?)?\s*$")
    if order is None:
        return pl.coalesce(iso, cell)
    even = cell.str.strip_chars().str.replace_all(r"[-/.,\s]+", "/")
    short = even.str.contains("^[^/]+/[^/]+/[0-9]{2}$") & pl.lit(order != "year-month-day")
    read = [
        pl.when(short if pattern.endswith("%y") else ~short).then(even).str.to_date(pattern, strict=False)
        for pattern in DATE_ORDERS[order]
    ]
    return pl.coalesce(iso, *(date.dt.strftime("%Y-%m-%d") for date in read), cell)


def word_text(cell: pl.Expr, words: Mapping[str, str]) -> pl.Expr:
    """The closed-list word for what people call it; ``words`` has theirs in lower case.

    >>> typed = pl.DataFrame({"cell": ["Barn find", "average", "?"]})
    >>> table = {"barn find": "project", "average": "average"}
    >>> typed.select(word_text(pl.col("cell"), table)).to_series().to_list()
    ['project', 'average', '?']
    """
    plain = cell.str.strip_chars().str.to_lowercase().str.replace_all(r"\s+", " ")
    found = plain.replace_strict(words, default=None, return_dtype=pl.String)
    return pl.coalesce(found, cell)


def phrase_text(cell: pl.Expr, words: Mapping[str, str]) -> pl.Expr:
    """The word for the phrases that a free text contains, if all of them mean the same one.

    >>> typed = pl.DataFrame({"cell": ["A barn find, dry", "barn find but usable", "nice"]})
    >>> table = {"barn find": "project", "usable": "average"}
    >>> typed.select(phrase_text(pl.col("cell"), table)).to_series().to_list()
    ['project', 'barn find but usable', 'nice']
    """
    if not words:
        return cell
    longest_first = sorted(words, key=lambda phrase: (-len(phrase), phrase))
    plain = cell.str.to_lowercase().str.replace_all(r"\s+", " ")
    pattern = r"\b(?:" + "|".join(pl.escape_regex(phrase) for phrase in longest_first) + r")\b"
    meant = plain.str.extract_all(pattern).list.eval(
        pl.element().replace_strict(words, default=None, return_dtype=pl.String)
    )
    return pl.when(meant.list.n_unique() == 1).then(meant.list.first()).otherwise(word_text(cell, words))
