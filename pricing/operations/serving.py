"""The dashboard's server: started on the loopback address unless told otherwise, waited for, and stopped with
the command line; what runs that were killed have left is removed first."""

import errno
import http.client
import importlib.util
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from pricing.errors import FileError
from pricing.operations.bundled import bundled_folder
from pricing.operations.configuration import configuration, variable
from pricing.store.market_paths import market_path, password_variables
from pricing.words.sentences import option_words

LOOPBACK: Final = "127.0.0.1"
FIRST_PORT: Final = 8501
PORTS_TRIED: Final = 50
START_SECONDS: Final = 900.0
"""A market of ten million records is read and laid out in two minutes."""
STOP_SECONDS: Final = 5
"""Seconds that answers in hand are given when the dashboard is stopped."""

MARKET_VARIABLE: Final = "PRICING_MARKET"
"""Environment variable that names the market file, for the command line and the dashboard alike."""

DEMO_VARIABLE: Final = "PRICING_DEMO_MARKET"
"""Names the market file that is shown while there is no other."""

MANAGERS_VARIABLE: Final = "PRICING_MANAGERS"
"""Addresses, with commas between, that may do everything once people sign in."""


def serve(
    market: Path,
    port: int | None,
    car: Mapping[str, Any] | None = None,
    asking: Decimal | None = None,
    *,
    demo: Path | None = None,
    host: str = LOOPBACK,
    managers: Sequence[str] = (),
) -> None:
    """Serve the dashboard until interrupted; prints its address, with ``car`` chosen, once it answers.

    ``demo`` is the market shown while there is none at ``market``; ``host`` the address the server binds to;
    ``managers`` may do everything once people sign in.

    Raises:
        FileError: the port is taken, or the server does not start.
        ModuleNotFoundError: the dashboard's libraries are not installed.
    """
    if importlib.util.find_spec("streamlit") is None:
        raise ModuleNotFoundError("No module named 'streamlit'", name="streamlit")
    remove_leftovers()
    number = free_port(host, port)
    variables = {MARKET_VARIABLE: str(market.resolve()), MANAGERS_VARIABLE: ",".join(managers)}
    variables |= password_variables(market)
    variables |= {variable("host"): host, variable("access"): _access(host)}
    if demo is not None:
        variables[DEMO_VARIABLE] = str(demo.resolve())
    options = {
        "--app-dir": bundled_folder(), "--host": host, "--port": number, "--log-level": "warning",
        "--ws": "websockets-sansio", "--ws-max-size": configuration().largest_message,
        "--timeout-graceful-shutdown": STOP_SECONDS,
    }  # fmt: skip
    program = [sys.executable, "-P", "-m", "uvicorn", "--factory", "dashboards.serving.server:at_a_desk"]
    server = subprocess.Popen(  # noqa: S603 - our own program with arguments made here
        [*program, "--no-access-log", *(str(part) for pair in options.items() for part in pair)],
        env={**os.environ, **variables},
        stdout=subprocess.DEVNULL,
    )
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    if host != LOOPBACK:
        sys.stderr.write(
            f"note: the server listens on {host}: it asks for a token of `pricing token new` unless sign-in "
            "is set up, and answers under the names of `hosts` in the configuration\n"
        )
    try:
        _wait(server, LOOPBACK if host in _EVERY_ADDRESS else host, number)
        sys.stdout.write(f"The dashboard is at {address(number, car, asking)}\nPress Ctrl-C to stop it.\n")
        sys.stdout.flush()
        server.wait()
    except KeyboardInterrupt:
        pass
    finally:
        server.terminate()
        try:
            server.wait(STOP_SECONDS + 2)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def address(port: int, car: Mapping[str, Any] | None = None, asking: Decimal | None = None) -> str:
    """Where a browser finds the dashboard with a car chosen, as its form spells cars in its address.

    >>> address(8501, {"make": "Corvane", "year": 1968, "variant": None, "options": ["wire_wheels"]})
    'http://127.0.0.1:8501/?make=Corvane&year=1968&options=wire+wheels'
    """
    query = {name: value for name, value in (car or {}).items() if value is not None}
    if "odometer_km" in query:
        query["odometer"] = round(query.pop("odometer_km"))
    if "options" in query:
        query["options"] = [option_words(code) for code in query["options"]]
    if "history_file" in query:
        query["history_file"] = "yes" if query["history_file"] else "no"
    if asking is not None:
        query["asking"] = asking
    return f"http://{LOOPBACK}:{port}/{'?' if query else ''}{urlencode(query, doseq=True)}"


def shown_market(place: str) -> Path:
    """The file of the market at a place, or that of the demo market while there is none."""
    own, demo = market_path(place), os.environ.get(DEMO_VARIABLE)
    return own if demo is None or own.exists() else Path(demo)


def _access(host: str) -> str:
    """Whoever sits at this machine is let in where nobody else reaches the server, unless query otherwise."""
    return os.environ.get(variable("access"), "this-machine" if host == LOOPBACK else "tokens")


_EVERY_ADDRESS: Final = ("0.0.0.0", "::")  # noqa: S104 - only compared with


def free_port(host: str, wanted: int | None) -> int:
    """The port that was wanted, or the first of those tried that is free.

    Raises:
        FileError: it is in use, may not be listened on, or the host is not of this machine.
    """
    ports = range(FIRST_PORT, FIRST_PORT + PORTS_TRIED) if wanted is None else [wanted]
    for port in ports:
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                trial.bind((host, port))
            except OSError as error:
                if error.errno == errno.EACCES and wanted is not None:
                    raise FileError(
                        f"port {wanted} needs rights that you do not have; choose one above 1023 with --port"
                    ) from None
                if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                    raise FileError(f"nothing can be served on {host!r}: {error.strerror or error}") from None
                continue
            return port
    taken = f"port {wanted} is" if wanted is not None else f"ports {ports[0]} to {ports[-1]} are"
    raise FileError(f"nothing can be served: {taken} in use; choose another with --port")


def _wait(server: "subprocess.Popen[bytes]", host: str, port: int) -> None:
    """Until the server answers."""
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline:
        if server.poll() is not None:
            raise FileError(f"the dashboard's server stopped at its start with code {server.returncode}")
        knock = http.client.HTTPConnection(host, port, timeout=5)
        try:
            knock.request("GET", "/_stcore/health")
            if knock.getresponse().status == http.HTTPStatus.OK:
                return
        except OSError:
            time.sleep(0.1)
        finally:
            knock.close()
    raise FileError(f"the dashboard's server did not answer within {START_SECONDS:.0f} seconds")


PREFIX: Final = "pricing-"
"""How such folders begin."""

KEYS: Final = "pricing-keys-"
"""How the folder of keys held begins, which stays."""

OLD_SECONDS: Final = 86_400.0
"""Since its last change, after which nobody works in a folder any more."""


def remove_leftovers(folder: Path | None = None) -> int:
    """Remove this user's folders there that nothing has changed in for a day; returns how many."""
    place, removed = Path(tempfile.gettempdir()) if folder is None else folder, 0
    for left in place.glob(f"{PREFIX}*"):
        try:
            known = left.lstat()
        except OSError:
            continue
        mine = not hasattr(os, "getuid") or known.st_uid == os.getuid()
        old = time.time() - known.st_mtime > OLD_SECONDS
        if stat.S_ISDIR(known.st_mode) and mine and old and not left.name.startswith(KEYS):
            shutil.rmtree(left, ignore_errors=True)
            removed += not left.exists()
    return removed
