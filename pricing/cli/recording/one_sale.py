"""Commands for one sale at a time: typed in, taken out."""

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from pricing.cli.asked import as_json
from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption, RecordArgument
from pricing.cli.output import done
from pricing.cli.printing.frames import say, show
from pricing.cli.printing.plain import plain_cell
from pricing.cli.recording.typed_cells import typed_cells
from pricing.errors import MarketError
from pricing.operations.opening import MARKET_FILE, open_market, record_named

if TYPE_CHECKING:
    import polars as pl

sale_app = Commands()


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
    told = f"added ({added.report.batch_id}): " + ", ".join(f"{name} {value}" for name, value in said.items())

    def show_added() -> None:
        for sentence in (*told_sentences(added.report), told):
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
    told = (
        "record_id",
        "make",
        "model",
        "variant",
        "year",
        "event_date",
        "outcome",
        "amount",
        "currency",
        "source",
    )
    show(same.select(told), "It may be one sale with")
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
