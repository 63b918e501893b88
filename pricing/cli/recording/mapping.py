"""Commands for files that are about to be loaded: what their columns are, and what a file of records is."""

import shlex
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from pricing.cli.asked import as_json
from pricing.cli.market_option import MarketOption
from pricing.cli.output import answer, done, note
from pricing.cli.printing.frames import say, show
from pricing.errors import MappingError
from pricing.operations.opening import MARKET_FILE, open_market
from pricing.words.mapping_keys import keys_text

if TYPE_CHECKING:
    import polars as pl

    from pricing.intake.mappings.proposals import Proposal
    from pricing.intake.mappings.questions import Question

mapping_app = typer.Typer()

_HELP = """Propose how a file's columns become records, show the first rows as they would land, and write it
down.

Run in a terminal it asks what the file leaves open; elsewhere give it as --column and --set. The mapping
file, <file>.mapping.toml, is yours to edit; loading the file uses it. What is still open stands at its top. A
market that is there lends the names of its cars, and the mapping of an earlier file of the source.

A mapping file may hold:

\b
"""


@mapping_app.command(
    "map",
    help=_HELP + keys_text().replace("[", r"\["),
    epilog="Example: pricing map results.csv --set channel=private --set currency=GBP",
)
def propose_mapping(
    file: Annotated[Path, typer.Argument(help="File of sale records.", show_default=False)],
    source: Annotated[str | None, typer.Option(help="Name of the source; the file's by default.")] = None,
    columns: Annotated[
        list[str] | None,
        typer.Option(
            "--column",
            help="What one of its columns is: 'Where sold=channel', or 'Where sold=' to leave it out; may be "
            "repeated. See: pricing format.",
        ),
    ] = None,
    answers: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="What holds for the whole file: a column of ours and its value, or order (of dates), "
            "odometer_km (its unit), year (year or age), amount_unit (one, thousand, hundredth), decimal, "
            "premium (the buyer's, in per cent with its tax), car (by words, or refuse); what a word means: "
            "'condition_band:tatty=project'. May be repeated. Channel, country and words may be unknown.",
        ),
    ] = None,
    sheet: Annotated[
        str | None, typer.Option(help="Sheet of a workbook; all that are shown without.")
    ] = None,
    write: Annotated[
        bool, typer.Option("--write/--no-write", help="Write the mapping beside the file.")
    ] = True,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Write the mapping anew over the one that is there.")
    ] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Propose a mapping; see ``_HELP``."""
    from pricing.intake.checking import preview, turned
    from pricing.intake.mappings.mapping_files import recognised, write_mapping_text
    from pricing.intake.mappings.proposals import propose
    from pricing.intake.mappings.settling import with_answers
    from pricing.intake.tables.layout import Layout
    from pricing.intake.tables.readers import read_whole
    from pricing.intake.written.cars import CarNames

    layout = Layout(sheet=sheet)
    table = read_whole(file, layout)
    names, kept = CarNames(), None
    if market.is_file():
        opened = open_market(market)
        names, kept = opened.car_names(), recognised(table.columns, opened.kept_mappings())
    if kept is not None:
        note(f"read as one of {kept.source!r}, by its headings")
    called = source if source is not None else file.name.split(".")[0] if kept is None else kept.source
    chosen = {theirs: ours if ours else None for theirs, ours in _pairs(columns or [], "--column").items()}
    typed = {name.replace("-", "_"): value for name, value in _pairs(answers or [], "--set").items()}

    def proposed() -> "Proposal":
        found = propose(table, called, chosen=chosen, earlier=kept, names=names)
        named = replace(found.mapping, layout=replace(found.mapping.layout, sheet=sheet), source=called)
        return with_answers(replace(found, mapping=named), typed)

    proposal = proposed()
    if not as_json():
        show(_columns(proposal), "What its columns are taken for")
    if sys.stdin.isatty() and sys.stdout.isatty():
        chosen |= _corrected(proposal)
        proposal = proposed()
        typed |= _asked(proposal)
        proposal = with_answers(proposal, typed)
    landed = preview(proposal.mapping, table, date.today(), rows=4, names=names)
    beside = file.with_name(file.name + ".mapping.toml") if write else None
    if beside is not None:
        write_mapping_text(proposal.text, beside, overwrite=overwrite)

    def show_proposal() -> None:
        show(turned(landed), "First rows as they would land")
        for question in proposal.questions:
            say(f"To settle: {_asked_in_full(question)}")
        typed_as = shlex.quote(str(file))
        asked = [question.name for question in proposal.questions if question.section != "columns"]
        if asked:
            said = _as_options(typed, chosen, asked[:SETTLED_AT_ONCE])
            anew = "" if beside is None else " --overwrite"
            say(f"Settle it in the mapping file, or with: pricing map {typed_as} {said}{anew}")
        if beside is not None:
            settled = "settle what it asks, then" if proposal.questions else "then"
            say(f"Written to {beside}; read it, {settled}: pricing load {typed_as}")

    facts = {
        "columns": _columns(proposal),
        "rows": landed,
        "questions": [question.text for question in proposal.questions],
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
        answer({"mapping": keys_text()}, keys_text().splitlines())
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


SETTLED_AT_ONCE: Final = 6
"""Answers that the command printed for them leaves room for."""


def _pairs(typed: list[str], option: str) -> dict[str, str]:
    """What was typed as name=value."""
    found = {}
    for pair in typed:
        name, equals, value = pair.rpartition("=")
        if not equals or not name.strip() or (option == "--set" and not value.strip()):
            example = "channel=private" if option == "--set" else "'Where sold=channel'"
            raise MappingError(f"{option} takes name=value, such as {example}; got {pair!r}")
        found[name.strip()] = value.strip()
    return found


def _as_options(typed: dict[str, str], chosen: "dict[str, str | None]", asked: list[str]) -> str:
    """What was said and what is left to say, as it is typed."""
    said = [("--set", f"{name}={value}") for name, value in typed.items()]
    said += [("--column", f"{theirs}={ours or ''}") for theirs, ours in chosen.items()]
    left = [f"--set {shlex.quote(name)}=..." for name in asked]
    return " ".join([*(f"{option} {shlex.quote(pair)}" for option, pair in said), *left])


def _corrected(proposal: "Proposal") -> "dict[str, str | None]":
    """What a person at the terminal says that columns are."""
    from pricing.intake.mappings.recognition import MAY_BE
    from pricing.nearest import did_you_mean

    headings = [column.theirs for column in proposal.columns]
    chosen: dict[str, str | None] = {}
    while True:
        said = typer.prompt(
            "A column taken wrongly, as heading=column of ours, or heading= to leave it out (empty: go on)",
            default="",
            show_default=False,
        ).strip()
        if not said:
            return chosen
        theirs, _, ours = (part.strip() for part in said.rpartition("="))
        if theirs not in headings:
            say(f"no column {theirs!r}{did_you_mean(theirs, headings)}")
        elif ours and ours not in MAY_BE:
            say(f"no column of ours {ours!r}{did_you_mean(ours, MAY_BE)}; see: pricing format")
        else:
            chosen[theirs] = ours if ours else None


def _asked(proposal: "Proposal") -> dict[str, str]:
    """What a person at the terminal answers; an empty line leaves a question open."""
    from pricing.intake.mappings.settling import with_answers
    from pricing.nearest import did_you_mean

    found: dict[str, str] = {}
    seen = {question.name for question in proposal.questions if question.section == "columns"}
    while waiting := [asked for asked in with_answers(proposal, found).questions if asked.name not in seen]:
        question = waiting[0]
        seen.add(question.name)
        say(_asked_in_full(question))
        prompt = f"{question.name} (empty: leave it open)"
        typed = typer.prompt(prompt, default="", show_default=False).strip()
        while typed and question.choices and typed not in (*question.choices, "unknown"):
            near = did_you_mean(typed, question.choices)
            say(f"one of: {', '.join(question.choices[:12])}{near}")
            typed = typer.prompt(prompt, default="", show_default=False).strip()
        if typed:
            found[question.name] = typed
    return found


def _asked_in_full(question: "Question") -> str:
    """A question, with what a word of theirs may mean."""
    words = question.section.startswith("words.")
    return f"{question.text} (one of: {', '.join(question.choices)})" if words else question.text


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
