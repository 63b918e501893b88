"""A whole market from one place to another, where each place is a file or a server."""

from dataclasses import dataclass
from pathlib import Path

from pricing.errors import MarketError
from pricing.progress import Progress, untold
from pricing.store.connection import TIMEOUT_SECONDS, connection, keeper_of
from pricing.store.copying import copy_tables, counter, row_counts
from pricing.store.market import Market
from pricing.store.market_paths import market_path
from pricing.store.opening import new_file
from pricing.store.records.sales import digest


@dataclass(frozen=True)
class Transfer:
    """What was copied; ``digest`` is that of the market on either side."""

    rows: int
    tables: int
    digest: str


def copy_market(
    source: str | Path, target: str | Path, *, progress: Progress = untold, timeout: float = TIMEOUT_SECONDS
) -> Transfer:
    """Copy the market at a place, a file or the address of a server, to another that holds none.

    All of it arrives or nothing: records, quarantine, links, corrections, names, fits, appraisals, the trail.
    On a server the entries begin anew. Raises ``MarketError`` when there is no market to copy, or one in the
    way.
    """
    here, there = market_path(source), market_path(target)
    if not here.is_file():
        raise MarketError(f"{_shown(here)} holds no market to copy")
    Market.open(here, create=False, timeout=timeout)  # is it one, and of this version
    if there.exists():
        raise MarketError(f"{_shown(there)} holds a market already; copy to where there is none")
    with connection(here, timeout=timeout) as opened:  # nobody writes to the file meanwhile
        rows, fingerprint = row_counts(opened), digest(opened)
        copied = counter(progress, "copy", sum(rows.values()))
        keeper = keeper_of(there)
        if keeper is None:
            with new_file(there) as draft, connection(draft, write=True) as new:
                copy_tables(opened, new, copied)
        elif not keeper.establish(there, opened, timeout=timeout, copied=copied):
            raise MarketError(f"{_shown(there)} has come to hold a market meanwhile; nothing was copied")
    with connection(there, timeout=timeout) as arrived:
        if digest(arrived) != fingerprint or row_counts(arrived) != rows:
            raise MarketError(
                f"{_shown(there)} was written to before its copy could be held against {_shown(here)}"
            )
    return Transfer(sum(rows.values()), len(rows), fingerprint)


def _shown(path: Path) -> str:
    """A place as a person knows it: the file, or the server's address without its password."""
    keeper = keeper_of(path)
    return str(path) if keeper is None else keeper.shown(path)
