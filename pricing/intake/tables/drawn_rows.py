"""Rows of a drawn table that are none of its records, and what they say of the records: totals, remarks,
lines, marks for the same again, and headings over some of the rows."""

import re
from collections import Counter
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import meanings
from pricing.intake.written.dates import read_date
from pricing.intake.written.numbers import number

ROW: Final = "row_number"

_TOTAL: Final = re.compile(
    r"(?i)^\s*(?:grand |sub)?(?:totals?|totaux|totale|totaal|sum|summe|summa|suma|somme|gesamt\w*"
    r"|zwischensumme|sous-total|subtotal|average|mean|median|durchschnitt|moyenne|media|gemiddelde?|medel\w*"
    r"|count|anzahl|nombre|antal)\b[^0-9]{0,30}$"
)
_RULE: Final = re.compile(r"[\s:+|]*[-=_]{2,}[-=_\s:+|]*")
"""A line drawn under a header, as in tables of plain text."""
_SAME_AGAIN: Final = re.compile(
    r"\s*(?:[\"\u201c\u201d\u201e\u3003]|''|,,|do\.?|ditto|dto\.?|idem|id\.|-+\s?[\"\u3003]\s?-+)\s*"
)
"""Ditto marks: the sign U+3003, quotation marks, and do., dto., idem; common practice, no source."""
_FOOTNOTE: Final = r"^\s*(?:[*\u2020\u2021\u00a7]+|\d\))\s*\S"
_OVER_DAY: Final = "date (over the rows)"
_OVER_MAKE: Final = "make (over the rows)"
_WRITTEN_ON: Final = re.compile(
    r"(?i)\b(?:print\w*|as (?:of|at)|updated?|export\w*|created|generated|stand|gedruckt|erstellt|ausdruck"
    r"|imprim\w+|édité\w*|stampat\w+|impreso|afgedrukt|bijgewerkt|utskriv\w+|uppdaterad)\b"
)
"""A day beside one of these is that of the list, not of its sales."""
_BETWEEN_WORDS: Final = re.compile(r"\s[-\u2013\u2014]\s|[,;:(|]")


def set_aside(frame: pl.DataFrame) -> tuple[pl.DataFrame, Counter[str]]:
    """Rows of a table that are records, and how many of the others there are of each kind."""
    cells = [name for name in frame.columns if name != ROW and frame.schema[name] == pl.String]
    if len(cells) < 2:
        return frame, Counter()
    filled = pl.sum_horizontal(stripped(name).is_not_null() for name in cells)
    first = pl.coalesce(pl.when(stripped(name).is_not_null()).then(name) for name in cells)
    apart = (len(cells) > 3) & first.str.contains(r"\S\s+\S") & (pl.col(ROW).diff() > 1)
    kinds = frame.select(
        kind=pl.when(first.str.contains(_TOTAL.pattern))
        .then(pl.lit("total"))
        .when((filled == 1) & (apart | first.str.contains(_FOOTNOTE)))
        .then(pl.lit("remark"))
    )["kind"]
    return frame.filter(kinds.is_null()), Counter(kinds.drop_nulls().to_list())


def without_lines(frame: pl.DataFrame, headings: list[str]) -> pl.DataFrame:
    """A table without the lines drawn between its rows."""
    cells = [stripped(name) for name in headings]
    drawn = pl.all_horizontal(cell.is_null() | cell.str.contains(rf"^(?:{_RULE.pattern})$") for cell in cells)
    some = pl.any_horizontal(cell.str.contains(r"^[\s:+|]*[-=_]{3}") for cell in cells)
    return frame.filter(~(drawn & some).fill_null(False))


def without_blanks(frame: pl.DataFrame, headings: list[str]) -> pl.DataFrame:
    """A table without the rows in which nothing stands."""
    return frame.filter(pl.any_horizontal(stripped(name).is_not_null() for name in headings))


def is_ditto(cell: str) -> bool:
    """Whether a cell is a mark for the same as above."""
    return len(cell) < 10 and _SAME_AGAIN.fullmatch(cell) is not None


def same_again(frame: pl.DataFrame, headings: list[str]) -> pl.DataFrame:
    """Cells in place of the marks that say the same as above."""
    for name in headings:
        cells = frame[name]
        marked = cells.str.contains(rf"(?i)^(?:{_SAME_AGAIN.pattern})$").fill_null(False)
        if marked.any() and not marked[0]:
            above = cells.set(marked, None).forward_fill()
            frame = frame.with_columns(cells.zip_with(~marked, above).alias(name))
    return frame


def headings_over(frame: pl.DataFrame, headings: list[str], title: str) -> pl.DataFrame:
    """A table in which a row of one cell is a heading over the rows below it, a make or the day of a sale,
    with that as a column. A day in the title of a table without days is one."""
    meant = {ours for name in headings for ours, sure in meanings(name).items() if sure >= 0.75}
    text = [name for name in headings if frame.schema[name] == pl.String]
    if len(text) < 3 or frame.is_empty():
        return frame
    filled = pl.sum_horizontal(stripped(name).is_not_null() for name in text)
    only = frame.select(pl.when(filled == 1).then(pl.coalesce(map(stripped, text)))).to_series()
    if not {"event_date", "listed_on"} & meant:
        days = [None if cell is None else _day_in(cell) for cell in only]
        first = None if _WRITTEN_ON.search(title) else _day_in(title)
        if first is not None or any(days):
            over = pl.Series(_OVER_DAY, [first, *days], dtype=pl.String).forward_fill()[1:]
            return frame.with_columns(over).filter(pl.Series(days, dtype=pl.String).is_null())
    if "make" not in meant and "model" in meant:
        makes = [None if cell is None or not _a_name(cell) else cell for cell in only]
        if makes[0] is not None and makes[-1] is None:
            over = pl.Series(_OVER_MAKE, makes, dtype=pl.String)
            return frame.with_columns(over.forward_fill()).filter(over.is_null())
    return frame


def stripped(name: str) -> pl.Expr:
    """The cells of a column without blanks around them; null where that leaves nothing."""
    return pl.col(name).str.strip_chars().replace("", None)


def _day_in(text: str) -> str | None:
    """The part of a heading that is a day, in words.

    >>> _day_in("Saturday 12th March 2022 - Town Hall"), _day_in("Spring sale")
    ('Saturday 12th March 2022', None)
    """
    parts = [part.strip() for part in _BETWEEN_WORDS.split(text)]
    return next((part for part in parts if (day := read_date(part)) is not None and day[1] == "day"), None)


def _a_name(text: str) -> bool:
    plain_name = re.fullmatch(r"[^\W\d_][^\d]{1,38}", text) is not None and len(text.split()) <= 4
    return plain_name and _TOTAL.match(text) is None


def without_sums(frame: pl.DataFrame, headings: list[str]) -> pl.DataFrame:
    """A table without a last row that holds nothing but the sums of the columns above it."""
    if frame.height < 3:
        return frame
    last = {name: cell for name in headings if (cell := (frame[name][-1] or "").strip())}
    if not last or len(last) > len(headings) // 2:
        return frame
    for name, cell in last.items():
        figures = [number(text.strip("£€$ ")) for text in frame[name][:-1].drop_nulls() if text.strip()]
        total = number(cell.strip("£€$ "))
        known = [figure for figure in figures if figure is not None]
        if total is None or len(figures) < 2 or len(known) < len(figures) or abs(sum(known) - total) > 1:
            return frame
    return frame[:-1]
