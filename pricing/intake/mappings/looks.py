"""What the cells of a column look like: the share of them that each column of ours could hold."""

import re
from collections.abc import Callable, Sequence
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import CAR
from pricing.intake.written.dates import ORDERS, read_date
from pricing.intake.written.distances import read_distance
from pricing.intake.written.money import SIGNS, currency_named, read_money
from pricing.intake.written.table import MONEY_COLUMNS
from pricing.intake.written.words import condition_text, known_words, not_known, yes_and_no
from pricing.intake.written.years import read_year

LOOKED_AT: Final = 300
"""Distinct cells of a column that are looked at."""

SIGNED_ENOUGH: Final = 3
"""One in so many cells with a currency shows that all of a column are money."""

_WHOLE_YEAR: Final = re.compile(r"\D{0,5}(?:18[89]\d|19\d\d|20[0-3]\d)(?!\d)")
_WHOLE_CAR: Final = re.compile(
    r"(?:\D{0,4}(?:18[89]\d|19\d\d|20[0-2]\d)\S*\s+\S*[^\W\d_]{2}.*)|(?:[^\W\d_]{2}\S*\s+.*(?:18[89]\d"
    r"|19\d\d|20[0-2]\d)\D*)"
)
_TWO_WORDS: Final = re.compile(r"[^\W\d_]{2}\S*\s+\S.*")
_FIGURES: Final = re.compile(r"\d")
_LETTERS: Final = re.compile(r"[^\W\d_]{2}")
_UNITS: Final = re.compile(r"(?:km|kms|miles|mls|mil|mi)\.?\s*$", re.IGNORECASE)

SURE: Final = {
    "currency": 0.85, "country": 0.75, "amount": 0.8, "event_date": 0.75, "year": 0.65, "condition_band": 0.8,
    "outcome": 0.75, "channel": 0.75, "drive_side": 0.6, CAR: 0.7, "odometer_km": 0.75,
}  # fmt: skip
"""How sure the look of cells alone makes a column that no heading names."""


def looks(cells: pl.Series) -> dict[str, float]:
    """By column of ours the share of cells (0-1) that it could hold; columns of any text are left out.

    >>> found = looks(pl.Series(["12/3/2019", "13/4/2020"]))
    >>> found["event_date"], found["amount"], found["year"]  # a year may be that of a first registration
    (1.0, 0.0, 1.0)
    """
    told = [
        text
        for text in cells.drop_nulls().str.strip_chars().unique(maintain_order=True).head(LOOKED_AT)
        if text and text.lower() not in not_known()
    ]
    if not told:
        return {}
    frame = pl.DataFrame({"cell": told})
    bands = frame.select(condition_text(pl.col("cell"), {}) != pl.col("cell")).to_series()
    known_bands = frame["cell"].str.to_lowercase().is_in(list(known_words()["condition_band"]))
    words = {
        column: _share(told, lambda text, column=column: text.lower().strip(" .!") in known_words()[column])  # type: ignore[misc]
        for column in ("outcome", "channel", "price_basis", "drive_side", "matching_numbers", "country")
    }
    yes, no = yes_and_no()
    money = _share(told, lambda text: read_money(text) is not None)
    dates = max(_share(told, lambda text, order=order: _is_date(text, order)) for order in ORDERS)  # type: ignore[misc]
    return {
        **words,
        "condition_band": float((bands | known_bands).sum()) / len(told),
        "history_file": _share(told, lambda text: text.lower() in (*yes, *no)),
        **dict.fromkeys(MONEY_COLUMNS, money),
        "event_date": dates, "listed_on": dates,
        "year": _share(told, lambda text: len(text) < 26 and read_year(text,
        2030, ages=True) is not None and _is_year(text)),
        "odometer_km": _share(told, lambda text: read_distance(text, "mil") is not None),
        "odometer_unit": _share(told, lambda text: _UNITS.fullmatch(text) is not None),
        "condition_score": _share(told,
        lambda text: re.fullmatch(r"\d{1,3}(?:[.,]\d+)?(?:\s?/\s?100|\s?%)?", text) is not None),
        "currency": _share(told, lambda text: currency_named(text) is not None or text in SIGNS),
        CAR: _share(told, lambda text: _WHOLE_CAR.fullmatch(text) is not None and len(text) < 90),
        "make": _share(told,
        lambda text: _LETTERS.search(text) is not None and len(_FIGURES.findall(text)) < 3),
    }  # fmt: skip


def car_in_words(cells: pl.Series) -> float:
    """The share of cells that may be a whole car without its year, in two words and more; a little less than
    all of it.

    >>> car_in_words(pl.Series(["Corvane Six", "Wexcombe Sedge de luxe"]))
    0.9
    """
    told = cells.drop_nulls().unique().head(LOOKED_AT).to_list()
    return 0.9 * _share(told, lambda text: _TWO_WORDS.fullmatch(text.strip()) is not None and len(text) < 90)


def shown_alone(cells: pl.Series, found: dict[str, float]) -> dict[str, float]:
    """Of what cells look like what is plain without any heading: amounts with a sign, distances with a unit,
    whole dates; years that are not prices."""
    told = cells.drop_nulls().unique().head(LOOKED_AT).to_list()
    plain = {name: share for name, share in found.items() if name in SURE}
    signed = _share(told, _says_currency)
    plain["amount"] = found.get("amount", 0.0) * min(1.0, SIGNED_ENOUGH * signed)
    plain["odometer_km"] = found.get("odometer_km", 0.0) * _share(
        told, lambda text: _UNITS.search(text) is not None
    )
    plain["event_date"] = found.get("event_date", 0.0) * _share(
        told,
        lambda text: (
            (_WHOLE_YEAR.fullmatch(text) is None or len(re.findall(r"[^\W\d_]", text)) > 2)
            and not text.strip().isdigit()
        ),
    )
    plain["year"] = _share(told, lambda text: _WHOLE_YEAR.match(text) is not None and len(text) <= 6)
    yes, no = yes_and_no()
    if all(text.strip().lower() in (*yes, *no) for text in told):
        plain["outcome"] = 0.0  # yes or no, and nobody says to what
    if len(told) < 2:
        plain["year"] = plain["drive_side"] = 0.0
    return plain


def _is_date(text: str, order: str) -> bool:
    return read_date(text, order) is not None


def _is_year(text: str) -> bool:
    return (
        _WHOLE_YEAR.match(text) is not None
        or re.fullmatch(r"['\u2019]?\d\d|\d|\d{1,3}\s*[^\W\d_].*|(?:\d{1,2}[/.-]){1,2}\d{4}", text)
        is not None
    )


def _says_currency(text: str) -> bool:
    money = read_money(text)
    return money is not None and money.currency is not None


def _share(told: Sequence[str], holds: Callable[[str], bool]) -> float:
    return sum(map(holds, told)) / len(told) if told else 0.0
