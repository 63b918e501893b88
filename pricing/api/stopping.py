"""The end of a server process that is told to stop, whatever it holds."""

import os
import signal
import sys
import threading
from types import FrameType
from typing import Final

MORE_SECONDS: Final = 1.0
"""After those that requests in hand are given, for the rest of the server to end by itself."""


def end_in_time(seconds: float) -> None:
    """End this process ``seconds`` after it is told to stop by SIGTERM or SIGINT, or twice, at the latest.

    What a thread works on cannot be called off, and would be waited for. A write that ends so has changed
    nothing, as by any kill, and was not acknowledged. Called on another thread than the main one it does
    nothing, as signals are not its own.
    """
    if threading.current_thread() is not threading.main_thread():
        return
    for number in (signal.SIGTERM, signal.SIGINT):
        before = signal.getsignal(number)

        def stop(number: int, frame: FrameType | None, before: object = before) -> None:
            ending = threading.Timer(seconds + MORE_SECONDS, _end, (number,))
            ending.daemon = True
            ending.start()
            if callable(before):
                before(number, frame)

        signal.signal(number, stop)


def _end(number: int) -> None:
    sys.stderr.flush()
    os._exit(128 + number)
