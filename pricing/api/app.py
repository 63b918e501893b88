"""The API as an ASGI application, for this program's own server or any other, and its end."""

import gc
import logging.config
import os
import signal
import sys
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.metadata import version
from types import FrameType
from typing import Any, Final

from fastapi import APIRouter, FastAPI
from starlette.routing import compile_path
from starlette.types import ASGIApp

from pricing.api.car_lists import listed
from pricing.api.middleware.logs import log_settings
from pricing.api.middleware.request_limits import LIST_BYTES_A_CAR, LIST_VALUES_A_CAR, RequestLimits
from pricing.api.problems import HttpProblemError, Problem, handle_problems, responses
from pricing.api.routes import (
    appraisals,
    cars,
    condition,
    decisions,
    fits,
    market,
    opinions,
    photographs,
    records,
    sheets,
    state,
    values,
)
from pricing.api.schemas import ValueQuestion
from pricing.api.service import Service
from pricing.errors import PricingError
from pricing.operations.configuration import Configuration, configuration
from pricing.untrusted.door import warm
from pricing.untrusted.photographs import LARGEST

PREFIX: Final = "/api/v1"
"""A change that breaks a caller makes another."""

DOCUMENT: Final = "/api/openapi.json"
SERVER_PATHS: Final = ("/health", "/ready", "/metrics")

UNGUARDED: Final = frozenset({"/health", "/ready", DOCUMENT})
"""Tell that the server lives, that it has a fit, and how to ask: the same for anybody."""

LISTS: Final = f"{PREFIX}/values"
"""Takes lists of cars."""

UPLOADS: Final = f"{PREFIX}/batches"
"""Takes files."""

PHOTOS: Final = f"{PREFIX}/inspection-photos"
"""Takes photographs."""

CAR_PHOTOS: Final = f"{PREFIX}/kept-cars/photos"
"""Takes a photograph of a kept car."""

OF_PAGES: Final = (f"{PREFIX}/kept-inspections/", PHOTOS)
"""What the garage page asks: a person of the dashboard may too, whom its own door lets in."""

PHOTOGRAPHS: Final = f"{PREFIX}/appraisals/*/photographs"
"""Takes a photograph of an appraisal."""

_FORM: Final = 100_000
"""Bytes of what is sent with one."""

LONG: Final = (UPLOADS, f"{PREFIX}/fits", f"{PREFIX}/appraisals")
"""What is under these addresses may work for long."""

_ABOUT: Final = """
Prices of classic cars: ranges, where an asking price stands, the evidence behind both.

Amounts are decimal texts, all-in, in the market's base currency, at a date; shares run from 0 to 1; distances
are kilometres; dates are ISO 8601. An estimate is not an appraisal: the model has read sale records and has
not seen the car. Errors are problem details (RFC 9457). A write takes an `Idempotency-Key`: asked again under
the same key it is answered again and not done again.
"""


def create_api(settings: Configuration) -> FastAPI:
    """The API about the market that the configuration names."""
    service = Service(settings)
    api = FastAPI(
        title="Classic car prices",
        version=version("classic-car-pricing"),
        description=_ABOUT,
        openapi_url=DOCUMENT,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        telemetry={"tracing": False, "metrics": False, "logs": False, "operation_spans": False},
        lifespan=_warm,
    )
    api.state.service = service
    handle_problems(api)
    inner = APIRouter(prefix=PREFIX, responses=responses(400, 401, 403, 408, 413, 422, 429, 503))
    for routes in (
        state, values, market, condition, decisions, records, sheets, cars, opinions, fits, appraisals,
        photographs,
    ):  # fmt: skip
        inner.include_router(routes.router)
    api.include_router(state.server_router)
    api.include_router(inner)
    sizes = {
        LISTS: max(settings.largest_body, settings.largest_list * LIST_BYTES_A_CAR),
        UPLOADS: settings.largest_upload,
        PHOTOS: LARGEST,
        CAR_PHOTOS: LARGEST + _FORM,
        PHOTOGRAPHS: LARGEST + _FORM,
    }
    api.add_middleware(
        RequestLimits,
        service=service,
        sizes=sizes,
        counts=dict.fromkeys(sizes) | {LISTS: settings.largest_list * LIST_VALUES_A_CAR},
        long=LONG,
        acts={UPLOADS: "load", CAR_PHOTOS: "load", PHOTOGRAPHS: "appraise"},
        unguarded=UNGUARDED,
    )
    api.openapi = _documented(api)  # type: ignore[method-assign]
    paths = sorted(api.openapi()["paths"].items(), key=lambda path: "{" in path[0])  # names before ids
    api.state.methods = [
        (compile_path(path)[0], sorted(method.upper() for method in methods)) for path, methods in paths
    ]
    return api


def from_environment() -> ASGIApp:
    """The API with the configuration of the environment: `uvicorn --factory
    pricing.api.app:from_environment`, or any ASGI server that takes a factory."""
    settings = configuration()
    logging.config.dictConfig(log_settings(settings.log_level))
    return create_api(settings)


@asynccontextmanager
async def _warm(api: FastAPI) -> AsyncIterator[None]:
    """Begin to read the market and its fit, if there are any; health is told of meanwhile."""
    service: Service = api.state.service

    def read() -> None:
        warm(f"{listed.__module__}:{listed.__qualname__}")
        try:
            snapshot = service.snapshot()
            snapshot.make_ready(service.fit_of(snapshot, None))
        except (PricingError, HttpProblemError) as error:
            logging.getLogger("pricing.api").warning("not ready: %s", error)
        # What is here now stays: to look through it for garbage again and again would stop answers for as
        # long as a fifth of a second.
        gc.collect()
        gc.freeze()

    threading.Thread(target=read, name="warm", daemon=True).start()
    end_in_time(service.configuration.stop_seconds)
    yield


def _documented(api: FastAPI) -> Callable[[], dict[str, Any]]:
    """The OpenAPI document, with the form of problems in the place of the framework's own errors."""
    made = api.openapi

    def document() -> dict[str, Any]:
        if api.openapi_schema is None:
            described = made()
            schemas = described.setdefault("components", {}).setdefault("schemas", {})
            schemas.pop("HTTPValidationError", None)
            schemas.pop("ValidationError", None)
            for shape in (Problem, ValueQuestion):
                schema = shape.model_json_schema(ref_template="#/components/schemas/{model}")
                schemas |= schema.pop("$defs", {}) | {shape.__name__: schema}
            api.openapi_schema = described
        return api.openapi_schema

    return document


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
