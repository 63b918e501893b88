"""Records that keep every rule and are odd all the same: for a person to look at, never changed or left
out."""

from typing import Final, Protocol

import polars as pl

from pricing.intake.duplicates import with_keys

REASONS: Final = (
    "price far above the car's range",
    "price far below the car's range",
    "odometer falls",
    "check digit differs",
)

COVERAGE: Final = 0.99
"""Coverage of the range that a price is held against."""

FAR: Final = 0.25
"""How far outside a price must lie, as a part of the way from the middle of the range to its end, in logs."""

FIRST_YEAR: Final = 1981
"""Of the check digit of North American vehicle identification numbers: 49 CFR 565.15 (c), and ISO 3779 for
the form. A chassis number from before, or from elsewhere, has any form and is never held against it."""

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

SLACK_KM: Final = 200.0
"""Kilometres that readings of one car may fall between two offers: rounding, and miles taken for whole
ones."""


class PriceRanges(Protocol):
    """A fitted price model, as far as it is needed here."""

    def price_range(self, cars: pl.DataFrame, coverage: float) -> pl.DataFrame:
        """low, mid, high and reason (null where there is a range), one row a car."""


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


def find_suspicions(sales: pl.DataFrame, model: PriceRanges | None = None) -> pl.DataFrame:
    """Odd records with the reason (one of ``REASONS``) and its figures: record_id, reason, detail.

    ``sales`` are those of ``Market.sales(every_record=True)``. Without a fitted model prices are not
    looked at.

    >>> from datetime import date
    >>> row = {"record_id": "a", "chassis_number": "CV/1234", "make": "Corvane", "model": "Six", "year": 1968,
    ...        "event_date": date(2020, 5, 1), "odometer_km": 80_000.0}
    >>> later = row | {"record_id": "b", "event_date": date(2022, 5, 1), "odometer_km": 31_000.0}
    >>> find_suspicions(pl.DataFrame([row, later])).rows()
    [('b', 'odometer falls', '31000 km, and 80000 km on 2020-05-01')]
    """
    suspicions = [_falling_odometers(sales), _wrong_check_digits(sales)]
    if model is not None:
        suspicions.append(_far_prices(sales, model))
    return pl.concat(suspicions)


def _falling_odometers(sales: pl.DataFrame) -> pl.DataFrame:
    """Readings below an earlier one of the same chassis."""
    car = ["chassis_key", "model_key"]
    columns = ["chassis_number", "make", "model"]
    keyed = with_keys(sales.select("record_id", "event_date", "odometer_km", *columns))
    earlier = pl.col("odometer_km").shift(1).over(car)
    return (
        keyed.drop_nulls([*car, "odometer_km"])
        .sort(*car, "event_date", "record_id")
        .with_columns(earlier=earlier, earlier_date=pl.col("event_date").shift(1).over(car))
        .filter(
            (pl.col("odometer_km") < pl.col("earlier") - SLACK_KM)
            & (pl.col("event_date") > pl.col("earlier_date"))
        )
        .select(
            "record_id",
            reason=pl.lit(REASONS[2]),
            detail=pl.format(
                "{} km, and {} km on {}",
                _whole("odometer_km"),
                _whole("earlier"),
                pl.col("earlier_date").cast(pl.String),
            ),
        )
    )


def _wrong_check_digits(sales: pl.DataFrame) -> pl.DataFrame:
    """North American numbers of seventeen places whose ninth is not what the others make it."""
    number = pl.col("chassis_number").str.to_uppercase()
    digit = check_digit(number)
    numbered = number.str.contains(NORTH_AMERICAN) & (pl.col("year") >= FIRST_YEAR)
    return sales.filter(numbered & (digit != number.str.slice(8, 1))).select(
        "record_id",
        reason=pl.lit(REASONS[3]),
        detail=pl.format("{} has {} where {} belongs", number, number.str.slice(8, 1), digit),
    )


def _far_prices(sales: pl.DataFrame, model: PriceRanges) -> pl.DataFrame:
    """Prices of sales far outside what the fitted market says of the car on that day."""
    sold = sales.filter((pl.col("outcome") == "sold") & pl.col("price").is_not_null())
    if sold.is_empty():
        return pl.DataFrame(schema=dict.fromkeys(("record_id", "reason", "detail"), pl.String))
    ranges = model.price_range(sold, coverage=COVERAGE).select("low", "mid", "high")
    log = {name: pl.col(name).log() for name in ("low", "mid", "high")}
    price = pl.col("price").cast(pl.Float64).log()
    above = price > log["high"] + FAR * (log["high"] - log["mid"])
    below = price < log["low"] - FAR * (log["mid"] - log["low"])
    return (
        pl.concat([sold, ranges], how="horizontal")
        .filter((above | below).fill_null(False))
        .select(
            "record_id",
            reason=pl.when(above).then(pl.lit(REASONS[0])).otherwise(pl.lit(REASONS[1])),
            detail=pl.format(
                "{}, where 99 in 100 such cars are expected from {} to {}",
                pl.col("price").cast(pl.String),
                _whole("low"),
                _whole("high"),
            ),
        )
    )


def _whole(name: str) -> pl.Expr:
    return pl.col(name).round(0).cast(pl.Int64).cast(pl.String)
