"""Real servers on the loopback address, stopped with their block: in a thread of the tests' own process, or
in a process that can be killed."""

import multiprocessing
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import httpx

from pricing.operations.configuration import Configuration
from pricing.store.market import Market

PATIENCE = 240.0
"""Seconds that anything is waited for."""

START_PATIENCE = 300.0
"""Seconds that a server's start is waited for: seven of a processor, of which a busy machine has few."""


@contextmanager
def serving(market: Path | str, **settings: Any) -> Iterator[str]:
    """Serve the API of a market; gives its address. No token is asked for unless ``access`` says so."""
    import uvicorn

    from pricing.api.app import create_api
    from pricing.api.middleware.connections import PromptProtocol

    api = create_api(Configuration(**{"market": str(market), "access": "this-machine", **settings}))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        server = uvicorn.Server(
            uvicorn.Config(
                api,
                port=port,
                http=PromptProtocol,
                log_config=None,
                access_log=False,
                timeout_graceful_shutdown=10,
            )
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


DEAR = (
    "fastapi", "uvicorn", "pricing.decisions.sell.selling", "pricing.reports.formats.docx",
    "pricing.reports.formats.pdf", "pricing.appraisal.register", "pricing.api.client",
)  # fmt: skip
"""What takes long to import and starts no thread of polars's, which would be missing after a fork."""


def serve_alone(
    market: str, listening: socket.socket, environment: dict[str, str], before: Callable[[], None] | None
) -> None:
    """Serve the API of a market until killed; no token is asked for."""
    os.environ.update(environment)
    if before is not None:
        before()
    import uvicorn

    from pricing.api.app import create_api
    from pricing.api.middleware.connections import PromptProtocol

    settings = Configuration(market=market, access="this-machine")
    configured = uvicorn.Config(
        create_api(settings),
        http=PromptProtocol,
        log_config=None,
        access_log=False,
        timeout_graceful_shutdown=settings.stop_seconds,
    )
    uvicorn.Server(configured).run([listening])


@contextmanager
def killable(
    market: Path | str, before: Callable[[], None] | None = None, **environment: str
) -> Iterator[tuple[str, BaseProcess]]:
    """Serve the API of a market in a process of its own, once it answers; it is killed at the end, if not
    before. It is forked from one that has read most programs, so that many can be started in little time;
    ``before`` is called in it first.
    """
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.api.servers", *DEAR])
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        process = context.Process(
            target=serve_alone, args=(str(market), listening, environment, before), daemon=True
        )
        process.start()
    try:
        answered(address, process)
        yield address, process
    finally:
        process.kill()
        process.join(PATIENCE)


def answered(address: str, process: "BaseProcess | subprocess.Popen[str]") -> None:
    """Wait until a server answers; raises ``RuntimeError`` when it has ended or takes too long."""
    deadline = time.monotonic() + START_PATIENCE
    while time.monotonic() < deadline:
        try:
            if httpx.get(f"{address}/health", timeout=5).is_success:
                return
        except httpx.TransportError:
            ended = process.exitcode if isinstance(process, BaseProcess) else process.poll()
            if ended is not None:
                raise RuntimeError(f"the server ended at its start with {ended}") from None
            time.sleep(0.05)
    raise RuntimeError(f"the server did not answer within {START_PATIENCE:.0f} seconds")


def copied(market: Market, folder: Path) -> Market:
    """A market of one's own to write to."""
    path = folder / "own.duckdb"
    shutil.copy(market.path, path)
    return Market.open(path, create=False)
