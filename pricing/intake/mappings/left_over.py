"""What a column is taken for because no other can be it; the caller says that it is not sure."""

import re
from collections.abc import Mapping
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import CAR
from pricing.intake.mappings.looks import LOOKED_AT, car_in_words

SURE_OF_WHAT_IS_LEFT: Final = 0.55
"""How sure (0-1) a column is by being the only one that is left."""

_FIT: Final = 0.8
"""Share of the cells that have to look like it."""

_NAME: Final = r"[^\W\d_]{2}"
_LONGEST_NAME: Final = 30


def what_is_left(placed: Mapping[str, str], left: Mapping[str, pl.Series]) -> dict[str, tuple[str, str]]:
    """Of a table with years and prices whose cars no heading names, the one column left for them: that of
    several words, or beside a make without a model that of names. Its column of ours and the reason.

    ``placed`` holds theirs = ours, ``left`` the cells of columns that nobody knows. Common practice, no
    source.

    >>> said = {"Built": "year", "Paid": "amount", "Marque": "make"}
    >>> what_is_left(said, {"Kind": pl.Series(["Sedge", "Six"]), "No": pl.Series(["7/1", "7/2"])})
    {'Kind': ('model', 'no other column can be a model, and its cells can')}
    """
    known = set(placed.values())
    if "model" in known or CAR in known or {"year", "amount"} - known:
        return {}
    fits = _names if "make" in known else car_in_words
    fitting = [name for name, cells in left.items() if fits(cells) >= _FIT]
    if len(fitting) != 1:
        return {}
    ours, called = ("model", "a model") if "make" in known else (CAR, "a car")
    return {fitting[0]: (ours, f"no other column can be {called}, and its cells can")}


def _names(cells: pl.Series) -> float:
    """The share of cells that are names: words, and hardly a figure."""
    told = cells.drop_nulls().unique().head(LOOKED_AT).to_list()
    named = [
        text
        for text in told
        if re.search(_NAME, text) and len(text) <= _LONGEST_NAME and len(re.findall(r"\d", text)) < 5
    ]
    return len(named) / len(told) if told else 0.0
