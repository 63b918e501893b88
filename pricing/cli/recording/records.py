"""Commands for single records of a market: ``records``, ``add``, ``remove``. Each opens, calls and prints."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption, RecordArgument
from pricing.cli.output import answer, done, write_frame
from pricing.cli.printing.console import as_json, plain_cell, say, show
from pricing.errors import FileError, MarketError
from pricing.operations.opening import MARKET_FILE, open_market, record_named

if TYPE_CHECKING:
    import polars as pl

    from pricing.store.market import Market

records_app = Commands("records", "List, export and show the records of a market.")
sale_app = Commands()

ROWS_SHOWN: Final = 20
NAME_SHOWN: Final = 10
LISTED: Final = ("record_id", "event_date", "make", "model", "variant", "year", "condition_band", "outcome",
                 "amount", "currency", "price")  # fmt: skip
"""Columns of a list; `show` and `export` give them all."""

COMPARED: Final = ("record_id", "make", "model", "variant", "year", "event_date", "outcome", "amount",
                   "currency", "source")  # fmt: skip
"""Columns of records that a sale may be one with."""

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
    records = _records(open_market(market), make, model, every_record)
    last = records.select(LISTED).tail(rows)
    short = last.with_columns(last["record_id"].str.slice(0, NAME_SHOWN))
    answer(last, lambda: show(short, f"The newest {last.height:,} of {records.height:,} records"))


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
    records = _records(open_market(market), make, model, every_record)
    if target.suffix == ".csv":
        lists = [name for name, kind in records.schema.items() if isinstance(kind, pl.List)]
        records = records.with_columns(pl.col(lists).list.join(","))
        records = records.with_columns(neutralised(pl.col(pl.String)))
    write_frame(records, target)
    done({"file": target, "records": records.height}, f"{target}: {records.height:,} records")


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
    filled = {column: value for column, value in cells.items() if value not in (None, [])}
    answer(cells, [f"{column}: {plain_cell(value)}" for column, value in filled.items()])


def _records(market: "Market", make: str | None, model: str | None, every_record: bool) -> "pl.DataFrame":
    from pricing.car_names import Names

    sales = market.sales(every_record=every_record)
    return sales.filter(**Names.of(sales).where(make, model))


@sale_app.example(
    "pricing add make=Wexcombe model=Sedge year=1966 'amount=£4,250' outcome=sold price_basis=all-in"
)
def add(
    cells: Annotated[list[str], argument("column=value, as people write it; see: pricing format")],
    believe: Annotated[bool, option("Keep figures that look doubtful.", "--believe")] = False,
    all_the_same: Annotated[
        bool, option("Add it though the market may hold the sale already.", "--all-the-same")
    ] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Add one sale just seen, held to the same checks as a file.

    Records that it may be one sale with are shown before it is added: in a terminal it is asked whether to go
    on, elsewhere it is refused without --all-the-same.
    """
    from pricing.store.records.one_sale import add_sale, try_sale
    from pricing.words.loading import told_sentences

    typed = typed_cells(cells)
    if not all_the_same:
        _ask_about(try_sale(market, typed))
    added = add_sale(market, typed, believe=believe)
    record = added.record.row(0, named=True)
    said = {name: plain_cell(value) for name, value in record.items() if value not in (None, [])}
    cells_words = ", ".join(f"{name} {value}" for name, value in said.items())

    def show_added() -> None:
        for sentence in (*told_sentences(added.report), f"added ({added.report.batch_id}): {cells_words}"):
            say(sentence)
        if added.doubles.height:
            show(added.doubles, "It may be one sale with these; pricing duplicates --part parts them")

    done({"batch": added.report.batch_id, "record": record, "doubles": added.doubles}, show_added)


def _ask_about(same: "pl.DataFrame") -> None:
    """Go on only where a person at the terminal says so, if there are records of what may be the same sale.

    Raises:
        MarketError: nobody can be asked, or the answer is no.
    """
    if same.is_empty():
        return
    names = ", ".join(same["record_id"].str.slice(0, 12).to_list())
    held = f"the market may hold this sale already: {names}"
    if as_json() or not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise MarketError(f"{held}; add it with --all-the-same if it is another, or offered again")
    show(same.select(COMPARED), "It may be one sale with")
    if not typer.confirm("Add it all the same?"):
        raise MarketError(f"nothing was added: {held}")


@sale_app.example("pricing remove 5b1c --reason 'entered twice'")
def remove(
    record: RecordArgument,
    reason: Annotated[str, option("Why it goes.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Take a record out; what it was is kept, and its file loaded again does not bring it back."""
    opened = open_market(market)
    name = record_named(opened, record)
    opened.remove(name, reason=reason)
    done({"record": name}, f"{name} is taken out; what it was is kept.")


def typed_cells(typed: Sequence[str]) -> dict[str, str]:
    """Cells typed as column=value, by column.

    Raises:
        MarketError: one is none, or a column is named twice.

    >>> typed_cells(["year=1966", "price-basis=all-in", "notes="])
    {'year': '1966', 'price_basis': 'all-in', 'notes': ''}
    """
    cells: dict[str, str] = {}
    for cell in typed:
        name, equals, value = cell.partition("=")
        column = name.strip().replace("-", "_")
        if not equals:
            raise MarketError(f"a cell is typed as column=value, such as year=1966; got {cell!r}")
        if column in cells:
            raise MarketError(f"{column} is said twice: {cells[column]!r} and {value!r}")
        cells[column] = value
    return cells
