"""Commands for whoever looks after a market: ``backup``, ``restore``, ``doctor``, ``config``."""

import os
import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from pricing.operations.configuration import DEFAULT_FILE, FILE_VARIABLE, configuration

operation_app = typer.Typer()

MARKET_FILE: Final = Path("market.duckdb")
MarketOption = Annotated[
    Path, typer.Option("--market", envvar="PRICING_MARKET", help="Market file (DuckDB).", show_default=True)
]


@operation_app.command(epilog="Example: pricing backup backups/")
def backup(
    target: Annotated[
        Path,
        typer.Argument(help="Archive to write, or a folder for one named by the time.", show_default=False),
    ],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Write the market and the inspection sheets beside it into one archive, and restore it once to see that
    it holds the same."""
    from pricing.operations.backups import back_up

    done = back_up(market, target)
    sys.stdout.write(
        f"{done.path}: {done.files} files, restored once and found the same, digest {done.digest}\n"
    )


@operation_app.command(epilog="Example: pricing restore backups/market-20260630T020000Z.zip")
def restore(
    source: Annotated[
        Path, typer.Argument(help="An archive that `pricing backup` wrote.", show_default=False)
    ],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Bring a market back from an archive; a market that is in its place is kept beside it."""
    from pricing.operations.backups import restore as bring_back

    done = bring_back(source, market)
    sys.stdout.write(f"{market}: as it was on {done.made_at} (UTC), digest {done.digest}\n")
    if done.kept is not None:
        sys.stdout.write(f"{done.kept}: what was in its place\n")


@operation_app.command(epilog="Example: pricing doctor --market market.duckdb")
def doctor(market: MarketOption = MARKET_FILE) -> None:
    """Look at file, versions, digests, disk, age of rates and fit, and say what to do; exit code 1 when
    something is broken."""
    from pricing.cli.server_terminal import show_findings
    from pricing.operations.doctor import BROKEN, examine

    found = examine(market)
    show_findings(found)
    if any(finding.state == BROKEN for finding in found):
        raise typer.Exit(1)


@operation_app.command(epilog="Example: pricing config > pricing.toml")
def config() -> None:
    """Print the configuration in force as a configuration file, with where each value comes from; passwords
    are masked."""
    from pricing.operations.configuration_text import configuration_text

    named = os.environ.get(FILE_VARIABLE)
    path = DEFAULT_FILE if named is None else Path(named)
    sys.stdout.write(configuration_text(configuration(), os.environ, path if path.is_file() else None))
