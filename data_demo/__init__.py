"""The invented demo market: its files, the truth they were drawn from, and a car to price."""

from decimal import Decimal
from pathlib import Path

_FOLDER = Path(__file__).parent


def files() -> list[Path]:
    """The raw files, in load order: a club's text table, a sale room's workbook, an exchange's parquet.

    >>> [path.name for path in files()]
    ['quenmoor_register.csv', 'bruksholm_auktionskammare.xlsx', 'kelderhaag_exchange.parquet']
    """
    names = ("quenmoor_register.csv", "bruksholm_auktionskammare.xlsx", "kelderhaag_exchange.parquet")
    return [_FOLDER / "raw" / name for name in names]


def opinions() -> Path:
    """Invented statements of what two models fetch, one of which was never sold; no part of the market."""
    return _FOLDER / "opinions.csv"


def true_records() -> Path:
    """Parquet, a row a raw row: the sale it records, what it was drawn from, what is wrong with it."""
    return _FOLDER / "truth" / "records.parquet"


def true_parameters() -> Path:
    """JSON of the parameters that the market was drawn from: log effects, a list of rows an entity."""
    return _FOLDER / "truth" / "parameters.json"


def sheets() -> Path:
    """Folder of inspection checks for single models: the known weak points of two of the invented cars."""
    return _FOLDER / "sheets"


def example_car() -> dict[str, object]:
    """A modest, plentiful saloon in average condition, with what is asked for it in EUR.

    >>> car = example_car()
    >>> car["make"], car["model"], car["asking"]
    ('Wexcombe', 'Sedge', Decimal('4650'))
    """
    return {
        "make": "Wexcombe",
        "model": "Sedge",
        "variant": "standard",
        "year": 1966,
        "body_style": "saloon",
        "drive_side": "right",
        "condition_band": "average",
        "condition_score": None,
        "odometer_km": 98_000.0,
        "options": ["overdrive", "servo_brakes"],
        "matching_numbers": "claimed",
        "history_file": True,
        "channel": "private",
        "country": "GB",
        "asking": Decimal("4650"),
    }
