"""A real server on the loopback address in a thread of the tests' own process, stopped with its block."""

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from pricing.service.api.app import create_api
from pricing.service.configuration import Configuration
from pricing.store import Market

PATIENCE = 60.0
"""Seconds that anything is waited for."""


@contextmanager
def serving(market: Path, **settings: Any) -> Iterator[str]:
    """Serve the API of a market; gives its address. No token is asked for unless ``access`` says so."""
    api = create_api(Configuration(**{"market": str(market), "access": "open", **settings}))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        server = uvicorn.Server(
            uvicorn.Config(api, port=port, log_config=None, access_log=False, timeout_graceful_shutdown=10)
        )
        thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
        thread.start()
        deadline = time.monotonic() + PATIENCE
        while not server.started and time.monotonic() < deadline:
            time.sleep(0.01)
        try:
            yield f"http://127.0.0.1:{port}"
        finally:
            server.should_exit = True
            thread.join(PATIENCE)


def copied(market: Market, folder: Path) -> Market:
    """A market of one's own to write to."""
    path = folder / "own.duckdb"
    shutil.copy(market.path, path)
    return Market.open(path, create=False)
