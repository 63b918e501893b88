"""Commands for what comes into a market: mapping, names, batches, quarantine, corrections, odd and double
records."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption, RecordArgument
from pricing.cli.output import answer, done, note
from pricing.cli.printing.console import show
from pricing.cli.recording.records import typed_cells
from pricing.errors import MarketError
from pricing.operations.opening import MARKET_FILE, open_market, record_named

if TYPE_CHECKING:
    import polars as pl


intake_app = Commands()

ROWS_SHOWN: Final = 40
NAME_SHOWN: Final = 10

RowsOption = Annotated[int, option("How many rows to show.", min=1)]


@intake_app.example("pricing names settle make 'wexcomb' 'Wexcombe'")
def names(
    action: Annotated[str, argument("list, settle, apart or forget.", show_default=True)] = "list",
    field: Annotated[str | None, argument("make, model or variant.")] = None,
    typed: Annotated[str | None, argument("The name as typed.")] = None,
    name: Annotated[str | None, argument("The name it stands for.")] = None,
    make: Annotated[str | None, option("Make that a model or variant belongs to.")] = None,
    model: Annotated[str | None, option("Model that a variant belongs to.")] = None,
    rows: RowsOption = ROWS_SHOWN,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List names that may be one, and settle them: settle, keep apart, or forget what was settled."""
    opened = open_market(market)
    if action == "list":
        listed = opened.names()
        answer(listed, lambda: show(listed.head(rows), "Names that may be one, and those settled"))
        return
    field, typed = _given(field, "field"), _given(typed, "the name as typed")
    if action == "settle":
        opened.settle_name(field, typed, _given(name, "the name it stands for"), make=make, model=model)
        done({"field": field, "typed": typed, "name": name}, f"{typed!r} is {name!r} from now on.")
    elif action == "apart":
        opened.settle_name(field, typed, typed, make=make, model=model)
        done({"field": field, "typed": typed, "name": typed}, f"{typed!r} is a name of its own.")
    elif action == "forget":
        gone = opened.forget_name(field, typed)
        done({"field": field, "typed": typed, "forgotten": gone}, f"{gone} forgotten.")
    else:
        raise MarketError(f"names can be listed or settled: list, settle, apart, forget; got {action!r}")


@intake_app.example("pricing batches --market market.duckdb")
def batches(
    audit: Annotated[bool, option("Show the whole audit trail.", "--audit")] = False,
    rows: RowsOption = ROWS_SHOWN,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List the loads of a market, the newest last, with what became of their rows."""
    opened = open_market(market)
    listed, title = (opened.audit(), "What was done") if audit else (opened.batches(), "Batches")
    answer(listed, lambda: show(listed.tail(rows), title))


@intake_app.example("pricing undo batch-0003")
def undo(
    batch: Annotated[str, argument("Batch to take back.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Take a load back: its records and quarantined rows go, and the batch stays listed as undone."""
    gone = open_market(market).undo(batch)
    done({"batch": batch, "records": gone}, f"{gone:,} records of {batch} are gone.")


@intake_app.example("pricing quarantine --export mend")
def quarantine(
    export: Annotated[Path | None, option("Empty folder to write the rows to.")] = None,
    rows: RowsOption = ROWS_SHOWN,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List the rejected rows that wait, or write them out, one file a source, to be mended and loaded
    again."""
    opened = open_market(market)
    if export is None:
        waiting = opened.quarantine()
        short = _short(waiting.drop("batch_id", "source", "raw")).head(rows)
        answer(waiting, lambda: show(short, f"{waiting.height:,} rows wait in quarantine"))
        return
    files = opened.export_quarantine(export)
    done({"files": files}, [f"{path}: mend its rows, then: pricing load {path}" for path in files])


@intake_app.example("pricing correct 5b1c year=1968 'amount=£4,250' --reason 'seen on the plate'")
def correct(
    record: RecordArgument,
    cells: Annotated[
        list[str], argument("column=value, as people write it; column= empties the cell. See: pricing format")
    ],
    reason: Annotated[str, option("How it is known.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Correct cells of a record, all or none; the old values are kept, and the price derived anew."""
    opened = open_market(market)
    name = record_named(opened, record)
    values = {column: value if value else None for column, value in typed_cells(cells).items()}
    opened.correct(name, values, reason=reason)
    sentence = f"{', '.join(values)} of {name} corrected; what stood there is kept."
    done({"record": name, "columns": list(values)}, sentence)


@intake_app.example("pricing suspicions --settle 5b1c --verdict 'price confirmed by the seller'")
def suspicions(
    find: Annotated[bool, option("Look again with the newest fit.")] = True,
    settle: Annotated[str | None, option("Record to settle, or the start of its name.")] = None,
    verdict: Annotated[str, option("What was found out.")] = "",
    rows: RowsOption = ROWS_SHOWN,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List records that are plausible but odd against the fitted market, each with its reason."""
    opened = open_market(market)
    if settle is not None:
        name = record_named(opened, settle)
        settled = opened.settle_suspicion(name, verdict)
        done({"record": name, "settled": settled}, f"{settled} settled.")
        return
    if find:
        from pricing.intake.suspicions import find_suspicions
        from pricing.model.saved import load

        model = load(opened) if opened.fits().height else None
        if model is None:
            note("No model is fitted yet, so prices are not looked at; run: pricing fit")
        opened.mark_suspicions(find_suspicions(opened.sales(every_record=True), model))
    waiting = opened.suspicions()
    columns = ["record_id", "reason", "detail", "make", "model", "year", "event_date"]
    title = f"{waiting.height:,} records to look at"
    answer(waiting, lambda: show(_short(waiting.select(columns)).head(rows), title))


@intake_app.example("pricing duplicates --part 5b1c")
def duplicates(
    part: Annotated[str | None, option("Record to take out of the sale it is linked to.")] = None,
    rejoin: Annotated[str | None, option("Record to put back.")] = None,
    rows: RowsOption = ROWS_SHOWN,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List records that are one sale, with the rule that linked them; part those that are not."""
    opened = open_market(market)
    if part is not None:
        name = record_named(opened, part)
        count = opened.unlink(name)
        done({"record": name, "parted": count}, f"{count} links parted.")
    elif rejoin is not None:
        name = record_named(opened, rejoin)
        count = opened.relink(name)
        done({"record": name, "rejoined": count}, f"{count} links hold again.")
    else:
        links = opened.duplicates()
        title = f"{links.height:,} links between records of one sale"
        answer(links, lambda: show(_short(links).head(rows), title))


@intake_app.example("pricing rates my_rates.csv")
def rates(
    file: Annotated[Path, argument("CSV: currency, rate_date, rate.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Add your own exchange rates, for days and currencies that the European Central Bank has none for.

    A rate is what one unit of the market's base currency buys, from its day until the next rate of the
    currency.
    """
    count = open_market(market).add_rates(file)
    done({"rates": count}, f"{count:,} rates added; rows that lacked one can be loaded again.")


def _short(frame: "pl.DataFrame") -> "pl.DataFrame":
    """Names of records cut to a length that is still one record's."""
    import polars as pl

    return frame.with_columns(pl.col("^.*_id$").str.slice(0, NAME_SHOWN))


def _given(value: str | None, what: str) -> str:
    if value is None:
        raise MarketError(f"settling a name needs {what}; see: pricing names --help")
    return value
