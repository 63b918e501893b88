"""The options that several commands share: market, day, inspection, sheets, language, paper, people."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from pricing.cli.commands import argument, option
from pricing.cli.printing.console import progress
from pricing.operations import opening
from pricing.store.market_paths import market_path

if TYPE_CHECKING:
    from pricing.snapshot import Snapshot

MarketOption = Annotated[
    Path,
    option(
        "Market: a DuckDB file, or the address of a PostgreSQL server.",
        envvar="PRICING_MARKET",
        parser=market_path,
        metavar="MARKET",
    ),
]
DayOption = Annotated[str | None, option("Effective date (YYYY-MM-DD); else the last on record.")]
InspectionOption = Annotated[Path | None, option("Inspection file (.json), in place of a condition.")]
SheetsOption = Annotated[Path, option("Folder of sheets for single models.", show_default="demo sheets")]
LocaleOption = Annotated[
    str, option("Its language (German, English, French, Italian) and country, such as de_CH.")
]
PaperOption = Annotated[str, option("a4 or letter.")]
ManagerOption = Annotated[
    list[str] | None,
    option("Address of a person who may do everything, once people sign in; may be repeated."),
]
RecordArgument = Annotated[str, argument("Record, or the start of its name.")]


def fitted_market(path: Path, at: date | None = None, fit: str | None = None) -> "Snapshot":
    """``opening.fitted_market``, with the progress of a fit shown."""

    return opening.fitted_market(path, at, fit, progress)
