"""The garage page beside the dashboard: it keeps findings and photographs on a phone without a network, and
sends them when there is one. The framework's own pages need a live connection; this one is plain HTML and a
script."""

import json
from http import HTTPStatus
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from pricing.charts.design import style_sheet
from pricing.errors import PricingError
from pricing.operations.demo_files import EXTENSIONS
from pricing.untrusted.photographs import LARGEST
from pricing.words.plain_text import sentence

GARAGE: Final = "/garage"
LARGEST_FINDINGS: Final = 1_000_000
"""Bytes."""

_FOLDER: Final = Path(__file__).with_name("garage_page")
_FILES: Final = {
    "": ("index.html", "text/html"),
    "garage.js": ("garage.js", "text/javascript"),
    "worker.js": ("worker.js", "text/javascript"),
}


class Garage:
    """ASGI middleware behind the door: the addresses of the garage page are answered here."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path", "")
        if scope["type"] == "http" and (path == GARAGE or path.startswith(f"{GARAGE}/")):
            answer = await _answer(Request(scope, receive), path.removeprefix(GARAGE))
            await answer(scope, receive, send)
        else:
            await self._app(scope, receive, send)


async def _answer(request: Request, path: str) -> Response:
    parts = path.strip("/").split("/")
    if path == "":
        return RedirectResponse(f"{GARAGE}/")
    if request.method == "GET" and parts[0] in _FILES and len(parts) == 1:
        file, kind = _FILES[parts[0]]
        return FileResponse(_FOLDER / file, media_type=kind, headers={"Cache-Control": "no-cache"})
    if request.method == "GET" and parts == ["style.css"]:
        return Response(style_sheet(), media_type="text/css", headers={"Cache-Control": "no-cache"})
    try:
        if request.method == "GET" and parts[0] == "sheet" and len(parts) == 2:
            return JSONResponse(
                await run_in_threadpool(_facts, parts[1]), headers={"Cache-Control": "no-store"}
            )
        if request.method == "POST" and parts[0] == "findings" and len(parts) == 2:
            body = await _body(request, LARGEST_FINDINGS)
            return JSONResponse(
                {"new": await run_in_threadpool(_findings, parts[1], _key(request), body)}, HTTPStatus.CREATED
            )
        if request.method == "POST" and parts[0] == "photos" and len(parts) == 3:
            body = await _body(request, LARGEST)
            return JSONResponse(
                {"new": await run_in_threadpool(_photo, parts[1], parts[2], _key(request), body)},
                HTTPStatus.CREATED,
            )
    except (PricingError, ValueError) as error:
        return JSONResponse({"detail": sentence(str(error))}, HTTPStatus.UNPROCESSABLE_ENTITY)
    return JSONResponse({"detail": "There is no such page."}, HTTPStatus.NOT_FOUND)


def _key(request: Request) -> str:
    return request.headers.get("idempotency-key", "")


async def _body(request: Request, most: int) -> bytes:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > most:
            raise ValueError(f"what was sent has more than {most:,} bytes: send it in parts")
    return body


def _market() -> Path:
    from dashboards.sheets import beside

    return beside()


def _facts(name: str) -> dict[str, object]:
    from pricing.operations.garage import sheet_facts

    return sheet_facts(_market(), name, EXTENSIONS)


def _findings(name: str, key: str, body: bytes) -> bool:
    from pricing.operations.garage import take_findings

    findings = json.loads(body)
    if not isinstance(findings, list) or not all(isinstance(row, dict) for row in findings):
        raise ValueError("findings are a list of objects, each with its check and state")
    return take_findings(_market(), name, key, findings, EXTENSIONS)


def _photo(name: str, check: str, key: str, body: bytes) -> bool:
    from pricing.operations.garage import take_photo

    return take_photo(_market(), name, key, check, body, EXTENSIONS)
