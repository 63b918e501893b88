"""A wire between a program and a PostgreSQL server's socket, that a test cuts and mends."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

SOCKET = ".s.PGSQL.5432"
"""The name of a server's socket in its folder (PostgreSQL manual, "unix_socket_directories")."""


class Relay:
    """Passes on what comes to a socket in ``folder`` to the server whose socket is in ``server``."""

    def __init__(self, folder: Path, server: Path) -> None:
        self.folder, self._server = folder, server
        self._ends: list[socket.socket] = []
        self._listening: socket.socket | None = None

    def mend(self) -> None:
        """Let programs through, from now on."""
        (self.folder / SOCKET).unlink(missing_ok=True)
        self._listening = socket.socket(socket.AF_UNIX)
        self._listening.bind(str(self.folder / SOCKET))
        self._listening.listen(64)
        threading.Thread(target=self._accept, args=(self._listening,), daemon=True).start()

    def cut(self) -> None:
        """End every session that goes through, and let no other in."""
        if self._listening is not None:
            self._listening.close()
        (self.folder / SOCKET).unlink(missing_ok=True)
        for end in self._ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        self._ends.clear()

    def _accept(self, listening: socket.socket) -> None:
        while True:
            try:
                near, _ = listening.accept()
            except OSError:
                return
            far = socket.socket(socket.AF_UNIX)
            far.connect(str(self._server / SOCKET))
            self._ends += [near, far]
            for source, target in ((near, far), (far, near)):
                threading.Thread(target=_pass_on, args=(source, target), daemon=True).start()


def _pass_on(source: socket.socket, target: socket.socket) -> None:
    with suppress(OSError):
        while sent := source.recv(65_536):
            target.sendall(sent)
    with suppress(OSError):
        target.shutdown(socket.SHUT_RDWR)
    source.close()


@contextmanager
def relayed(folder: Path, server: Path) -> Iterator[Relay]:
    """A wire that lets programs through, until the end of the block."""
    folder.mkdir()
    relay = Relay(folder, server)
    relay.mend()
    try:
        yield relay
    finally:
        relay.cut()
