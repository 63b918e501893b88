"""The files that a server needs, written for whoever runs it to read and put in place."""

from pathlib import Path
from typing import Final

from pricing.errors import FileError

DEPLOYMENT: Final = Path(__file__).with_name("deployment")
PROGRAM: Final = "/usr/local/bin/pricing"
MARKET: Final = "/var/lib/classic-car-pricing/market.duckdb"


def write_server_files(folder: Path, program: str = PROGRAM, market: str = MARKET) -> list[Path]:
    """Write units, timers, environment file, user, container file and proxy example into a new folder.

    ``program`` is the installed command line, ``market`` what the server is to serve.

    Raises:
        FileError: there is something of that name, or it cannot be written.
    """
    if folder.exists():
        raise FileError(f"{folder} exists already; name a folder that does not")
    written = []
    try:
        folder.mkdir(parents=True)
        for source in sorted(DEPLOYMENT.iterdir()):
            text = source.read_text(encoding="utf-8").replace(PROGRAM, program)
            target = folder / source.name
            target.write_text(
                text.replace(f"PRICING_MARKET={MARKET}", f"PRICING_MARKET={market}"), encoding="utf-8"
            )
            written.append(target)
    except OSError as error:
        raise FileError(f"{folder}: cannot be written: {error.strerror}") from None
    return written
