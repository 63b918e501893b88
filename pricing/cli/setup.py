"""The command that writes what a server needs: ``setup server``."""

import shutil
import sys
from pathlib import Path
from typing import Annotated

from pricing.cli.commands import Commands, option
from pricing.cli.output import done
from pricing.operations.server_files import MARKET, PROGRAM, write_server_files

setup_app = Commands(help="Write what it takes to run this for others.", no_args_is_help=True)


@setup_app.callback()
def of_what() -> None:
    """Write what it takes to run this for others."""


@setup_app.example("pricing setup server --out server")
def server(
    out: Annotated[Path, option("New folder for the files.")] = Path("server"),
    market: Annotated[str, option("What the server is to serve.")] = MARKET,
) -> None:
    """Write units for systemd, timers for backups and a restore drill, an environment file, a container file
    and an example of a reverse proxy; STEPS.md among them says what to do with each."""
    beside = Path(sys.argv[0]).resolve()
    found = str(beside) if beside.name == "pricing" else shutil.which("pricing")
    place = str(Path(market).resolve()) if "://" not in market else market
    files = write_server_files(out, PROGRAM if found is None else found, place)
    done({"files": files}, [*map(str, files), f"read {out / 'STEPS.md'} next"])
