"""Where a market is kept: in a file, or on a server of which a file is the local copy."""

import os
from pathlib import Path
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


def mark_copy(path: Path) -> None:
    """Say that a market file is the local copy of a market on a server, whether it is there or not."""
    _COPIES.add(path)


def is_copy(path: Path) -> bool:
    """Whether a market file is the local copy of a market on a server."""
    return path in _COPIES or (path.parent / ADDRESS_FILE).exists()


def copies_directory() -> Path:
    """The directory of the local copies, a folder a server; all of it may be deleted at any time. Raises
    ``MarketError`` where none is named, and the machine knows no home of the user."""
    named = os.environ.get(COPIES_VARIABLE)
    if named:
        return Path(named).absolute()
    try:
        return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "classic-car-pricing"
    except RuntimeError:
        raise MarketError(
            f"this user has no home folder to keep a local copy in: name a folder by {COPIES_VARIABLE}"
        ) from None
