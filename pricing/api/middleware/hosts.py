"""Under which names a server answers, and to which sites' pages: others are refused whoever asks, so that no
foreign name can be made to point here (DNS rebinding) and no foreign page can speak for its reader; and whose
program of this machine is at the other end of a connection that comes from it."""

import ipaddress
import os
import sys
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import HTTPConnection

from pricing.operations.configuration import Configuration

LOOPBACK_NAMES: Final = frozenset({"127.0.0.1", "localhost", "::1"})
EVERY_ADDRESS: Final = frozenset({"0.0.0.0", "::"})  # noqa: S104 - only compared with

_FORWARDED: Final = (
    "forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip",
)  # fmt: skip


CONNECTION: Final = "connection"
"""In the state of a request, where its server says so (``connections.PromptProtocol``): what is known of the
connection that it came by. Whose the other end is does not change as long as there is one, and to look it up
takes as long as to answer."""

_OWN: Final = "of the own user"


def names_of(settings: Configuration) -> frozenset[str]:
    """The names that the server answers under: this machine's own, the address it listens on, and what the
    configuration adds.

    >>> sorted(names_of(Configuration(host="192.0.2.7", hosts="Prices.example, desk.example")))
    ['127.0.0.1', '192.0.2.7', '::1', 'desk.example', 'localhost', 'prices.example']
    """
    return LOOPBACK_NAMES | ({settings.host} - EVERY_ADDRESS) | _listed(settings.hosts)


def refusal(headers: Headers, settings: Configuration) -> str | None:
    """Why a request is refused for the host it names or the origin it comes from (RFC 9110, section 7.2; RFC
    6454, section 7); ``None`` if it is not."""
    hosts, origin = headers.getlist("host"), headers.get("origin")
    if len(hosts) != 1 or host_name(hosts[0]) not in names_of(settings):
        return "this server does not answer under that name; `hosts` in the configuration adds names"
    if origin is None or origin.casefold() in _listed(settings.origins):
        return None
    if origin.casefold() not in {f"{scheme}://{hosts[0].casefold()}" for scheme in ("http", "https")}:
        return "this server does not answer pages of other sites; `origins` in the configuration adds some"
    return None


def host_name(host: str) -> str | None:
    """The name in a header ``Host``, without its port; ``None`` for what is no host.

    >>> host_name("LOCALHOST:8501"), host_name("[::1]:8501"), host_name("a@b"), host_name("evil.invalid:x")
    ('localhost', '::1', None, None)
    """
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port
    except ValueError:
        return None
    return None if parts.netloc != host or parts.username is not None else parts.hostname


def is_trusted(request: HTTPConnection, settings: Configuration) -> bool:
    """Whether a request may do everything because it comes from this machine itself, by no proxy that can be
    told, where the server was started to trust its own machine.

    A proxy on this machine comes from it too. One that says so is refused, and so is HTTP/1.0, which proxies
    speak and browsers do not, and whatever another user of the machine runs. One that hides all three cannot
    be told, which is why nobody is trusted unless the server was told to.
    """
    if settings.access != "this-machine" or request.client is None:
        return False
    if any(name in request.headers for name in _FORWARDED) or request.scope.get("http_version") == "1.0":
        return False
    try:
        local = ipaddress.ip_address(request.client.host).is_loopback
    except ValueError:
        return False
    if not local or host_name(request.headers.get("host", "")) not in LOOPBACK_NAMES:
        return False
    server = request.scope.get("server")
    if server is None:
        return False
    known = request.scope.get("state", {}).get(CONNECTION, {})
    if _OWN not in known:
        known[_OWN] = is_own_user((request.client.host, request.client.port), server)
    return bool(known[_OWN])


def _listed(text: str) -> frozenset[str]:
    return frozenset(part.strip().casefold() for part in text.split(",") if part.strip())


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
