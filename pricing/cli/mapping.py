"""Commands for files that are about to be loaded: what their columns are, and what a file of records is."""

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pricing.cli.asked import as_json
from pricing.cli.frames import say, show
from pricing.cli.market_option import MarketOption
from pricing.cli.output import answer, done, note
from pricing.errors import MappingError
from pricing.operations.opening import MARKET_FILE, open_market

if TYPE_CHECKING:
    import polars as pl

    from pricing.intake.proposals import Proposal

mapping_app = typer.Typer()

_KEYS = """A mapping file has these parts, all but the source optional. source; sheet, delimiter, encoding,
header_row: how the file lies. [columns] ours = "theirs". [car] column: a whole car in one cell; unknown = "by
words" takes the first word of a car that the market does not know as its make, the second as its model.
[constants] ours = "of every row". [dates] order. [numbers] decimal. [units] odometer_km, year (year or age),
amount (one, thousand, hundredth). [words.<column>] "their word" = "ours". [options] packed, separator, yes;
[options.columns] code = "theirs"; [options.words]. [[premium]] and [[commission]]: what the source charges.
Columns and words of ours: pricing format."""


@mapping_app.command(
    "map", epilog="Example: pricing map results.csv --set channel=private --set currency=GBP"
)
def propose_mapping(
    file: Annotated[Path, typer.Argument(help="File of sale records.", show_default=False)],
    source: Annotated[str | None, typer.Option(help="Name of the source; the file's by default.")] = None,
    answers: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="What holds for the whole file: a column of ours and its value, or order (of dates), "
            "odometer_km (its unit), year (year or age), amount_unit (one, thousand, hundredth), decimal; "
            "may be repeated. Channel and country may be unknown.",
        ),
    ] = None,
    write: Annotated[
        bool, typer.Option("--write/--no-write", help="Write the mapping beside the file.")
    ] = True,
) -> None:
    """Propose how a file's columns become records, show the first rows as they would land, and write it down.

    Run in a terminal it asks what the file leaves open; elsewhere give it as --set. The mapping file,
    <file>.mapping.toml, is yours to edit; loading the file uses it. What is still open stands at its top.
    """
    from pricing.intake.mapping_files import write_mapping_text
    from pricing.intake.proposals import preview, propose, turned
    from pricing.intake.readers import read_whole
    from pricing.intake.settling import with_answers

    table = read_whole(file)
    proposal = propose(table, source if source is not None else file.name.split(".")[0])
    proposal = with_answers(proposal, _answers(answers or []))
    if not as_json():
        show(_columns(proposal), "What its columns are taken for")
    if sys.stdin.isatty() and sys.stdout.isatty():
        proposal = with_answers(proposal, _asked(proposal))
    landed = preview(proposal.mapping, table, date.today(), rows=4)
    beside = file.with_name(file.name + ".mapping.toml") if write else None
    if beside is not None:
        write_mapping_text(proposal.text, beside)

    def show_proposal() -> None:
        show(turned(landed), "First rows as they would land")
        for question in proposal.questions:
            say(f"To settle: {question}")
        if beside is not None:
            say(f"Written to {beside}; read it, settle what it asks, then: pricing load {file}")

    facts = {
        "columns": _columns(proposal),
        "rows": landed,
        "questions": proposal.questions,
        "mapping": beside,
    }
    answer(facts, show_proposal)


@mapping_app.command("format", epilog="Example: pricing format --template sales.xlsx")
def record_format(
    template: Annotated[
        Path | None, typer.Option("--template", help="Write an empty csv or xlsx file to fill in.")
    ] = None,
    keys: Annotated[bool, typer.Option("--mapping", help="Print what a mapping file may hold.")] = False,
) -> None:
    """Print what a file of sale records holds: every column, its kind, its closed words and an example."""
    import polars as pl

    from pricing.records.layout import record_layout
    from pricing.reports.template import write_template

    if keys:
        answer({"mapping": " ".join(_KEYS.split())}, " ".join(_KEYS.split()))
        return
    rows = [
        {
            "column": column.name,
            "kind": f"{column.kind}{', required' if column.required else ''}",
            "words": ", ".join(column.words) or None,
            "meaning": column.meaning,
            "example": column.example or None,
        }
        for column in record_layout()
    ]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(rows[0], pl.String))
    answer(frame, lambda: show(frame, "A file of sale records"))
    if template is not None:
        write_template(template)
        note(f"Written to {template}: fill it in, then: pricing load {template}")


@mapping_app.command("currency", epilog="Example: pricing currency GBP --market market.duckdb")
def base_currency(
    code: Annotated[str, typer.Argument(help="ISO 4217 code, such as GBP.", show_default=False)],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep a market's prices in another base currency: every price is derived anew, and fits have to be made
    again."""
    opened = open_market(market)
    priced = opened.rebase(code)
    told = f"{priced:,} records are priced in {code}; make a fit in it: pricing fit"
    if priced == 0:
        told = f"Prices are kept in {opened.base_currency} already."
    done({"currency": opened.base_currency, "records": priced}, told)


def _answers(typed: list[str]) -> dict[str, str]:
    """Answers typed as key=value."""
    found = {}
    for pair in typed:
        key, equals, value = pair.partition("=")
        if not equals or not key.strip() or not value.strip():
            raise MappingError(f"--set takes key=value, such as channel=private; got {pair!r}")
        found[key.strip().replace("-", "_")] = value.strip()
    return found


def _asked(proposal: "Proposal") -> dict[str, str]:
    """What a person at the terminal answers; an empty line leaves a question open."""
    from pricing.intake.settling import answerable

    found = {}
    for question in answerable(proposal.text):
        say(question.text)
        typed = typer.prompt(f"{question.key} (empty: leave it open)", default="", show_default=False).strip()
        while typed and typed not in (*question.choices, "unknown"):
            say(f"one of: {', '.join(question.choices[:12])}")
            typed = typer.prompt(question.key, default="", show_default=False).strip()
        if typed:
            found[question.key] = typed
    return found


def _columns(proposal: "Proposal") -> "pl.DataFrame":
    """What each column of the file is proposed to be, with the reason."""
    import polars as pl

    rows = [
        (
            column.theirs,
            column.ours,
            f"{column.sure:.0%}" if column.ours else None,
            column.reason,
            "; ".join(column.samples),
        )
        for column in proposal.columns
    ]
    names = ("theirs", "ours", "sure", "reason", "cells")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")
