"""Commands for files that are about to be loaded: what their columns are, and what a file of records is."""

import shlex
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption
from pricing.cli.output import answer, done, note
from pricing.cli.printing.console import as_json, say, show
from pricing.errors import MappingError
from pricing.operations.opening import MARKET_FILE, open_market
from pricing.words.mapping_keys import keys_text

if TYPE_CHECKING:
    import polars as pl

    from pricing.intake.mappings.proposals import Proposal
    from pricing.intake.mappings.questions import MappingQuestion

mapping_app = Commands()

_HELP = """Propose how a file's columns become records, show the first rows as they would land, and write it
down.

Run in a terminal it asks what the file leaves open; elsewhere give it as --column and --set. The mapping
file, <file>.mapping.toml, is yours to edit; loading the file uses it. What is still open stands at its top. A
market that is there lends the names of its cars, and the mapping of an earlier file of the source.

A mapping file may hold:

\b
"""


@mapping_app.example(
    "pricing map results.csv --set channel=private --set currency=GBP",
    "map",
    help=_HELP + keys_text().replace("[", r"\["),
)
def propose_mapping(
    file: Annotated[Path, argument("File of sale records.")],
    source: Annotated[str | None, option("Name of the source; the file's by default.")] = None,
    columns: Annotated[
        list[str] | None,
        option(
            "What one of its columns is: 'Where sold=channel', or 'Where sold=' to leave it out; may be "
            "repeated. See: pricing format.",
            "--column",
        ),
    ] = None,
    answers: Annotated[
        list[str] | None,
        option(
            "What holds for the whole file: a column of ours and its value, or order (of dates), "
            "odometer_km (its unit), year (year or age), amount_unit (one, thousand, hundredth), decimal, "
            "premium (the buyer's, in per cent with its tax), car (by words, or refuse); what a word means: "
            "'condition_band:tatty=project'. May be repeated. Channel, country and words may be unknown.",
            "--set",
        ),
    ] = None,
    sheet: Annotated[str | None, option("Sheet of a workbook; all that are shown without.")] = None,
    write: Annotated[bool, option("Write the mapping beside the file.")] = True,
    overwrite: Annotated[
        bool, option("Write the mapping anew over the one that is there.", "--overwrite")
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
    names, earlier = CarNames(), None
    if market.is_file():
        opened = open_market(market)
        names, earlier = opened.car_names(), recognised(table.columns, opened.kept_mappings())
    if earlier is not None:
        note(f"read as one of {earlier.source!r}, by its headings")
    called = source if source is not None else file.name.split(".")[0] if earlier is None else earlier.source
    chosen = {theirs: ours if ours else None for theirs, ours in _pairs(columns or [], "--column").items()}
    typed = {name.replace("-", "_"): value for name, value in _pairs(answers or [], "--set").items()}

    def proposed() -> "Proposal":
        made = propose(table, called, chosen=chosen, earlier=earlier, names=names)
        named = replace(made.mapping, layout=replace(made.mapping.layout, sheet=sheet), source=called)
        return with_answers(replace(made, mapping=named), typed)

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
        left_open = [question.name for question in proposal.questions if question.section != "columns"]
        if left_open:
            options = _as_options(typed, chosen, left_open[:SETTLED_AT_ONCE])
            anew = "" if beside is None else " --overwrite"
            say(f"Settle it in the mapping file, or with: pricing map {typed_as} {options}{anew}")
        if beside is not None:
            settled = "settle what it asks, then" if proposal.questions else "then"
            say(f"Written to {beside}; read it, {settled}: pricing load {typed_as}")

    questions = [question.text for question in proposal.questions]
    facts = {"columns": _columns(proposal), "rows": landed, "questions": questions, "mapping": beside}
    answer(facts, show_proposal)


@mapping_app.example("pricing format --template sales.xlsx", "format")
def record_format(
    template: Annotated[Path | None, option("Write an empty csv or xlsx file to fill in.")] = None,
    keys: Annotated[bool, option("Print what a mapping file may hold.", "--mapping")] = False,
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


@mapping_app.example("pricing currency GBP --market market.duckdb", "currency")
def base_currency(
    code: Annotated[str, argument("ISO 4217 code, such as GBP.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep a market's prices in another base currency: every price is derived anew, and fits have to be made
    again."""
    opened = open_market(market)
    priced = opened.rebase(code)
    sentence = f"{priced:,} records are priced in {code}; make a fit in it: pricing fit"
    if priced == 0:
        sentence = f"Prices are kept in {opened.base_currency} already."
    done({"currency": opened.base_currency, "records": priced}, sentence)


SETTLED_AT_ONCE: Final = 6
"""Answers that the command printed for them leaves room for."""


def _pairs(typed: list[str], option: str) -> dict[str, str]:
    """What was typed as name=value."""
    pairs = {}
    for pair in typed:
        name, equals, value = pair.rpartition("=")
        if not equals or not name.strip() or (option == "--set" and not value.strip()):
            example = "channel=private" if option == "--set" else "'Where sold=channel'"
            raise MappingError(f"{option} takes name=value, such as {example}; got {pair!r}")
        pairs[name.strip()] = value.strip()
    return pairs


def _as_options(typed: dict[str, str], chosen: "dict[str, str | None]", left_open: list[str]) -> str:
    """What was answered and what is left open, as it is typed."""
    pairs = [("--set", f"{name}={value}") for name, value in typed.items()]
    pairs += [("--column", f"{theirs}={ours or ''}") for theirs, ours in chosen.items()]
    left = [f"--set {shlex.quote(name)}=..." for name in left_open]
    return " ".join([*(f"{option} {shlex.quote(pair)}" for option, pair in pairs), *left])


def _corrected(proposal: "Proposal") -> "dict[str, str | None]":
    """What a person at the terminal says that columns are."""
    from pricing.intake.mappings.recognition import MAY_BE
    from pricing.nearest import did_you_mean

    headings = [column.theirs for column in proposal.columns]
    chosen: dict[str, str | None] = {}
    while True:
        line = _prompted(
            "A column taken wrongly, as heading=column of ours, or heading= to leave it out (empty: go on)"
        )
        if not line:
            return chosen
        theirs, _, ours = (part.strip() for part in line.rpartition("="))
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

    answers: dict[str, str] = {}
    seen = {question.name for question in proposal.questions if question.section == "columns"}
    while waiting := [each for each in with_answers(proposal, answers).questions if each.name not in seen]:
        question = waiting[0]
        seen.add(question.name)
        say(_asked_in_full(question))
        prompt = f"{question.name} (empty: leave it open)"
        typed = _prompted(prompt)
        while typed and question.choices and typed not in (*question.choices, "unknown"):
            near = did_you_mean(typed, question.choices)
            say(f"one of: {', '.join(question.choices[:12])}{near}")
            typed = _prompted(prompt)
        if typed:
            answers[question.name] = typed
    return answers


def _prompted(question: str) -> str:
    return str(typer.prompt(question, default="", show_default=False)).strip()


def _asked_in_full(question: "MappingQuestion") -> str:
    """A question, with what a word of theirs may mean."""
    words = question.section.startswith("words.")
    return f"{question.text} (one of: {', '.join(question.choices)})" if words else question.text


def _columns(proposal: "Proposal") -> "pl.DataFrame":
    """What each column of the file is proposed to be, with the reason."""
    import polars as pl

    frame = pl.DataFrame(
        {
            "theirs": [column.theirs for column in proposal.columns],
            "ours": [column.ours for column in proposal.columns],
            "sure": [f"{column.sure:.0%}" if column.ours else None for column in proposal.columns],
            "reason": [column.reason for column in proposal.columns],
            "cells": ["; ".join(column.samples) for column in proposal.columns],
        }
    )
    return frame.cast(pl.String)
