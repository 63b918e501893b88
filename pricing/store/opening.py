"""How a market file comes to be, and what is looked at before one is used."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from pricing.errors import MarketError
from pricing.money.currencies import minor_unit_places
from pricing.store.connection import add_row, connection, keeper_of, make_one_file, run
from pricing.store.migrations import EARLIER, upgrade
from pricing.store.replacing import refuse_to_shadow
from pricing.store.schema import KIND, VERSION, create_tables


def create_file(path: Path, base_currency: str) -> None:
    """Make an empty market file: whole or not at all, and never over another file. For the local copy of a
    server's market make the market there."""
    minor_unit_places(base_currency)
    refuse_to_shadow(path)
    with new_file(path) as draft:
        with connection(draft, write=True) as opened:
            create_tables(opened)
            add_row(opened, "market", kind=KIND, version=VERSION, base_currency=base_currency)
        keeper = keeper_of(path)
        if keeper is not None:
            with connection(draft) as opened:
                keeper.establish(path, opened)


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """A draft to be filled, which becomes the file at ``path``, whole or not at all, unless there is one."""
    if not path.parent.is_dir():
        raise MarketError(f"{path}: there is no such folder")
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".new-market-") as folder:
        draft = Path(folder) / "market.duckdb"
        yield draft
        make_one_file(draft)
        try:
            os.link(draft, path)
        except FileExistsError:
            return  # another process was quicker, or a local copy was made on the way
        except OSError:
            draft.rename(path)  # a file system without links


def base_currency_of(path: Path, timeout: float) -> str:
    """The base currency of a market file, brought up to this version first; refuses any other file."""
    with connection(path, timeout=timeout) as opened:
        try:
            rows = run(opened, "SELECT kind, version, base_currency FROM market")
        except (duckdb.CatalogException, duckdb.BinderException):
            rows = []
    if len(rows) != 1 or rows[0][0] != KIND:
        raise MarketError(f"{path} is a DuckDB file of another kind, not a market file")
    kind, version, base_currency = rows[0]
    if version in EARLIER:
        upgrade(path, timeout)
    elif version != VERSION:
        raise MarketError(
            f"{path} is a market file of version {version}; this program reads version {VERSION}"
        )
    return str(base_currency)
