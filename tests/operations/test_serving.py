"""The dashboard's server: on the loopback address only, on a port that is free."""

import inspect
import json
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from dashboards.serving.server import PAGES
from pricing.charts.design import DARK
from pricing.errors import FileError
from pricing.intake.transfers import LARGEST_UPLOAD
from pricing.operations.serving import LOOPBACK, free_port, serve


def test_a_taken_port_is_refused_and_without_a_wish_the_next_free_one_is_found() -> None:
    with socket.socket() as taken:
        taken.bind((LOOPBACK, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(FileError, match=f"port {port} is in use; choose another with --port"):
            serve(Path("market.duckdb"), port)
    assert free_port(LOOPBACK, port) == port
    assert free_port(LOOPBACK, None) >= 8501


def test_the_dashboard_has_its_settings_wherever_it_is_started(tmp_path: Path) -> None:
    """Streamlit reads them beside the page, also in an ASGI application started in another folder."""
    names = ["server.maxUploadSize", "browser.gatherUsageStats", "client.showErrorDetails",
             "client.disableDataExport", "theme.dark.primaryColor"]  # fmt: skip
    program = (
        f"import json, streamlit as st; st.App({str(PAGES)!r})\n"
        f"print(json.dumps([st.get_option(name) for name in {names}]))"
    )
    said = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", program],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(said.stdout) == [LARGEST_UPLOAD // 10**6, False, "none", True, DARK.main]


def test_the_server_binds_to_loopback_unless_told_otherwise() -> None:
    assert inspect.signature(serve).parameters["host"].default == LOOPBACK == "127.0.0.1"
