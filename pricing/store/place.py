"""Where a market is kept: in a file, or on a server of which a file is the local copy."""

import os
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Final

from pricing.errors import MarketError

SCHEMES: Final = ("postgresql://", "postgres://")
"""How the address of a server begins (PostgreSQL manual, "Connection URIs")."""

ADDRESS_FILE: Final = "server-address"
"""Stands beside a local copy and says what it is a copy of, without the password."""

_COPIES: Final[set[Path]] = set()
"""The copies that this process opened by their server's address, so that they may be deleted at any time."""

COPIES_VARIABLE: Final = "PRICING_COPIES"
"""Environment variable that names the directory of the local copies."""


def market_path(place: str | Path) -> Path:
    """The market file that a place names: itself, or the local copy of the market on a server, brought up to
    date.

    Raises ``MarketError`` for a server that cannot be reached and of which there is no copy.

    >>> market_path("market.duckdb").name
    'market.duckdb'
    """
    address = server_address(place)
    path: Path = Path(place) if address is None else copies().local_copy(address)
    if address is None and is_copy(path):
        copies().refresh(path)
    elif address is not None:
        _COPIES.add(path)
    return path


def server_address(place: str | Path) -> str | None:
    """The address of a server, when the place is one; also out of a path that an address was taken for.

    >>> server_address("market.duckdb"), server_address(Path("postgresql://anna@desk:5433/cars"))
    (None, 'postgresql://anna@desk:5433/cars')
    >>> server_address(Path("postgresql:///cars?host=/run"))
    'postgresql:///cars?host=/run'
    """
    text = place if isinstance(place, str) else place.as_posix()
    if text.startswith(SCHEMES):
        return text
    scheme, _, rest = text.partition(":/")
    if isinstance(place, str) or f"{scheme}://" not in SCHEMES:
        return None
    # A path has one slash where an address has two or three; an address names its database, so that what has
    # no slash more is a database.
    return f"{scheme}://{rest if '/' in rest.partition('?')[0] else '/' + rest}"


def is_copy(path: Path) -> bool:
    """Whether a market file is the local copy of a market on a server."""
    return path in _COPIES or (path.parent / ADDRESS_FILE).exists()


def copies_directory() -> Path:
    """The directory of the local copies, a folder a server; all of it may be deleted at any time."""
    named = os.environ.get(COPIES_VARIABLE)
    if named:
        return Path(named).absolute()
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "classic-car-pricing"


def password_variables(path: Path) -> dict[str, str]:
    """What a process of our own that is given the path of a market needs in its environment beside it."""
    found: dict[str, str] = copies().password_variables(path) if is_copy(path) else {}
    return found


def copies() -> ModuleType:
    """The part of the store that works with a server; read only when there is one."""
    if find_spec("psycopg") is None:
        raise MarketError(
            "a market on a server needs psycopg; install it with: pip install 'classic-car-pricing[server]'"
        )
    return import_module("pricing.store.postgres.copy")
