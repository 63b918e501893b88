"""Commands for one sale at a time: typed in, taken out."""

from typing import Annotated

import typer

from pricing.cli.frames import plain_cell, say, show
from pricing.cli.market_option import MarketOption
from pricing.cli.output import done
from pricing.cli.typed_cells import typed_cells
from pricing.operations.opening import MARKET_FILE, open_market, record_named

sale_app = typer.Typer()


@sale_app.command(
    epilog="Example: pricing add make=Wexcombe model=Sedge year=1966 'amount=£4,250' outcome=sold "
    "price_basis=all-in"
)
def add(
    cells: Annotated[
        list[str],
        typer.Argument(help="column=value, as people write it; see: pricing format", show_default=False),
    ],
    believe: Annotated[bool, typer.Option("--believe", help="Keep figures that look doubtful.")] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Add one sale just seen, held to the same checks as a file, and show what it may be a double of."""
    from pricing.store.records.one_sale import add_sale
    from pricing.words.loading import told_sentences

    added = add_sale(market, typed_cells(cells), believe=believe)
    record = added.record.row(0, named=True)
    said = {name: plain_cell(value) for name, value in record.items() if value not in (None, [])}
    told = f"added ({added.report.batch_id}): " + ", ".join(f"{name} {value}" for name, value in said.items())

    def show_added() -> None:
        for sentence in (*told_sentences(added.report), told):
            say(sentence)
        if added.doubles.height:
            show(added.doubles, "It may be one sale with these; pricing duplicates --part parts them")

    done({"batch": added.report.batch_id, "record": record, "doubles": added.doubles}, show_added)


@sale_app.command(epilog="Example: pricing remove 5b1c --reason 'entered twice'")
def remove(
    record: Annotated[str, typer.Argument(help="Record, or the start of its name.", show_default=False)],
    reason: Annotated[str, typer.Option(help="Why it goes.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Take a record out; what it was is kept, and its file loaded again does not bring it back."""
    opened = open_market(market)
    name = record_named(opened, record)
    opened.remove(name, reason=reason)
    done({"record": name}, f"{name} is taken out; what it was is kept.")
