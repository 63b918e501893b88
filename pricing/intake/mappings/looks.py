"""What the cells of a column look like: the share of them that each column of ours could hold; columns that
are one day in parts; and what a column is taken for because no other can be it."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import CAR, meanings, plain
from pricing.intake.written.dates import ORDERS, month_named, read_date, read_year
from pricing.intake.written.distances import read_distance
from pricing.intake.written.money import SIGNS, currency_named, read_money
from pricing.intake.written.table import MONEY_COLUMNS
from pricing.intake.written.words import WORD_COLUMNS, condition_text, known_words, not_known, yes_and_no

LOOKED_AT: Final = 300
"""Distinct cells of a column that are looked at."""

SIGNED_ENOUGH: Final = 3
"""One in so many cells with a currency shows that all of a column are money."""

SURE_OF_WHAT_IS_LEFT: Final = 0.55
"""How sure (0-1) a column is by being the only one that is left."""

_FIT: Final = 0.8
"""Share of its cells that have to look like what a column is when it is the only one that is left."""

_LONGEST_NAME: Final = 30
_WHOLE_YEAR: Final = re.compile(r"\D{0,5}(?:18[89]\d|19\d\d|20[0-3]\d)(?!\d)")
_WHOLE_CAR: Final = re.compile(
    r"(?:\D{0,4}(?:18[89]\d|19\d\d|20[0-2]\d)\S*\s+\S*[^\W\d_]{2}.*)"
    r"|(?:[^\W\d_]{2}\S*\s+.*(?:18[89]\d|19\d\d|20[0-2]\d)\D*)"
)
_YEAR_OR_AGE: Final = re.compile(r"['\u2019]?\d\d|\d|\d{1,3}\s*[^\W\d_].*|(?:\d{1,2}[/.-]){1,2}\d{4}")
_SCORE: Final = re.compile(r"\d{1,3}(?:[.,]\d+)?(?:\s?/\s?100|\s?%)?")
_TWO_WORDS: Final = re.compile(r"[^\W\d_]{2}\S*\s+\S.*")
_LETTERS: Final = re.compile(r"[^\W\d_]{2}")
_UNITS: Final = re.compile(r"(?:km|kms|miles|mls|mil|mi)\.?\s*$", re.IGNORECASE)

SURE: Final = {
    "currency": 0.85, "country": 0.75, "amount": 0.8, "event_date": 0.75, "year": 0.65, "condition_band": 0.8,
    "outcome": 0.75, "channel": 0.75, "drive_side": 0.6, CAR: 0.7, "odometer_km": 0.75,
}  # fmt: skip
"""How sure the look of cells alone makes a column that no heading names."""

_PARTS_OF_DATES: Final[dict[str, tuple[set[str], Callable[[str], bool]]]] = {
    "event_date": (
        {"day", "tag", "jour", "giorno", "dia", "dag"},
        lambda cell: cell.isdecimal() and 1 <= int(cell) <= 31,
    ),
    "event_month": (
        {"month", "monat", "mois", "mese", "mes", "maand", "manad", "mon", "mth"},
        lambda cell: month_named(cell) is not None,
    ),
    "event_year": (
        {"year", "jahr", "annee", "anno", "ano", "jaar", "ar", "year sold", "sale year"},
        lambda cell: read_date(cell) is not None and len(cell) == 4,
    ),
}
"""Headings of the columns of a date in parts, and what each of their cells is."""


def distinct(cells: pl.Series) -> list[str]:
    """The first distinct cells of a column, so many as are looked at."""
    return cells.drop_nulls().unique(maintain_order=True).head(LOOKED_AT).to_list()


def share(texts: Sequence[str], read: Callable[[str], object]) -> float:
    """The share of texts (0-1) that can be read so.

    >>> share(["1967", "six"], read_year), share([], read_year)
    (0.5, 0.0)
    """
    return sum(1 for text in texts if read(text)) / len(texts) if texts else 0.0


def looks(cells: pl.Series) -> dict[str, float]:
    """By column of ours the share of cells (0-1) that it could hold; columns of any text are left out.

    >>> shares = looks(pl.Series(["12/3/2019", "13/4/2020"]))
    >>> shares["event_date"], shares["amount"], shares["year"]  # a year may be that of a first registration
    (1.0, 0.0, 1.0)
    """
    stripped = cells.str.strip_chars()
    texts = distinct(stripped.filter(~stripped.str.to_lowercase().is_in(["", *not_known()])))
    if not texts:
        return {}
    frame = pl.DataFrame({"cell": texts})
    bands = frame.select(condition_text(pl.col("cell"), {}) != pl.col("cell")).to_series()
    known_bands = frame["cell"].str.to_lowercase().is_in(list(known_words()["condition_band"]))
    bare = [text.lower().strip(" .!") for text in texts]
    dates = max(share(texts, lambda text, order=order: read_date(text, order)) for order in ORDERS)  # type: ignore[misc]
    yes, no = yes_and_no()
    return {
        **{column: share(bare, known_words()[column].__contains__) for column in WORD_COLUMNS},
        "condition_band": float((bands | known_bands).sum()) / len(texts),
        "history_file": share(texts, lambda text: text.lower() in (*yes, *no)),
        **dict.fromkeys(MONEY_COLUMNS, share(texts, read_money)),
        **dict.fromkeys(("event_date", "listed_on"), dates),
        "year": share(texts, _is_year),
        "odometer_km": share(texts, lambda text: read_distance(text, "mil")),
        "odometer_unit": share(texts, _UNITS.fullmatch),
        "condition_score": share(texts, _SCORE.fullmatch),
        "currency": share(texts, lambda text: currency_named(text) or text in SIGNS),
        CAR: share(texts, lambda text: _WHOLE_CAR.fullmatch(text) and len(text) < 90),
        "make": share(texts, lambda text: _LETTERS.search(text) and len(re.findall(r"\d", text)) < 3),
    }


def car_in_words(cells: pl.Series) -> float:
    """The share of cells that may be a whole car without its year, in two words and more; a little less than
    all of it.

    >>> car_in_words(pl.Series(["Corvane Six", "Wexcombe Sedge de luxe"]))
    0.9
    """
    return 0.9 * share(distinct(cells), lambda text: _TWO_WORDS.fullmatch(text.strip()) and len(text) < 90)


def shown_alone(cells: pl.Series, shares: Mapping[str, float]) -> dict[str, float]:
    """Of what cells look like what is plain without any heading: amounts with a sign, distances with a unit,
    whole dates; years that are not prices."""
    texts = distinct(cells)
    plain = {name: of_cells for name, of_cells in shares.items() if name in SURE}
    signed = share(texts, lambda text: (money := read_money(text)) is not None and money.currency)
    plain["amount"] = shares.get("amount", 0.0) * min(1.0, SIGNED_ENOUGH * signed)
    plain["odometer_km"] = shares.get("odometer_km", 0.0) * share(texts, _UNITS.search)
    plain["event_date"] = shares.get("event_date", 0.0) * share(texts, _is_whole_date)
    plain["year"] = share(texts, lambda text: _WHOLE_YEAR.match(text) and len(text) <= 6)
    yes, no = yes_and_no()
    if all(text.strip().lower() in (*yes, *no) for text in texts):
        plain["outcome"] = 0.0  # yes or no, and nobody says to what
    if len(texts) < 2:
        plain["year"] = plain["drive_side"] = 0.0
    return plain


def _is_whole_date(text: str) -> bool:
    """Whether a date is more than a year, or a figure."""
    more_than_a_year = _WHOLE_YEAR.fullmatch(text) is None or len(re.findall(r"[^\W\d_]", text)) > 2
    return more_than_a_year and not text.strip().isdigit()


def _is_year(text: str) -> bool:
    read = len(text) < 26 and read_year(text, 2030, ages=True) is not None
    return read and (_WHOLE_YEAR.match(text) or _YEAR_OR_AGE.fullmatch(text)) is not None


def date_in_parts(text: pl.DataFrame) -> dict[str, str]:
    """Columns of the month and the year of the event, and of its day, where another is the car's year."""
    named = {name: meanings(name) for name in text.columns}
    parts: dict[str, str] = {}
    for ours, (headings, fits) in _PARTS_OF_DATES.items():
        for name in text.columns:
            cells = text[name].drop_nulls().str.strip_chars()
            if plain(name) in headings and len(cells) and all(map(fits, cells)):
                parts[name] = ours
                break
    whole = {name for name, ours in named.items() if ours.get("event_date", 0.0) > 0.9}
    years = [name for name in text.columns if named[name].keys() & {"year", CAR} and name not in parts]
    if not {"event_month", "event_year"} <= set(parts.values()) or not years or whole - set(parts):
        return {}
    if "event_date" in parts.values():
        return parts
    return {name: "event_date" if ours == "event_month" else ours for name, ours in parts.items()}


def what_is_left(placed: Mapping[str, str], left: Mapping[str, pl.Series]) -> dict[str, tuple[str, str]]:
    """Of a table with years and prices whose cars no heading names, the one column left for them: that of
    several words, or beside a make without a model that of names. Its column of ours and the reason.

    ``placed`` holds theirs = ours, ``left`` the cells of columns that nobody knows. Common practice, no
    source.

    >>> placed = {"Built": "year", "Paid": "amount", "Marque": "make"}
    >>> what_is_left(placed, {"Kind": pl.Series(["Sedge", "Six"]), "No": pl.Series(["7/1", "7/2"])})
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
    return share(distinct(cells), _is_name)


def _is_name(text: str) -> bool:
    few_figures = len(text) <= _LONGEST_NAME and len(re.findall(r"\d", text)) < 5
    return few_figures and _LETTERS.search(text) is not None
