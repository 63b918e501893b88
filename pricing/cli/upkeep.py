"""Commands for whoever looks after a market: ``backup``, ``restore``, ``doctor``, ``salvage``, ``config``,
``copy``, ``setup server``; and the handbook."""

import os
import shutil
import sys
import tempfile
import tomllib
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from pricing.cli.commands import Commands, argument, option
from pricing.cli.output import answer, done
from pricing.cli.printing.console import progress
from pricing.operations.bundled import PROGRAM, SERVED_MARKET, write_server_files
from pricing.operations.configuration import DEFAULT_FILE, FILE_VARIABLE, configuration, configuration_text
from pricing.operations.opening import MARKET_FILE
from pricing.operations.retention import Retention, remove_superseded

operation_app = Commands()
setup_app = Commands("setup", "Write what it takes to run this for others.")


MarketOption = Annotated[Path, option("Market file (DuckDB).", envvar="PRICING_MARKET")]


@operation_app.example("pricing backup backups/ --keep-days 7 --keep-weeks 5 --keep-months 12")
def backup(
    target: Annotated[
        str, argument("Archive to write (.zip), or a folder for one named by the time, made when absent.")
    ],
    keep_days: Annotated[
        int | None, option("Keep the last backup of each of so many days, remove others.", min=0)
    ] = None,
    keep_weeks: Annotated[int | None, option("The same of so many weeks.", min=0)] = None,
    keep_months: Annotated[int | None, option("The same of so many months.", min=0)] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Write the market and the inspection sheets beside it into one archive, and restore it once to see that
    it holds the same.

    Without --keep-days, --keep-weeks and --keep-months every backup is kept. With one of them, a backup that
    none of them keeps is removed from the folder, once the new one is written and found good.
    """
    from pricing.operations.backups import back_up

    counts = (keep_days, keep_weeks, keep_months)
    retention = None
    if any(count is not None for count in counts):
        retention = Retention(*(0 if count is None else count for count in counts))
    made = back_up(market, target)
    removed = [] if retention is None else remove_superseded(made.path, retention)
    sentences = [f"{made.path}: {made.files} files, restored once and found the same, digest {made.digest}"]
    sentences += [f"{path}: removed, as later backups stand for it" for path in removed]
    facts = {"path": made.path, "files": made.files, "digest": made.digest, "made_at": made.made_at}
    done({**facts, "removed": removed}, sentences)


@operation_app.example("pricing restore backups/market-20260630T020000Z.zip")
def restore(
    source: Annotated[Path, argument("An archive that `pricing backup` wrote.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Bring a market back from an archive; a market that is in its place is kept beside it."""
    from pricing.operations.backups import restore as bring_back

    brought = bring_back(source, market)
    sentences = [f"{market}: as it was on {brought.made_at} (UTC), digest {brought.digest}"]
    if brought.kept is not None:
        sentences.append(f"{brought.kept}: what was in its place")
    done({"made_at": brought.made_at, "digest": brought.digest, "kept": brought.kept}, sentences)


@operation_app.example("pricing doctor --market market.duckdb")
def doctor(
    deep: Annotated[
        bool, option("Read every page too, and hold it to its checksum and digest.", "--deep")
    ] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Look at file, versions, digests, disk, age of rates and fit, and say what to do; exit code 1 when
    something is broken."""
    from pricing.cli.printing.server import show_health_checks
    from pricing.operations.doctor import BROKEN, examine

    checks = examine(market, deep=deep)
    answer(checks, lambda: show_health_checks(checks))
    if any(check.state == BROKEN for check in checks):
        raise typer.Exit(1)


@operation_app.example("pricing salvage saved.duckdb --market damaged.duckdb")
def salvage(
    target: Annotated[Path, argument("New market file to write.")],
    base_currency: Annotated[
        str | None, option("Of the new market, where the damaged one cannot say its own.")
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Save what can be read of a damaged market into a new one, and name what was lost; a backup that is
    whole is better."""
    from pricing.store.salvage import salvage as save

    saved = save(market, target, base_currency=base_currency)
    sentences = [f"{target}: {sum(saved.rows.values()):,} rows of {len(saved.rows)} tables saved"]
    done({"rows": saved.rows, "lost": saved.lost}, [*sentences, *(f"lost: {lost}" for lost in saved.lost)])


@operation_app.example("pricing config > pricing.toml")
def config() -> None:
    """Print the configuration in force as a configuration file, with where each value comes from; passwords
    are masked."""

    named = os.environ.get(FILE_VARIABLE)
    path = DEFAULT_FILE if named is None else Path(named)
    text = configuration_text(configuration(), os.environ, path if path.is_file() else None)
    answer(tomllib.loads(text), lambda: sys.stdout.write(text))


@operation_app.example("pricing copy market.duckdb postgresql://anna@desk/cars")
def copy(
    source: Annotated[str, argument("Market to copy: a file, or the address of a server.")],
    target: Annotated[str, argument("Where to copy it to; holds no market yet.")],
) -> None:
    """Copy a whole market from a file to a server, or back, without loss; the copy is held against it.

    A server is a PostgreSQL database, given as postgresql://USER@HOST:PORT/DATABASE; its password is best
    left to libpq's own password file.
    """
    from pricing.store.transfer import copy_market

    with progress() as tell:
        made = copy_market(source, target, progress=tell)
    sentences = (
        f"{made.rows:,} rows of {made.tables} tables copied; both markets have the digest {made.digest[:16]}"
    )
    done({"rows": made.rows, "tables": made.tables, "digest": made.digest}, sentences)


@operation_app.example("pricing handbook --out handbook --no-open")
def handbook(
    out: Annotated[Path | None, option("Folder to write it to; else a temporary one.")] = None,
    show: Annotated[bool, option("Open it in a browser.", "--open/--no-open")] = True,
) -> None:
    """Write the handbook as static pages, which need no network, and open it."""
    from pricing.handbook.pages import write_pages

    folder = Path(tempfile.mkdtemp(prefix="pricing-handbook-")) if out is None else out
    first = write_pages(folder)
    if show:
        webbrowser.open(first.resolve().as_uri())
    answer({"page": first}, str(first))


@setup_app.callback()
def of_what() -> None:
    """Write what it takes to run this for others."""


@setup_app.example("pricing setup server --out server")
def server(
    out: Annotated[Path, option("New folder for the files.")] = Path("server"),
    market: Annotated[str, option("What the server is to serve.")] = SERVED_MARKET,
) -> None:
    """Write units for systemd, timers for backups and a restore drill, an environment file, a container file
    and an example of a reverse proxy; STEPS.md among them says what to do with each."""
    beside = Path(sys.argv[0]).resolve()
    program = str(beside) if beside.name == "pricing" else shutil.which("pricing")
    place = str(Path(market).resolve()) if "://" not in market else market
    files = write_server_files(out, program or PROGRAM, place)
    done({"files": files}, [*map(str, files), f"read {out / 'STEPS.md'} next"])
