"""The door before the pages and their WebSocket: who is let in, and the headers that pages go out with."""

import asyncio
import hashlib
from functools import partial
from typing import Any

import httpx
import pytest
from itsdangerous import URLSafeTimedSerializer
from starlette.middleware.exceptions import ExceptionMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import Message, Receive, Scope, Send
from streamlit.auth_util import set_cookie_with_chunks

from dashboards.serving.door import COOKIE, LARGEST_OF_LOADERS, LARGEST_OF_READERS, SIGNED_IN, Door, signed_in
from dashboards.serving.visitor_limits import (
    LONGEST_UNKNOWN,
    MESSAGES_AT_ONCE,
    MOST_OF_ONE,
    MOST_UNKNOWN,
    UploadTotals,
)
from pricing.api.middleware.callers import holder
from pricing.api.service import Service
from pricing.intake.transfers import LARGEST_UPLOAD
from pricing.operations.configuration import Configuration
from pricing.store.market import Market

HERE = ("127.0.0.1", 50_000)
AT = "http://127.0.0.1:8501"


async def _pages(scope: Scope, receive: Receive, send: Send) -> None:
    """Stands for the dashboard."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
    else:
        await Request(scope, receive).body()
        await PlainTextResponse("the pages")(scope, receive, send)


class Visitor:
    """Somebody at this machine, with a jar of cookies."""

    def __init__(self, market: Market, *, signing_in: str | None = None, **settings: str) -> None:
        service = Service(Configuration(market=str(market.path), **settings))  # type: ignore[arg-type]
        self.door = Door(
            ExceptionMiddleware(_pages),
            service.configuration,
            partial(holder, service),
            signing_in=lambda: signing_in,
        )
        self.cookies: dict[str, str] = {}

    def ask(self, method: str, path: str, **sent: Any) -> httpx.Response:
        async def asking() -> httpx.Response:
            way = httpx.ASGITransport(self.door, client=HERE)
            async with httpx.AsyncClient(transport=way, base_url=AT, cookies=self.cookies) as client:
                answer = await client.request(method, path, **sent)
                self.cookies = dict(client.cookies)
                return answer

        return asyncio.run(asking())

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self.ask("GET", path, headers=headers)

    def line(self, **headers: str) -> bool:
        """Whether the WebSocket is opened."""
        said: list[Message] = []

        async def receive() -> Message:
            return {"type": "websocket.connect"}

        async def send(message: Message) -> None:
            said.append(message)

        sent = {
            "host": "127.0.0.1:8501",
            "cookie": "; ".join("=".join(pair) for pair in self.cookies.items()),
        }
        scope = {
            "type": "websocket", "path": "/_stcore/stream", "client": HERE, "server": HERE,
            "http_version": "1.1",
            "headers": [(name.encode(), value.encode()) for name, value in (sent | headers).items()],
        }  # fmt: skip
        asyncio.run(self.door(scope, receive, send))
        return [message["type"] for message in said] == ["websocket.accept"]


@pytest.fixture(autouse=True)
def connections(monkeypatch: pytest.MonkeyPatch) -> None:
    """Requests here come by no connection that the system could list."""
    monkeypatch.setattr("pricing.api.middleware.hosts.is_own_user", lambda client, server: True)


@pytest.fixture
def stranger(market: Market) -> Visitor:
    return Visitor(market)


def test_without_a_token_there_is_a_form_and_no_page(stranger: Visitor) -> None:
    for path in ("/", "/records", "/_stcore/host-config"):
        answer = stranger.get(path)
        assert answer.status_code == 401 and "the pages" not in answer.text and "Your token" in answer.text
    assert stranger.ask("PUT", "/_stcore/upload_file/1/2", content=b"x").status_code == 401
    assert not stranger.line()
    assert stranger.get("/_stcore/health").is_success


def test_a_token_opens_pages_and_line_until_it_is_revoked(stranger: Visitor, market: Market) -> None:
    token_id, token = market.tokens.new("desk", "read")
    wrong = stranger.ask("POST", "/sign-in", data={"token": "ccp_guess"})
    assert wrong.status_code == 401 and "no token in force" in wrong.text and not wrong.cookies
    right = stranger.ask("POST", "/sign-in", data={"token": token})
    assert right.status_code == 303 and right.headers["location"] == "/"
    assert {"HttpOnly", "SameSite=strict"} <= set(right.headers["set-cookie"].split("; "))
    assert stranger.get("/").text == "the pages" and stranger.line()
    market.tokens.revoke(token_id)
    later = Visitor(market)
    later.cookies = {COOKIE: token}
    assert later.get("/").status_code == 401 and not later.line()


def test_a_long_form_is_not_read_to_its_end(stranger: Visitor) -> None:
    assert stranger.ask("POST", "/sign-in", content=b"token=" + b"x" * 100_000).status_code == 413


@pytest.mark.parametrize(
    "headers", [{"x-forwarded-for": "192.0.2.7"}, {"forwarded": "for=192.0.2.7"}, {"via": "1.1 desk"}]
)
def test_a_trusted_machine_lets_its_own_in_and_nobody_by_a_proxy(
    market: Market, headers: dict[str, str]
) -> None:
    mine = Visitor(market, access="this-machine")
    assert mine.get("/").text == "the pages" and mine.line()
    assert mine.get("/", **headers).status_code == 401
    assert not mine.line(**headers)


@pytest.mark.parametrize("signing_in", [None, "a secret"])
@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.invalid:8501", "origin": "http://evil.invalid:8501"},
        {"origin": "http://evil.invalid"},
        {"origin": "null"},
    ],
)
def test_no_other_name_and_no_other_site_s_page_reaches_pages_or_line(
    market: Market, headers: dict[str, str], signing_in: str | None
) -> None:
    mine = Visitor(market, access="this-machine", signing_in=signing_in)
    assert mine.get("/", **headers).status_code == 403
    assert not mine.line(**headers)
    assert mine.line(origin=AT)


def test_pages_go_out_with_headers_that_keep_them_to_themselves(market: Market) -> None:
    mine = Visitor(market, access="this-machine")
    headers = mine.get("/").headers
    assert headers["x-frame-options"] == "DENY" and headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]


def test_a_reader_brings_a_photo_and_no_file_of_records(stranger: Visitor, market: Market) -> None:
    tokens = {role: market.tokens.new(f"the {role} desk", role)[1] for role in ("read", "load")}
    for role, largest in (("read", LARGEST_OF_READERS), ("load", 2 * LARGEST_OF_READERS)):
        stranger.cookies = {COOKIE: tokens[role]}
        put = partial(stranger.ask, "PUT", "/_stcore/upload_file/1/2")
        assert put(content=b"x" * 1000).is_success
        announced = {"content-length": str(largest)}
        assert put(content=b"x", headers=announced).is_success
        if role == "read":
            announced = {"content-length": str(largest + 1)}
            assert put(content=b"x", headers=announced).status_code == 413


def test_where_people_sign_in_nobody_else_brings_files(market: Market) -> None:
    anybody = Visitor(market, signing_in="a secret")
    upload = partial(anybody.ask, "PUT", "/_stcore/upload_file/1/2", content=b"x")
    assert anybody.get("/").is_success and upload().status_code == 401
    for secret, status in (("another", 401), ("a secret", 200)):
        anybody.cookies = {SIGNED_IN: str(URLSafeTimedSerializer(secret, salt=SIGNED_IN).dumps("{}"))}
        assert upload().status_code == status
    nothing = Visitor(market, signing_in="")
    nothing.cookies = {SIGNED_IN: str(URLSafeTimedSerializer("", salt=SIGNED_IN).dumps("{}"))}
    assert nothing.ask("PUT", "/_stcore/upload_file/1/2", content=b"x").status_code == 401


def _signed(name: str, value: str) -> bytes:
    return str(URLSafeTimedSerializer("a secret", salt=name).dumps(value)).encode()


@pytest.mark.parametrize("groups", [0, 200])
def test_somebody_of_many_groups_is_known_though_the_sign_in_comes_in_several_cookies(groups: int) -> None:
    """Streamlit parts a cookie that is over the 4,096 bytes that a browser must keep (RFC 6265, 6.1)."""
    cookies: dict[str, str] = {}
    said = {
        "email": "ada@example.invalid",
        "groups": [hashlib.sha256(bytes([n])).hexdigest() for n in range(groups)],
    }
    set_cookie_with_chunks(
        lambda name, value: cookies.update({name: _signed(name, value).decode()}),
        _signed, SIGNED_IN, said, cookie_attr_size=60,
    )  # fmt: skip
    assert (len(cookies) > 1) == (groups > 0)

    def whose(held: dict[str, str]) -> str | None:
        sent = "; ".join(f"{name}={value}" for name, value in held.items())
        return signed_in({"cookie": f"of another site=[1]; {sent}"}, "a secret")

    assert whose(cookies) == "ada@example.invalid"
    for name in cookies:
        assert whose({kept: cookies[kept] for kept in cookies if kept != name}) is None
        assert whose(cookies | {name: cookies[name][:-1] + "!"}) is None


def test_what_one_person_keeps_in_files_is_bounded_whatever_pages_they_are_on(
    market: Market,
) -> None:
    opened = {"a", "b", "c"}
    clock = [0.0]
    desk = Visitor(market)
    desk.door._totals = UploadTotals(10_000, opened.__contains__, lambda: clock[0])
    ann, ben = (market.tokens.new(name, "load")[1] for name in ("ann", "ben"))

    def put(token: str, place: str, size: int) -> int:
        desk.cookies = {COOKIE: token}
        return desk.ask("PUT", f"/_stcore/upload_file/{place}", content=b"x" * size).status_code

    assert [put(ann, "a/1", 6_000), put(ann, "b/2", 6_000), put(ben, "c/3", 6_000)] == [200, 413, 200]
    assert put(ann, "b/2", 4_000) == 200 and put(ann, "b/4", 1) == 413
    assert desk.ask("DELETE", "/_stcore/upload_file/b/2").is_success
    assert put(ann, "a/1", 4_000) == 200, "in place of what it had"
    assert put(ann, "b/5", 6_000) == 200
    opened.remove("b")
    assert put(ann, "a/6", 6_000) == 413, "its page may yet come back"
    clock[0] += 200
    assert put(ann, "a/6", 6_000) == 200
    announced = {"content-length": "1", "cookie": f"{COOKIE}={ben}"}
    assert (
        desk.ask("PUT", "/_stcore/upload_file/c/7", headers=announced, content=b"x" * 9_000).status_code
        == 413
    )


def test_the_largest_file_of_records_passes_with_what_is_written_around_it() -> None:
    assert LARGEST_UPLOAD < LARGEST_OF_LOADERS <= Configuration().largest_uploads


class Line:
    """A page's line that stays open until it is let go, by a door whose pages tell what they hear."""

    def __init__(self, market: Market, signing_in: str | None = None) -> None:
        self.heard: list[int] = []
        service = Service(Configuration(market=str(market.path), access="this-machine"))
        self.door = Door(
            self.listening, service.configuration, partial(holder, service), signing_in=lambda: signing_in
        )

    async def listening(self, scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "websocket.accept"})
        while (message := await receive())["type"] == "websocket.receive":
            self.heard.append(len(message["bytes"]))

    async def open(
        self, said: list[int], address: str, leave: asyncio.Event, cookie: str = ""
    ) -> list[Message]:
        """Open a line, say so many bytes at a time, and wait; what the door answered."""
        answers: list[Message] = []
        sizes = iter(said)

        async def receive() -> Message:
            if (size := next(sizes, None)) is not None:
                return {"type": "websocket.receive", "bytes": bytes(size)}
            await leave.wait()
            return {"type": "websocket.disconnect", "code": 1000}

        async def send(message: Message) -> None:
            answers.append(message)

        headers = [(b"host", b"127.0.0.1:8501"), (b"cookie", cookie.encode())]
        scope = {
            "type": "websocket", "path": "/_stcore/stream", "client": (address, 50_000), "server": HERE,
            "http_version": "1.1", "headers": headers,
        }  # fmt: skip
        await self.door(scope, receive, send)
        return answers


def test_one_visitor_opens_so_many_pages_and_strangers_together_so_many(market: Market) -> None:
    async def flood() -> tuple[int, int, int]:
        line, leave = Line(market, "a secret of the provider"), asyncio.Event()
        open_at = [f"192.0.2.{number % 9}" for number in range(MOST_OF_ONE * 9)]
        calls = [asyncio.create_task(line.open([], address, leave)) for address in ["192.0.2.1"] * 100]
        await asyncio.sleep(0.05)
        of_one = sum(not call.done() for call in calls)
        calls += [asyncio.create_task(line.open([], address, leave)) for address in open_at]
        await asyncio.sleep(0.05)
        together = sum(not call.done() for call in calls)
        assert {call.result()[0]["code"] for call in calls if call.done()} == {1013}
        leave.set()
        await asyncio.gather(*calls)
        later = await line.open([], "192.0.2.1", leave)
        return of_one, together, later[0]["type"] == "websocket.accept"

    assert asyncio.run(flood()) == (MOST_OF_ONE, MOST_UNKNOWN, True)


def test_a_line_that_says_more_than_a_page_does_is_ended(
    market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A flood of small messages and of large ones; of whom nobody is known, one large one."""

    async def spoken(known: bool, said: list[int]) -> tuple[int, Message]:
        line = Line(market, None if known else "a secret of the provider")
        if known:
            monkeypatch.setattr("dashboards.serving.door.is_trusted", lambda request, settings: True)
        answers = await line.open(said, "127.0.0.1", asyncio.Event())
        return len(line.heard), answers[-1]

    heard, last = asyncio.run(spoken(True, [10] * 50_000))
    assert MESSAGES_AT_ONCE <= heard < 2 * MESSAGES_AT_ONCE and last["code"] == 1008
    heard, last = asyncio.run(spoken(True, [8_000_000] * 100))
    assert 2 <= heard < 10 and last["code"] == 1008
    heard, last = asyncio.run(spoken(False, [10, 10, LONGEST_UNKNOWN + 1, 10]))
    assert heard == 2 and last["code"] == 1009
