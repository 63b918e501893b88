"""A person of the dashboard without a browser: speaks with its server as the page in a browser does, by
WebSocket and protocol buffers, so that many people load the server and not the machine that measures it."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.Delta_pb2 import Delta
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin, Subprotocol

CONDITION = "Which of these looks like it?"
"""The question about the condition band."""

PATIENCE = 120.0
"""Seconds that an answer is waited for at most."""


class Taken(NamedTuple):
    """Milliseconds from a change to what came of it."""

    answer: float
    chart: float
    whole: float


class WirePerson:
    """Has the page at ``query`` open, and changes the condition band there.

    Raises:
        LookupError: the page has no field for the condition band.
    """

    def __init__(self, line: ClientConnection, query: str, page: str = "") -> None:
        self._line, self._query, self._page = line, query, page
        fields = {
            delta.new_element.radio.label: delta.new_element.radio.id
            for _, delta in self._run(BackMsg())
            if delta.new_element.WhichOneof("type") == "radio"
        }
        if CONDITION not in fields:
            raise LookupError(
                f"the page asks for {', '.join(fields) or 'nothing'}, and for no condition band"
            )
        self._field = fields[CONDITION]

    def change(self, band: str) -> Taken:
        """Choose a condition band, and wait until all that comes of it is there."""
        said = BackMsg()
        widget = said.rerun_script.widget_states.widgets.add()
        widget.id, widget.string_value = self._field, band.capitalize()
        came: dict[str, float] = {}
        for after, delta in self._run(said):
            came.setdefault(delta.new_element.WhichOneof("type") or "", after)
        return Taken(came["metric"], came["vega_lite_chart"], after)

    def _run(self, said: BackMsg) -> Iterator[tuple[float, Delta]]:
        """What a run of the page shows, each part with the milliseconds after which it came."""
        said.rerun_script.query_string, said.rerun_script.page_name = self._query, self._page
        began = time.perf_counter()
        self._line.send(said.SerializeToString())
        came = ForwardMsg()
        while came.WhichOneof("type") != "script_finished":
            came.ParseFromString(self._line.recv(PATIENCE))
            yield 1000 * (time.perf_counter() - began), came.delta


@contextmanager
def wire_person(port: int, query: str, page: str = "") -> Iterator[WirePerson]:
    """Somebody who opens a page of the dashboard at a port of this machine."""
    with connect(
        f"ws://127.0.0.1:{port}/_stcore/stream",
        origin=Origin(f"http://127.0.0.1:{port}"),
        subprotocols=[Subprotocol("streamlit")],
        max_size=None,
        open_timeout=PATIENCE,
    ) as line:
        yield WirePerson(line, query, page)
