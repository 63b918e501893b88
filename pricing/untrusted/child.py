"""The reading process: a server beside each process of ours forks a child with limits for every file.

The server imports the readers once, so that a child costs the time of a fork. A child reads one file, hands
its answers over and ends; it is killed by the kernel when it takes too much of anything, and by the server
when nobody waits for its answer any more. What it is handed: a socket for its answers, and its limits.
"""

import gc
import json
import os
import selectors
import signal
import socket
import struct
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pkgutil import resolve_name
from typing import IO, Any, Final

from pricing.errors import FileError, PricingError
from pricing.untrusted.limits import Limits

AHEAD: Final = 2
"""Answers that a child may be ahead of whoever takes them."""

NAME_LENGTH: Final = 200
"""Bytes of the name of a reader, as it is sent."""

LONGEST_MESSAGE: Final = 2_000
"""Characters of an error; what a file says may stand in one."""

WALL: Final = 1.25
"""Times its processor seconds that a child may take on the clock, while it does not wait for its caller."""

_LENGTH: Final = struct.Struct("!Q")


def serve(control: int) -> None:
    """Fork a child for each request that arrives on a socket, until the other end is closed."""
    import resource

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    requests = socket.socket(fileno=control)
    woken, waker = os.pipe()
    os.set_blocking(waker, False)
    signal.set_wakeup_fd(waker)
    signal.signal(signal.SIGCHLD, lambda number, at: None)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    running: dict[int, int] = {}  # the pipe that each child's end is told on, by its process
    waiting = selectors.DefaultSelector()
    waiting.register(requests, selectors.EVENT_READ)
    waiting.register(woken, selectors.EVENT_READ)
    while True:
        for key, _ in waiting.select(timeout=0.2 if running else None):
            if key.fileobj is requests:
                if not _take(requests, running):
                    for process in running:
                        os.kill(process, signal.SIGKILL)
                        os.waitpid(process, 0)
                    return
            else:
                os.read(woken, 4096)
        _reap(running)
        _end_unwanted(running)


def _take(requests: socket.socket, running: dict[int, int]) -> bool:
    """Fork a child for the next request; false when there will be none any more."""
    name, handed, _, _ = socket.recv_fds(requests, NAME_LENGTH, 2, socket.MSG_WAITALL)
    if len(name) < NAME_LENGTH:
        return False
    reader: Callable[..., Any] | BaseException
    try:
        reader = resolve_name(name.decode().rstrip())
    except Exception as error:
        reader = error
    if not handed:
        return True
    answers, ended = handed
    gc.freeze()
    process = os.fork()
    if process == 0:
        code = 1
        try:
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            requests.close()
            for other in (ended, *running.values()):
                os.close(other)
            _answer(socket.socket(fileno=answers), reader)
            code = 0
        finally:
            os._exit(code)
    os.close(answers)
    running[process] = ended
    requests.send(b"+")
    return True


def _reap(running: dict[int, int]) -> None:
    """Tell of every child that has ended how it did."""
    for process in list(running):
        done, status = os.waitpid(process, os.WNOHANG)
        if done:
            pipe = running.pop(process)
            with suppress(BrokenPipeError):  # nobody asks any more
                os.write(pipe, str(os.waitstatus_to_exitcode(status)).encode())
            os.close(pipe)


def _end_unwanted(running: dict[int, int]) -> None:
    """Kill every child whose caller has gone: the reading end of its pipe is closed then."""
    import select

    poll = select.poll()
    for process, pipe in running.items():
        poll.register(pipe, 0)
        if any(pipe == which for which, _ in poll.poll(0)):
            os.kill(process, signal.SIGKILL)
        poll.unregister(pipe)


def _answer(answers: socket.socket, reader: Callable[..., Any] | BaseException) -> None:
    """Read one file as the request on the socket says, and send what it holds or why it cannot be read."""
    message, file = received(answers)
    request = json.loads(message)
    source = request["path"] if file is None else f"/dev/fd/{file}"
    limits, size = Limits(**request["limits"]), request["size"]
    deadline = _limit(limits, size)
    granted = AHEAD
    try:
        os.chdir(request["folder"])
        if isinstance(reader, BaseException):
            raise reader
        for facts, content in bounded(
            reader(source, limits, **request["arguments"]), request["path"], limits, size
        ):
            if granted <= 0:
                deadline.stop()
                granted += len(answers.recv(64))
                deadline.go()
            holds = None if content is None else "bytes" if isinstance(content, bytes) else "frame"
            send(answers, {"facts": facts, "holds": holds}, content)
            granted -= 1
        end: dict[str, Any] = {"end": True}
    except BaseException as error:
        end = refusal(error, request["path"], limits, size)
    deadline.stop()
    send(answers, end)
    while answers.recv(64):  # a socket that is closed before all of it was read loses what was sent last
        pass


def refusal(error: BaseException, path: str, limits: Limits, size: int) -> dict[str, Any]:
    """An error as a message: one raised on purpose by its name, any other as a sentence about the file."""
    if isinstance(error, PricingError):
        return {"error": type(error).__name__, "message": str(error)[:LONGEST_MESSAGE]}
    if isinstance(error, MemoryError):
        why = f"it would take more than {limits.memory(size) // 1_000_000:,} MB of memory"
    elif isinstance(error, RecursionError):
        why = "what it holds is nested too deeply"
    else:
        why = str(error).strip().splitlines()[0][:300] if str(error).strip() else type(error).__name__
    return {"error": "FileError", "message": f"{path} cannot be read: {why}"}


def bounded(
    answers: Iterator[tuple[Any, Any]], path: str, limits: Limits, size: int
) -> Iterator[tuple[Any, Any]]:
    """Answers as long as all of them together are not larger than a file of that size may be."""
    most, total = limits.bytes_out(size), 0
    for facts, content in answers:
        if content is not None:
            total += len(content) if isinstance(content, bytes) else content.estimated_size()
        if total > most:
            raise FileError(
                f"{path} cannot be read: its {size:,} bytes unpack to more than {most:,}, more than any "
                "true file of that size"
            )
        yield facts, content


def send(to: socket.socket, facts: dict[str, Any], content: Any = None) -> None:
    """Send a message, and a frame or bytes as a file in memory that comes with it."""
    message = json.dumps(facts).encode()
    head = _LENGTH.pack(len(message))
    if content is None:
        to.sendall(head + message)
        return
    with _memory_file() as file:
        if isinstance(content, bytes):
            file.write(content)
        else:
            content.write_ipc(file)
        file.flush()
        socket.send_fds(to, [head], [file.fileno()])
    to.sendall(message)


def _memory_file() -> IO[bytes]:
    """A file without a name, in memory where there are such."""
    if hasattr(os, "memfd_create"):
        return os.fdopen(os.memfd_create("answer"), "w+b")
    import tempfile

    return tempfile.TemporaryFile()


def received(answers: socket.socket) -> tuple[bytes, int | None]:
    """The next message and the file that came with it; nothing once the other end is closed."""
    head, files, _, _ = socket.recv_fds(answers, _LENGTH.size, 1)
    file = files[0] if files else None
    head += _exactly(answers, _LENGTH.size - len(head)) if head else b""
    if len(head) < _LENGTH.size:
        return b"", file
    (length,) = _LENGTH.unpack(head)
    message = _exactly(answers, length)
    return message if len(message) == length else b"", file


def _exactly(answers: socket.socket, length: int) -> bytes:
    """So many bytes, or fewer where the other end is closed before."""
    parts: list[bytes] = []
    while length and (part := answers.recv(min(length, 1 << 20))):
        parts.append(part)
        length -= len(part)
    return b"".join(parts)


class _Deadline:
    """The clock that ends this process, stopped while it waits for its caller."""

    def __init__(self, seconds: float) -> None:
        self._left = seconds
        signal.signal(signal.SIGALRM, signal.SIG_DFL)  # ends the process, whatever it is at
        self.go()

    def stop(self) -> None:
        left, _ = signal.setitimer(signal.ITIMER_REAL, 0)
        self._left = left if left > 0 else self._left

    def go(self) -> None:
        signal.setitimer(signal.ITIMER_REAL, self._left)


def _limit(limits: Limits, size: int) -> _Deadline:
    """Bound what this process may take from here on."""
    import resource

    def bound(kind: int, most: int) -> None:
        _, hard = resource.getrlimit(kind)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(kind, (most, most))

    bound(resource.RLIMIT_NOFILE, limits.read_files)
    bound(resource.RLIMIT_FSIZE, 2 * limits.bytes_out(size))
    bound(resource.RLIMIT_CPU, int(limits.seconds(size)) + 1)
    if sys.platform == "linux":
        with open("/proc/self/statm", encoding="ascii") as file:
            in_use = int(file.read().split()[0]) * resource.getpagesize()
        bound(resource.RLIMIT_AS, in_use + limits.memory(size))
    return _Deadline(WALL * limits.seconds(size))
