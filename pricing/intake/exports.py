"""Texts that go out to files which people open in a spreadsheet, and come back: cells, names of columns."""

import re
from typing import Final

import polars as pl

_SIGNS: Final = r"[=+\-@\t＋－＝＠]"
"""What a formula begins with, and the tab; the signs at full width too, which some spreadsheets take for them
(OWASP, CSV Injection)."""

_BLANKS: Final = "[ '\xa0\u3000]*"
_RISKY: Final = rf"(^|[\r\n])({_BLANKS}{_SIGNS})"
"""At the beginning of any line, as what takes line ends for those of rows has a cell begin there."""

_GUARDED: Final = rf"(^|[\r\n])'({_BLANKS}{_SIGNS})"
_NUMBER: Final = r"^[-+]?[0-9][0-9.,]*$"


def neutralised(cell: pl.Expr) -> pl.Expr:
    """Text with an apostrophe before what a spreadsheet would run as a formula; inverse: ``restored``.

    >>> texts = ["=1+1", "-5", "@SUM(A1)", "plain", "'=x", None, "a\\n=b", "＝1", " +1"]
    >>> cells = pl.DataFrame({"cell": texts})
    >>> safe = cells.select(neutralised(pl.col("cell")))
    >>> safe["cell"].to_list()
    ["'=1+1", '-5', "'@SUM(A1)", 'plain', "''=x", None, "a\\n'=b", "'＝1", "' +1"]
    >>> safe.select(restored(pl.col("cell"))).equals(cells)
    True
    """
    return pl.when(cell.str.contains(_NUMBER)).then(cell).otherwise(cell.str.replace_all(_RISKY, "${1}'${2}"))


def restored(cell: pl.Expr) -> pl.Expr:
    """Text as it was before ``neutralised``."""
    return cell.str.replace_all(_GUARDED, "${1}${2}")


def neutral_names(frame: pl.DataFrame) -> pl.DataFrame:
    """A frame whose columns have names that no spreadsheet runs; inverse: ``restored_names``.

    >>> neutral_names(pl.DataFrame({"=1+1": [2], "make": ["Wexcombe"]})).columns
    ["'=1+1", 'make']
    """
    return frame.rename({name: neutral_text(name) for name in frame.columns})


def restored_names(frame: pl.DataFrame) -> pl.DataFrame:
    """A frame whose columns have the names from before ``neutral_names``."""
    names = {name: restored_text(name) for name in frame.columns}
    return frame.rename(names) if len({*names.values()}) == len(names) else frame


def neutral_text(text: str) -> str:
    """One text that is no number, whatever it looks like, as ``neutralised``; inverse: ``restored_text``."""
    return re.sub(_RISKY, r"\1'\2", text)


def restored_text(text: str) -> str:
    """One text as it was before ``neutral_text``."""
    return re.sub(_GUARDED, r"\1\2", text)
