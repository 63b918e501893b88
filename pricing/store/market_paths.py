"""The market file that a place names: opening one on a server hands the store what works with servers."""

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from pricing.errors import MarketError
from pricing.store.place import is_copy, mark_copy, server_address

if TYPE_CHECKING:
    from pricing.store.connection import Keeper


def market_path(place: str | Path) -> Path:
    """The market file that a place names: itself, or the local copy of the market on a server, brought up to
    date.

    Raises ``MarketError`` for a server that cannot be reached and of which there is no copy.

    >>> market_path("market.duckdb").name
    'market.duckdb'
    """
    address = server_address(place)
    if address is not None:
        path = _keeper().local_copy(address)
        mark_copy(path)
        return path
    if is_copy(Path(place)):
        _keeper().refresh(Path(place))
    return Path(place)


def password_variables(path: Path) -> dict[str, str]:
    """What a process of our own that is given the path of a market needs in its environment beside it."""
    return _keeper().password_variables(path) if is_copy(path) else {}


def _keeper() -> "Keeper":
    """What works with servers, read only where there is one, and handed to the connections."""
    if find_spec("psycopg") is None:
        raise MarketError(
            "a market on a server needs psycopg; install it with: pip install 'classic-car-pricing[server]'"
        )
    from pricing.store import connection
    from pricing.store.postgres import copy

    connection.attach(copy)
    return copy
