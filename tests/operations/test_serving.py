"""The dashboard's server: on the loopback address only, on a port that is free."""

import socket
from pathlib import Path

import pytest

from pricing.errors import FileError
from pricing.operations.serving import LOOPBACK, _flags, _free_port, page_options, serve


def test_a_taken_port_is_refused_and_without_a_wish_the_next_free_one_is_found() -> None:
    with socket.socket() as taken:
        taken.bind((LOOPBACK, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(FileError, match=f"port {port} is in use; choose another with --port"):
            serve(Path("market.duckdb"), port)
    assert _free_port(LOOPBACK, port) == port
    assert _free_port(LOOPBACK, None) >= 8501


def test_the_server_binds_to_loopback_and_tells_nobody() -> None:
    options = _flags(page_options(LOOPBACK, 8501))
    assert "--server.address=127.0.0.1" in options
    assert "--browser.gatherUsageStats=false" in options
