"""What the command line shows: progress while it works, and facts as tables and sentences."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import polars as pl
import rich.progress
from rich.console import Console, ConsoleOptions, ConsoleRenderable, JustifyMethod, RenderHook, RenderResult
from rich.measure import Measurement
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    SpinnerColumn,
    TextColumn,
    TimeElapsedColumn,
)
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from pricing.cli.asked import quiet
from pricing.cli.printing.plain import plain_lines
from pricing.decisions.buy.verdict import LIMITS
from pricing.decisions.valuation import Valuation
from pricing.progress import Progress
from pricing.store.market import Market
from pricing.words.language.reader import day_words
from pricing.words.loading import load_sentence, rules_table, told_sentences
from pricing.words.opinions import ground_sentence, statement_words
from pricing.words.scores import ahead_sentence
from pricing.words.sentences import (
    CAUTION,
    basis_words,
    car_words,
    effect_words,
    evidence_sentence,
    exact_words,
    money_words,
    range_sentence,
    standing_sentence,
    term_words,
)

RULES_SHOWN = 10
SALES_SHOWN = 8


def console() -> Console:
    """Standard output, never wrapped where it goes to a file or a pipe."""
    made = Console(highlight=False, markup=False, soft_wrap=not sys.stdout.isatty())
    made.push_render_hook(_Plain())
    return made


class _Plain(RenderHook):
    """Has all that is printed lose what would steer a terminal, wherever it stands: text of strangers' files
    is in cells, headings and sentences."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        """The same, each plain when it is drawn."""
        return [_Plainly(each) for each in renderables]


class _Plainly:
    """Something to print, as what it draws."""

    def __init__(self, drawn: ConsoleRenderable) -> None:
        self._drawn = drawn

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for text, style, control in console.render(self._drawn, options):
            yield Segment(text if control else plain_lines(text), style, control)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Measurement.get(console, options, self._drawn)


@contextmanager
def progress() -> Iterator[Progress]:
    """A progress display on standard error; give the function it yields to whatever works."""
    columns = (
        SpinnerColumn(finished_text="-"),
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=30),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    with rich.progress.Progress(*columns, console=Console(stderr=True), disable=quiet()) as display:
        tasks: dict[str, Any] = {}

        def tell(step: str, done: int, total: int) -> None:
            for earlier, task in tasks.items():
                if earlier != step:
                    display.update(task, completed=display.tasks[task].total)
            if step not in tasks:
                tasks[step] = display.add_task(step, total=total)
            display.update(tasks[step], completed=done, total=total)

        yield tell


def show_report(report: Any, *, dry_run: bool = False) -> None:
    """What became of every row of the files just loaded, or would have in a dry run."""
    out = console()
    out.print(Text(load_sentence(report, dry_run=dry_run)))
    for sentence in told_sentences(report):
        out.print(Text(sentence))
    if report.by_rule:
        table = figure_table("rule broken", "rows")
        rules = rules_table(report)
        for rule, rows in rules.head(RULES_SHOWN).iter_rows():
            table.add_row(Text(rule), f"{rows:,}")
        others = rules.slice(RULES_SHOWN)
        if others.height:
            table.add_row(f"{others.height} other rules", f"{others['rows'].sum():,}")
        kept = "would be kept" if dry_run else "are kept"
        out.print(f"Rejected rows {kept} in quarantine, as they were given, with the rules they break:")
        out.print(table)


def show_new_market(market: Market) -> None:
    """What currency a market that was just made keeps its prices in."""
    out = f"prices are kept in {market.base_currency}; for another currency: pricing currency CODE"
    console().print(Text(out))


def show_fit(facts: dict[str, Any], fit_id: str) -> None:
    """What a fit has learnt from."""
    if facts.get("opinion_alone"):
        console().print(
            Text(
                f"{facts['opinions']:,} statements; with {facts['sales']:,} sales, too few for a price "
                f"model, prices are opinion alone (fit {fit_id})"
            )
        )
        return
    console().print(
        f"fitted on {facts['sales']:,} sales, {facts['unsold']:,} unsold lots and {facts['asking']:,} asking "
        f"prices from {facts['first_date']} to {facts['last_date']}; ranges calibrated on the "
        f"{facts['calibration_sales']:,} latest sales (fit {fit_id})"
    )
    console().print(Text(ahead_sentence(facts)))


def show_fits(fits: pl.DataFrame) -> None:
    """The kept fits, a line each."""
    table = figure_table("fit", "made", "sales", "first sale", "last sale", "version")
    for fit_id, made, text in fits.rows():
        facts = json.loads(text)
        cells = (f"{facts['sales']:,}", facts["first_date"], facts["last_date"], facts["version"])
        table.add_row(fit_id, f"{made:%Y-%m-%d %H:%M}", *cells)
    console().print(table)


def show_valuation(valuation: Valuation, limits: tuple[float, ...] = LIMITS) -> None:
    """A valuation as a person reads it, the caution last."""
    out = console()
    out.print()
    out.print(Text(car_words(valuation.car), style="bold"))
    out.print(Text(range_sentence(valuation)))
    if valuation.asking is not None:
        out.print(Text(standing_sentence(valuation, limits)))
    if valuation.mid is not None:
        out.print()
        out.print(_terms_table(valuation))
    out.print()
    out.print(_bands_table(valuation))
    out.print()
    out.print(Text(evidence_sentence(valuation)))
    ground = ground_sentence(valuation)
    if ground is not None:
        out.print(Text(ground))
    for said in valuation.opinions.iter_rows(named=True):
        out.print(Text(f"  {statement_words(said)}"))
    if not valuation.sales.is_empty():
        out.print(_sales_table(valuation))
    out.print()
    out.print(Text(CAUTION, style="italic"))


_WHOLE: Final = ("revision", "kind", "state", "effective", "made at (UTC)")


def text_table(*columns: str) -> Table:
    """A table of texts, to add rows to; the first column and those of ``_WHOLE`` stay on one line."""
    table = Table(box=None, padding=(0, 2, 0, 0))
    for place, name in enumerate(columns):
        whole = place == 0 or name in _WHOLE
        table.add_column(Text(name, style="underline"), overflow="fold", no_wrap=whole)
    return table


def figure_table(*columns: str, title: str | None = None) -> Table:
    """A table whose first column is text and the others are figures, to add rows to."""
    table = Table(title=title, title_justify="left", title_style="bold", box=None, padding=(0, 1, 0, 0))
    for place, name in enumerate(columns):
        side: JustifyMethod = "right" if place else "left"
        table.add_column(Text(name, style="underline"), justify=side, overflow="fold")
    return table


def _terms_table(valuation: Valuation) -> Table:
    title = f"What makes up the mid price ({basis_words(valuation)})"
    table = figure_table("term", "effect", "price so far", title=title)
    table.columns[0].overflow = "fold"
    so_far = 1.0
    for place, term in enumerate(valuation.terms.iter_rows(named=True)):
        so_far *= term["factor"]
        effect = "" if place == 0 else effect_words(term["factor"])
        table.add_row(Text(term_words(term)), effect, money_words(so_far, valuation.currency))
    return table


def _bands_table(valuation: Valuation) -> Table:
    title = f"This car in each condition band ({basis_words(valuation)})"
    table = figure_table("condition band", "low", "mid", "high", title=title)
    for band in valuation.bands.iter_rows(named=True):
        if band["reason"] is not None:
            table.add_row(band["condition_band"], "", Text(f"no range: {band['reason']}"), "")
            continue
        prices = (money_words(band[name], valuation.currency) for name in ("low", "mid", "high"))
        table.add_row(band["condition_band"], *prices)
    return table


def _sales_table(valuation: Valuation) -> Table:
    shown = valuation.sales.head(SALES_SHOWN)
    title = f"The {shown.height} nearest sales ({valuation.basis} prices in {valuation.currency} on the day)"
    table = figure_table(
        "sold", "variant", "year", "condition band", "odometer", "price", "source", title=title
    )
    for sale in shown.iter_rows(named=True):
        odometer = sale["odometer_km"]
        table.add_row(
            day_words(sale["event_date"]),
            Text(sale["variant"] or ""),
            str(sale["year"]),
            sale["condition_band"] or "not graded",
            "" if odometer is None else f"{odometer:,.0f} km",
            exact_words(sale["price"], valuation.currency),
            Text(f"{sale['source']} {sale['source_ref']}"),
        )
    return table
