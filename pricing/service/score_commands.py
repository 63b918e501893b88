"""The command that scores the price model on sales it has not seen."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from pricing.errors import FileError, MarketError

if TYPE_CHECKING:
    import polars as pl
    from rich.table import Table

    from pricing.model.backtest import Backtest

score_app = typer.Typer()

ROWS_A_PART: Final = 12


@score_app.command(epilog="Example: pricing score --origins 4 --csv scored.csv")
def score(
    origins: Annotated[
        int, typer.Option("--origins", help="Days at which the model is fitted anew.", min=1, max=1000)
    ] = 6,
    as_json: Annotated[bool, typer.Option("--json", help="Print every score as JSON.")] = False,
    csv: Annotated[
        Path | None, typer.Option("--csv", help="New file to write to, one row a scored sale.")
    ] = None,
    market: Annotated[
        Path,
        typer.Option("--market", envvar="PRICING_MARKET", help="Market file (DuckDB).", show_default=True),
    ] = Path("market.duckdb"),
) -> None:
    """Score the price model on the later half of the sales, each by a model fitted to what was known before.

    Prints how often ranges held the price paid, how wide they were, and how mid prices stand to prices paid.
    """
    from pricing.model.backtest import backtest, rolling_origins
    from pricing.model.spec import FeatureSpec
    from pricing.service.terminal import progress
    from pricing.store import Market

    if not market.is_file():
        raise MarketError(f"no market file at {market}: make one with `pricing load FILE` or `pricing demo`")
    if csv is not None:
        _check_new(csv)
    opened, spec = Market.open(market, create=False), FeatureSpec.cars()
    sales = opened.sales()
    with progress() as tell:
        scored = backtest(
            sales, spec, rolling_origins(sales, spec, origins), known=opened.sales, progress=tell
        )
    if csv is not None:
        _write(scored.rows, csv)
    if as_json:
        facts = {"currency": opened.base_currency, "basis": "all-in", **scored.to_dict()}
        sys.stdout.write(json.dumps(facts, indent=2) + "\n")
    else:
        _show(scored)


def _show(scored: "Backtest") -> None:
    from rich.text import Text

    from pricing.documents.score_charts import coverage_caption, part_words, value_words
    from pricing.model.ratio_study import EDITION, SUSPICIOUS_COD
    from pricing.service.terminal import console

    out = console()
    days = ", ".join(origin.isoformat() for origin in scored.origins)
    out.print(f"{len(scored.rows):,} sales scored by models fitted to what was known on {days}.")
    overall = scored.scores().row(0, named=True)
    table = _table("all sales")
    _add(table, "all sales", overall)
    out.print(table)
    for part in scored.parts:
        rows = scored.scores(part).to_dicts()
        shown = sorted(sorted(range(len(rows)), key=lambda place: -rows[place]["sales"])[:ROWS_A_PART])
        table = _table(part_words(part))
        for place in shown:
            _add(table, value_words(part, rows[place]["value"]), rows[place])
        out.print(table)
        if len(rows) > len(shown):
            out.print(f"and {len(rows) - len(shown)} with fewer sales (see --json)")
    out.print(Text(coverage_caption(scored)))
    out.print(
        Text(
            "pinball: mean loss of seven quantiles of log price, times 1,000; width: high over low, median; "
            "ratio: mid price over price paid, median; COD in per cent, PRD and PRB after the "
            f"{EDITION}. Square brackets: 95 % intervals. Nothing official says which values are good for "
            "cars."
        )
    )
    if overall["suspicious"]:
        out.print(
            Text(f"A COD below {SUSPICIOUS_COD:g} is suspicious: the same sales may be on record twice.")
        )


def _table(name: str) -> "Table":
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, padding=(0, 2, 0, 0))
    columns = ("sales", "pinball", "inside 80 %", "inside 90 %", "width 80 %", "ratio", "COD", "PRD", "PRB")
    for place, column in enumerate((name, *columns)):
        table.add_column(
            Text(column, style="underline"), justify="right" if place else "left", overflow="fold"
        )
    return table


def _add(table: "Table", name: str, scores: dict[str, Any]) -> None:
    from rich.text import Text

    cells = [
        f"{scores['sales']:,}",
        f"{scores['pinball']:.1f}",
        *(_with_interval(scores, f"coverage{{}}_{share}", ".1%") for share in (80, 90)),
        _number(scores["width_80"], ".2f"),
        *(
            _with_interval(scores, name + "{}", form)
            for name, form in (("median_ratio", ".2f"), ("cod", ".1f"))
        ),
        _number(scores["prd"], ".3f"),
        _with_interval(scores, "prb{}", ".3f"),
    ]
    table.add_row(Text(_plain(name)), *(Text(cell) for cell in cells))


def _with_interval(scores: dict[str, Any], pattern: str, form: str) -> str:
    value, low, high = (scores[pattern.format(end)] for end in ("", "_low", "_high"))
    if value is None or low is None:
        return _number(value, form)
    return f"{value:{form}} [{low:{form}}, {high:{form}}]"


def _number(value: float | None, form: str) -> str:
    return "-" if value is None else f"{value:{form}}"


def _plain(name: str) -> str:
    """Text without what would steer a terminal."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name)


def _check_new(path: Path) -> None:
    if path.exists():
        raise FileError(f"{path} exists already; name a file that does not")
    if not path.parent.is_dir():
        raise FileError(f"there is no folder {path.parent} to write {path.name} to")


def _write(rows: "pl.DataFrame", path: Path) -> None:
    """Write rows as CSV that a spreadsheet reads as data."""
    import polars as pl

    from pricing.intake.exports import neutralised

    try:
        rows.with_columns(neutralised(pl.col(pl.String))).write_csv(path)
    except OSError as error:
        raise FileError(f"{path} cannot be written: {error.strerror}") from None
