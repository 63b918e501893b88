"""Commands for the records of a market: ``records``. Each opens, calls and prints."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

from pricing.cli.commands import Commands, argument, option
from pricing.cli.evidence_files import write_frame
from pricing.cli.options import MarketOption, RecordArgument
from pricing.cli.output import answer, done
from pricing.cli.printing.frames import show
from pricing.cli.printing.plain import plain_cell
from pricing.errors import FileError
from pricing.operations.opening import MARKET_FILE, open_market, record_named

if TYPE_CHECKING:
    import polars as pl

    from pricing.store.market import Market

records_app = Commands(help="List, export and show the records of a market.", no_args_is_help=True)

ROWS_SHOWN: Final = 20
NAME_SHOWN: Final = 10
LISTED: Final = ("record_id", "event_date", "make", "model", "variant", "year", "condition_band", "outcome",
                 "amount", "currency", "price")  # fmt: skip
"""Columns of a list; `show` and `export` give them all."""

MakeOption = Annotated[str | None, option("Of this make alone.")]
ModelOption = Annotated[str | None, option("Of this model of the make.")]
EveryOption = Annotated[bool, option("Those behind another record of the same sale too.", "--every-record")]


@records_app.example("pricing records list --make Wexcombe --rows 40", "list")
def list_records(
    make: MakeOption = None,
    model: ModelOption = None,
    every_record: EveryOption = False,
    rows: Annotated[int, option("How many to show, the newest.", min=1)] = ROWS_SHOWN,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List the newest records, the price all-in in the market's base currency."""
    found = _records(open_market(market), make, model, every_record)
    last = found.select(LISTED).tail(rows)
    short = last.with_columns(last["record_id"].str.slice(0, NAME_SHOWN))
    answer(last, lambda: show(short, f"The newest {last.height:,} of {found.height:,} records"))


@records_app.example("pricing records export wexcombe.csv --make Wexcombe")
def export(
    target: Annotated[Path, argument("New file: .csv or .parquet.")],
    make: MakeOption = None,
    model: ModelOption = None,
    every_record: EveryOption = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Write records with every column to a file; cells that a spreadsheet would run as a formula get an
    apostrophe in front, which loading takes away."""
    import polars as pl

    from pricing.intake.exports import neutralised

    if target.exists():
        raise FileError(f"{target} exists already; name a file that does not")
    found = _records(open_market(market), make, model, every_record)
    if target.suffix == ".csv":
        lists = [name for name, kind in found.schema.items() if isinstance(kind, pl.List)]
        found = found.with_columns(pl.col(lists).list.join(","))
        found = found.with_columns(neutralised(pl.col(pl.String)))
    write_frame(found, target)
    done({"file": target, "records": found.height}, f"{target}: {found.height:,} records")


@records_app.example("pricing records show 5b1c", "show")
def show_record(
    record: RecordArgument,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Show everything that is kept of one record."""
    opened = open_market(market)
    name = record_named(opened, record)
    sales = opened.sales(every_record=True)
    cells = sales.filter(sales["record_id"] == name).row(0, named=True)
    told = [f"{column}: {plain_cell(value)}" for column, value in cells.items() if value not in (None, [])]
    answer(cells, told)


def _records(market: "Market", make: str | None, model: str | None, every_record: bool) -> "pl.DataFrame":
    import polars as pl

    from pricing.car_names import Names

    sales = market.sales(every_record=every_record)
    where = Names.of(sales).where(make, model)
    return sales.filter(*(pl.col(name) == value for name, value in where.items()))
