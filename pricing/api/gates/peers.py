"""Whose program of this machine is at the other end of a connection that comes from it."""

import ipaddress
import os
import sys
from pathlib import Path
from typing import Final

Place = tuple[str, int]
"""Address and port."""

TABLES: Final = (Path("/proc/net/tcp"), Path("/proc/net/tcp6"))

_LOCAL, _REMOTE, _USER = 1, 2, 7
"""Columns of such a table."""


def is_own_user(client: Place, server: Place, tables: tuple[Path, ...] = TABLES) -> bool:
    """Whether a connection within this machine was opened by the user whom this process runs as: a proxy is
    run by another.

    Linux lists connections with their users (proc(5), ``/proc/net/tcp``); ``True`` where a system has no
    such list.
    """
    ends, listed = (_in_table(client), _in_table(server)), False
    for table in tables:
        try:
            lines = table.read_text(encoding="ascii").splitlines()[1:]
        except OSError:
            continue
        listed = True
        for line in lines:
            cells = line.split()
            if (_short(cells[_LOCAL]), _short(cells[_REMOTE])) == ends:
                return int(cells[_USER]) == os.getuid()
    return not listed


def _in_table(place: Place) -> str:
    """An address and a port as the tables have them: words of the machine's own order, then the port.

    >>> _in_table(("127.0.0.1", 8501)) in ("0100007F:2135", "7F000001:2135")
    True
    >>> _in_table(("::ffff:127.0.0.1", 8501)) == _in_table(("127.0.0.1", 8501))
    True
    """
    address = ipaddress.ip_address(place[0])
    packed = getattr(address, "ipv4_mapped", None) or address
    words = [packed.packed[start : start + 4] for start in range(0, len(packed.packed), 4)]
    return "".join(f"{int.from_bytes(word, sys.byteorder):08X}" for word in words) + f":{place[1]:04X}"


def _short(cell: str) -> str:
    """A cell of the table of IPv6 in which an address of IPv4 stands, as the table of IPv4 has it."""
    return cell[-13:] if len(cell) == 37 and int(cell[:16], 16) == 0 and cell[16:24] in _MAPPED else cell


_MAPPED: Final = {"0000FFFF", "FFFF0000"}
