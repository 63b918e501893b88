"""Whose connection it is, held to connections that the system really has."""

import os
import socket
import subprocess
from pathlib import Path

import pytest
from starlette.requests import HTTPConnection

from pricing.api.middleware import hosts
from pricing.api.middleware.hosts import CONNECTION, TABLES, is_own_user, is_trusted
from pricing.operations.configuration import Configuration


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


def test_a_connection_is_looked_up_once_and_another_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    looked_up: list[object] = []

    def nobodys(client: object, server: object) -> bool:
        looked_up.append(client)
        return False

    monkeypatch.setattr(hosts, "is_own_user", nobodys)
    settings = Configuration(access="this-machine")
    scope = {
        "type": "http", "http_version": "1.1", "headers": [(b"host", b"127.0.0.1:80")],
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80), "state": {CONNECTION: {}},
    }  # fmt: skip
    assert not any(is_trusted(HTTPConnection(scope), settings) for _ in range(3))
    assert len(looked_up) == 1
    other = scope | {"client": ("127.0.0.1", 2), "state": {CONNECTION: {}}}
    unsaid = scope | {"state": {}}  # by a server that does not say which connection it is
    assert not any(is_trusted(HTTPConnection(each), settings) for each in (other, unsaid, unsaid))
    assert len(looked_up) == 4
