"""Whose connection it is, held to connections that the system really has."""

import os
import socket
import subprocess
from pathlib import Path

import pytest

from pricing.api.middleware.hosts import TABLES, is_own_user


@pytest.mark.parametrize(("family", "host"), [(socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1")])
@pytest.mark.parametrize("user", [None, 65_534])
@pytest.mark.skipif(not TABLES[0].exists(), reason="the system lists no connections")
def test_another_users_connection_is_told_from_ones_own(
    family: socket.AddressFamily, host: str, user: int | None
) -> None:
    if user is not None and os.getuid() != 0:
        pytest.skip("only the superuser can become another")
    with socket.socket(family) as listening:
        try:
            listening.bind((host, 0))
        except OSError:
            pytest.skip(f"this machine has no {host}")
        listening.listen()
        connect = f"exec 3<>/dev/tcp/{host}/{listening.getsockname()[1]}; cat"
        with subprocess.Popen(["bash", "-c", connect], stdin=subprocess.PIPE, user=user) as other:
            line, client = listening.accept()
            with line:
                server = line.getsockname()
                assert is_own_user((client[0], client[1]), (server[0], server[1])) == (user is None)
            other.communicate(b"")


def test_a_connection_that_is_not_listed_is_nobodys_and_without_a_list_it_cannot_be_told(
    tmp_path: Path,
) -> None:
    here = ("127.0.0.1", 8501)
    assert is_own_user(("127.0.0.1", 1), here, (tmp_path / "tcp",))
    (tmp_path / "tcp").write_text("sl local_address rem_address st\n")
    assert not is_own_user(("127.0.0.1", 1), here, (tmp_path / "tcp",))
