"""The check digit of North American vehicle identification numbers.

Source: 49 CFR 565.15 (c), and ISO 3779 for the form. It holds for vehicles made for North America, model
years from 1981 on; a chassis number from before, or from elsewhere, has any form and is never held against
it.
"""

from typing import Final

import polars as pl

FIRST_YEAR: Final = 1981
FORM: Final = r"^[0-9A-HJ-NPR-Z]{17}$"
"""Seventeen figures and capital letters without I, O and Q."""

NORTH_AMERICAN: Final = r"^[1-5]"
"""Numbers given out in the United States, Canada and Mexico start so."""

_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_VALUES: Final = {
    **{str(figure): figure for figure in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    **{"P": 7, "R": 9},
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}


def check_digit(number: pl.Expr) -> pl.Expr:
    """The check digit that belongs in the ninth place, 0-9 or X; null for a number of another form.

    >>> numbers = pl.DataFrame({"number": ["1M8GDM9AXKP042788", "WX/34-0102"]})
    >>> numbers.select(check_digit(pl.col("number"))).to_series().to_list()
    ['X', None]
    """
    valued = [
        number.str.slice(place, 1).replace_strict(_VALUES, default=None, return_dtype=pl.Int32) * weight
        for place, weight in enumerate(_WEIGHTS)
    ]
    remainder = pl.sum_horizontal(valued) % 11
    digit = pl.when(remainder == 10).then(pl.lit("X")).otherwise(remainder.cast(pl.String))
    return pl.when(number.str.contains(FORM)).then(digit)
