"""Ports for the servers that tests start as processes of their own."""

import itertools
import os
import socket

_PORTS = itertools.count(10_000 + 100 * os.getpid() % 20_000)


def free_port() -> int:
    """A port that nobody listens to: of a range that depends on the process, and below the ports that the
    system lends out, so that it is still free when the server comes to it."""
    for port in _PORTS:
        with socket.socket() as trial:
            try:
                trial.bind(("127.0.0.1", port))
            except OSError:
                continue
        return port
    raise AssertionError("ports do not end")
