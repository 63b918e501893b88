"""A program stopped at one system call: its rename, link, fsync or write, chosen by count.

The work is done in a fork of a program that has imported everything; strace is attached to it, and kills it
when it comes to the call. ``strace --inject``: strace(1), "Tampering".
"""

import json
import os
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

CALLS = ("rename", "renameat", "renameat2", "link", "linkat", "fsync", "fdatasync", "write", "pwrite64",
         "ftruncate", "unlink", "unlinkat")  # fmt: skip

DONE = "done"


def in_a_fork(work: Callable[[], Any], strace: list[str] | None = None) -> tuple[int, list[Any]]:
    """Do work in a fork, under strace where its words are given: its exit code, and what it said."""
    read, write = os.pipe()
    begin, release = os.pipe()
    process = os.fork()
    if process == 0:
        code = 1
        try:
            os.close(read)
            os.close(release)
            os.read(begin, 1)
            del os.fork  # files are read in this process, which is the one that is killed
            said = work()
            os.write(write, (json.dumps(said) + "\n").encode())
            code = 0
        except BaseException as error:
            os.write(write, (json.dumps({"error": repr(error)}) + "\n").encode())
        finally:
            os._exit(code)
    os.close(write)
    os.close(begin)
    tracer = None
    if strace is not None:
        tracer = subprocess.Popen(
            ["strace", "-f", "-q", "-p", f"{process}", *strace],
            stderr=subprocess.PIPE, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        while not _traced(process):
            time.sleep(0.005)
    os.write(release, b"+")
    os.close(release)
    with os.fdopen(read) as told:
        lines = [json.loads(line) for line in told if line.endswith("\n")]
    _, status = os.waitpid(process, 0)
    if tracer is not None:
        tracer.communicate(timeout=60)
    return os.waitstatus_to_exitcode(status), lines


def calls_of(work: Callable[[], Any], log: Path) -> dict[str, int]:
    """How often work comes to each of ``CALLS`` in the thread that does most of it."""
    code, _ = in_a_fork(work, ["-e", f"trace={','.join(CALLS)}", "-o", str(log)])
    assert code == 0
    counts: dict[str, dict[str, int]] = {}
    for line in log.read_text(errors="replace").splitlines():
        thread, _, call = line.partition(" ")
        name = call.strip().split("(")[0]
        if name in CALLS:
            of_thread = counts.setdefault(name, {})
            of_thread[thread] = of_thread.get(thread, 0) + 1
    return {name: max(of_thread.values()) for name, of_thread in counts.items()}


def killed_at(work: Callable[[], Any], call: str, count: int) -> tuple[bool, list[Any]]:
    """Do work and kill it at the n-th time a thread comes to a call: whether it was, and what it said."""
    inject = f"inject={call}:signal=KILL:when={count}"
    code, said = in_a_fork(work, ["-e", f"trace={call}", "-e", inject])
    return code == -signal.SIGKILL, said


def _traced(process: int) -> bool:
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return any(line.startswith("TracerPid:") and line.split()[1] != "0" for line in lines)
