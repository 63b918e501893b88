"""The option by which every command is told its market, and a fit of it opened with progress shown."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pricing.operations import opening
from pricing.store.market_paths import market_path

if TYPE_CHECKING:
    from pricing.snapshot import Snapshot

MarketOption = Annotated[
    Path,
    typer.Option(
        "--market",
        envvar="PRICING_MARKET",
        parser=market_path,
        metavar="MARKET",
        help="Market: a DuckDB file, or the address of a PostgreSQL server.",
        show_default=True,
    ),
]


def fitted_market(path: Path, at: date | None = None, fit: str | None = None) -> "Snapshot":
    """``opening.fitted_market``, with the progress of a fit shown."""
    from pricing.cli.printing.terminal import progress

    return opening.fitted_market(path, at, fit, progress)
