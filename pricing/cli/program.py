"""The program ``pricing``: the command line, or what to install for it."""

import sys

from pricing.operations.extras import missing


def run() -> None:
    """Run the command line; where only the client is installed, say so in one line."""
    try:
        from pricing.cli.main import run as run_commands
    except ModuleNotFoundError as error:
        sys.stderr.write(f"error: {missing(error)}\n")
        sys.exit(1)
    run_commands()
