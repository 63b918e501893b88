"""The one door by which a stranger's bytes come in: frames, bytes or a sentence from a process of their own.

    command, API or page -> read_untrusted -> server -> child with limits -> the reader of that kind of file

A reader is a function of a path as text, ``Limits`` and what else it is asked for, all of it JSON; it gives
pairs of facts (JSON) and a polars frame, bytes or None. Where the system has no ``fork`` (Windows), it runs
in this process, behind the same looks at kind and size.
"""

import atexit
import io
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pricing import errors
from pricing.errors import FileError
from pricing.untrusted.child import NAME_LENGTH, WALL, bounded, received, refusal, send
from pricing.untrusted.files import regular_size
from pricing.untrusted.limits import Limits

if TYPE_CHECKING:
    import polars as pl

_LEAN: Final = {"OPENBLAS_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system"}
"""Keeps libraries from setting memory aside that the limit would count: threads' own, large arenas."""

_PASSED: Final = "PATH HOME LANG LC_ALL TZ TMPDIR PYTHONDONTWRITEBYTECODE LD_LIBRARY_PATH".split()
"""Environment variables that the reading process is given: none that holds a password."""


MAPPED: Final = 1 << 20
"""Bytes of an answer from which it is mapped; a smaller one is copied, as maps and open files are limited."""

Reader = Callable[..., Iterator[tuple[dict[str, Any], Any]]]


@dataclass(frozen=True)
class ReaderReply:
    """Some of what a file holds: facts, and a frame or bytes where the reader gives such."""

    facts: dict[str, Any]
    holds: "pl.DataFrame | pl.Series | bytes | None"

    @property
    def frame(self) -> "pl.DataFrame":
        """The frame of a reader that gives such."""
        import polars as pl

        if not isinstance(self.holds, pl.DataFrame):
            raise FileError("the reader gave no frame")
        return self.holds

    @property
    def content(self) -> bytes:
        """The bytes of a reader that gives such."""
        if not isinstance(self.holds, bytes):
            raise FileError("the reader gave no bytes")
        return self.holds


def read_untrusted(
    reader: Reader, path: Path, *, size: int | None = None, content: bytes | None = None, **arguments: Any
) -> Iterator[ReaderReply]:
    """Read a file that may do harm in a child process within limits, with a function of a module of ours.

    ``size``: bytes that the limits go by, of a folder's files together; without it ``path`` must be a regular
    file. ``content``: what is read in place of a file, of which ``path`` is then only the name. Raises what
    the reader raises, and ``FileError`` for whatever else stands in the way: too much memory, time or
    content, an error of a library, no regular file.
    """
    limits = Limits.of(os.environ)
    if content is not None:
        size = len(content)
    elif size is None:
        size = regular_size(path, limits.read_size)
    if not hasattr(os, "fork"):  # pragma: no cover - Windows
        yield from _read_here(reader, path, limits, size, content, arguments)
        return
    mine, theirs = socket.socketpair()
    ended, telling = os.pipe()
    try:
        with mine, theirs:
            _ask(_named(f"{reader.__module__}:{reader.__qualname__}"), theirs.fileno(), telling)
            os.close(telling)
            telling = -1
            theirs.close()
            request = {
                "path": str(path), "folder": _folder(), "size": size,
                "limits": asdict(limits), "arguments": arguments,
            }  # fmt: skip
            try:
                send(mine, request, content)
                while True:
                    message, file = received(mine)
                    if not message:
                        raise FileError(f"{path} {_end_of(ended, limits, size)}")
                    answer = json.loads(message)
                    if "error" in answer:
                        raise _error(answer)
                    if "end" in answer:
                        return
                    mine.send(b"+")
                    yield _answer(answer, file)
            except (BrokenPipeError, ConnectionResetError):
                raise FileError(f"{path} {_end_of(ended, limits, size)}") from None
    finally:
        os.close(ended)  # by which the server knows that nobody asks any more
        if telling >= 0:
            os.close(telling)


def warm(reader: str) -> None:
    """Start the reading process and have it import ``module:function``, while this one goes on."""
    if hasattr(os, "fork"):
        with _LOCK, suppress(OSError):
            _started().control.sendall(_named(reader))


def _named(reader: str) -> bytes:
    """A reader's name, as long as the server expects names."""
    return reader.ljust(NAME_LENGTH).encode()


def _folder() -> str:
    """The folder that paths are told from."""
    try:
        return os.getcwd()
    except FileNotFoundError:  # taken away under this program
        return os.sep


def _answer(answer: dict[str, Any], file: int | None) -> ReaderReply:
    if file is None:
        return ReaderReply(answer["facts"], None)
    with os.fdopen(file, "rb") as opened:
        opened.seek(0)
        if answer["holds"] == "bytes":
            return ReaderReply(answer["facts"], opened.read())
        import polars as pl
        import pyarrow as pa

        if os.fstat(file).st_size < MAPPED:
            buffer = pa.py_buffer(opened.read())
        else:
            with pa.memory_map(f"/dev/fd/{file}") as mapped:  # which needs its file no more once it is mapped
                buffer = mapped.read_buffer()
        return ReaderReply(answer["facts"], pl.from_arrow(pa.ipc.open_file(buffer).read_all()))


def _error(answer: dict[str, Any]) -> Exception:
    kind = getattr(errors, answer["error"], FileError)
    message = answer["message"].encode("utf-8", "backslashreplace").decode()
    return kind(message) if issubclass(kind, errors.PricingError) else FileError(message)


def _end_of(ended: int, limits: Limits, size: int) -> str:
    """Why a child ended without an answer."""
    number = int(os.read(ended, 20) or 0)
    if number == -signal.SIGXCPU:
        return f"cannot be read: it would take more than {limits.seconds(size):,.0f} seconds of a processor"
    if number == -signal.SIGALRM:
        most = WALL * limits.seconds(size)
        return f"cannot be read: it would take more than {most:,.0f} seconds on the clock"
    if number == -signal.SIGXFSZ:
        return f"cannot be read: it comes to more than {2 * limits.bytes_out(size):,} bytes"
    if number in (-signal.SIGABRT, -signal.SIGKILL):
        return f"cannot be read: it would take more than {limits.memory(size) // 1_000_000:,} MB of memory"
    return f"cannot be read: the program that read it ended ({number}); the file is damaged"


def _read_here(
    reader: Reader, path: Path, limits: Limits, size: int, content: bytes | None, arguments: dict[str, Any]
) -> Iterator[ReaderReply]:
    try:
        source = str(path) if content is None else io.BytesIO(content)
        for facts, holds in bounded(reader(source, limits, **arguments), str(path), limits, size):
            yield ReaderReply(facts, holds)
    except Exception as error:
        raise _error(refusal(error, str(path), limits, size)) from None


class _Server:
    """The process that forks the children of this one."""

    def __init__(self) -> None:
        self.control, theirs = socket.socketpair()
        start = f"import sys; sys.path[:] = {sys.path!r}; from pricing.untrusted.child import serve; serve(0)"
        environment = {name: os.environ[name] for name in _PASSED if name in os.environ}
        with theirs:
            self.process = subprocess.Popen(  # noqa: S603 - this very program
                [sys.executable, "-c", start], stdin=theirs.fileno(), stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, start_new_session=True,
                env={**environment, **_LEAN},
            )  # fmt: skip
        self.owner = os.getpid()

    def stop(self) -> None:
        """End it with what it has started."""
        self.control.close()
        if self.owner == os.getpid():
            self.process.wait()


_LOCK: Final = threading.Lock()
_SERVERS: Final[list[_Server]] = []


def _started() -> _Server:
    """The server of this process."""
    if _SERVERS and _SERVERS[-1].owner == os.getpid() and _SERVERS[-1].process.poll() is None:
        return _SERVERS[-1]
    if not _SERVERS:
        atexit.register(stop)
    _SERVERS[:] = [_Server()]
    return _SERVERS[-1]


def stop() -> None:
    """End the reading process of this one, with what it has started."""
    for server in _SERVERS:
        server.stop()
    _SERVERS.clear()


def _ask(reader: bytes, answers: int, telling: int) -> None:
    """Hand a child its socket, and the server the pipe on which it tells of the child's end; one that was
    killed is started anew once."""
    for last in (False, True):
        with _LOCK:
            server = _started()
            try:
                socket.send_fds(server.control, [reader], [answers, telling])
                if server.control.recv(1):
                    return
            except (BrokenPipeError, ConnectionResetError):
                pass
            server.control.close()
            server.process.kill()
            server.process.wait()
            if last:
                raise FileError("files cannot be read: the process that reads them does not stay up")
