"""A private PostgreSQL server for tests: in a folder of its own, on a socket that nobody else listens to."""

import getpass
import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp

import psycopg
import pytest


def programs() -> Path | None:
    """The folder of the newest server's programs, as Debian lays them out; none without a server."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    anywhere = shutil.which("pg_ctl")
    return None if anywhere is None else Path(anywhere).resolve().parent


class PostgresServer:
    """A server that tests start, stop and wound."""

    def __init__(self, folder: Path, tools: Path) -> None:
        """Make the server's files in an empty folder; ``start`` starts it."""
        self.folder, self._tools, self._databases = folder, tools, 0
        # The server refuses to be run by the administrator: Debian's package brings a user for it.
        self._as = ["runuser", "-u", "postgres", "--"] if getpass.getuser() == "root" else []
        if self._as:
            shutil.chown(folder, "postgres")
        self._run("initdb", "--pgdata", str(folder / "data"), "--username=postgres", "--auth=trust",
                  "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync")  # fmt: skip

    def start(self) -> None:
        """Start it and wait until it answers."""
        settings = (
            f"-c listen_addresses='' -c unix_socket_directories={self.folder} "
            "-c fsync=off -c max_connections=60 -c shared_buffers=32MB"
        )
        self._control("start", "--log", str(self.folder / "log"), "--options", settings)

    def stop(self, mode: str = "fast") -> None:
        """Stop it: ``fast`` ends every session, ``immediate`` is as if it had crashed."""
        self._control("stop", "--mode", mode)

    def restart(self, mode: str = "fast") -> None:
        """Stop and start it."""
        self.stop(mode)
        self.start()

    def database(self, template: str = "template1") -> str:
        """The address of a new, empty database."""
        self._databases += 1
        name = f"cars{self._databases}"
        self.do(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self.address(name)

    def address(self, database: str = "postgres", user: str = "postgres") -> str:
        """The address of a database."""
        return f"postgresql://{user}@/{database}?host={self.folder}"

    def do(self, statement: str, database: str = "postgres") -> list[tuple[object, ...]]:
        """Do a statement as the administrator; its rows."""
        with psycopg.connect(self.address(database), autocommit=True) as session:
            cursor = session.execute(statement.encode())
            return cursor.fetchall() if cursor.description else []

    def cut_sessions(self) -> int:
        """End every program's session from the server's side; returns how many there were."""
        return len(
            self.do(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'pricing'"
            )
        )

    def _control(self, *words: str) -> None:
        self._run("pg_ctl", "--pgdata", str(self.folder / "data"), "--wait", "--timeout=240", *words)

    def _run(self, program: str, *words: str) -> None:
        done = subprocess.run(
            [*self._as, str(self._tools / program), *words],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
            cwd=self.folder, timeout=300, check=False,
        )  # fmt: skip
        assert done.returncode == 0, f"{program} {words}: {done.stderr}"


@contextmanager
def private_server() -> Iterator[PostgresServer]:
    """A server while in the block. Skips the test where none is installed, and fails it with ``CI=true``."""
    tools = programs()
    if tools is None:
        assert os.environ.get("CI") != "true", "no PostgreSQL server is installed"
        pytest.skip("no PostgreSQL server is installed; Debian's package is postgresql")
    # A socket's path has at most 107 characters, which pytest's own folders may exceed.
    folder = Path(mkdtemp(prefix="pricing-postgres-"))
    folder.chmod(0o755)
    try:
        server = PostgresServer(folder, tools)
        server.start()
        yield server
        server.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
