"""The dashboard and the JSON API in one ASGI application, which `pricing serve`, `pricing dashboard` and any
ASGI server can run, and what it reads before its port opens, so that the first visitor waits no longer than
the others."""

import gc
import logging.config
import os
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any, Final

import streamlit as st
from starlette.middleware import Middleware
from starlette.types import ASGIApp

from dashboards import caches
from dashboards.serving.beside import Beside, api_first, garage, handbook
from dashboards.serving.door import Door, signing_in
from pricing.api.app import create_api
from pricing.api.middleware.callers import holder
from pricing.api.middleware.logs import log_settings
from pricing.charts.position import position_picture
from pricing.decisions.valuation import value_car
from pricing.errors import PricingError
from pricing.evidence.comparison.comparables import find_comparables
from pricing.operations.configuration import configuration, variable
from pricing.progress import Progress

STEPS: Final = 5
"""What is read one after another, in ``_steps``."""

PAGES: Final = Path(__file__).parents[1] / "app.py"


def from_environment() -> ASGIApp:
    """Both, configured by the environment: `uvicorn --factory dashboards.serving.server:from_environment`.
    What is said goes to standard error as lines of JSON.

    Behind several processes the dashboard needs a proxy that sends each visitor to the same one; the API does
    not.
    """
    logging.config.dictConfig(log_settings(configuration().log_level))
    log = logging.getLogger("pricing.dashboard")
    return _application(lambda step, done, total: log.info("%s: %d of %d", step, done, total))


def at_a_desk() -> ASGIApp:
    """The same for a person at a terminal, which `pricing dashboard` runs: what is said is for them."""
    return _application(say)


def say(step: str, done: int, total: int) -> None:
    """How far the server is, as a line for a person."""
    sys.stderr.write(f"{step}: {done} of {total}\n")
    sys.stderr.flush()


def _application(tell: Progress) -> ASGIApp:
    settings = configuration()
    api = create_api(settings)

    @asynccontextmanager
    async def together(_: st.App) -> AsyncIterator[dict[str, Any]]:
        async with api.router.lifespan_context(api):
            yield {}

    os.environ[variable("access")] = settings.access  # the pages are told who is let in
    app: ASGIApp = st.App(
        PAGES,
        lifespan=together,
        middleware=[
            Middleware(Beside, route=handbook),
            Middleware(Beside, route=api_first(api)),
            # Whether people sign in is asked later: secrets read before `st.App` would have Streamlit look
            # for its settings in the current folder.
            Middleware(
                Door, settings=settings, opens=partial(holder, api.state.service), signing_in=signing_in
            ),
            Middleware(Beside, route=garage(api)),
        ],
    )
    make_ready(tell)
    return app


def make_ready(tell: Progress) -> None:
    """Read all that pages share; what is there already takes no time. ``tell``: a step, its place and their
    number.

    A market that is not there yet, or cannot be read, stops no server: the pages say what is wrong with it.
    """
    try:
        for place, step in enumerate(_steps(), start=1):
            tell(step, place, STEPS)
    except PricingError as error:
        logging.getLogger(__name__).warning("not ready: %s", error)
    gc.collect()
    gc.freeze()  # what is here now stays: no search for garbage is to stop anybody for it


def _steps() -> Iterator[str]:
    """Each step, by its name before it is done."""
    yield "Reading the programs of the pages"  # and what the framework leaves to its first visitor
    import streamlit.runtime.scriptrunner.script_runner  # noqa: F401

    import dashboards.pages  # noqa: F401

    yield "Reading the records"
    snapshot = caches.snapshot()
    if snapshot is not None:
        caches.offered_names(snapshot)
    yield "Reading the price model"
    fitted = None if snapshot is None or snapshot.state.fit is None else snapshot
    if fitted is not None and fitted.state.fit is not None:
        fitted.make_ready(fitted.state.fit)
    yield "Laying out the sales"
    index = None if fitted is None else fitted.indexed
    yield "Pricing a first car"  # as a page shows it, so that all that is made at its first use is there
    if fitted is None or index is None or fitted.sales().is_empty():
        return
    car = fitted.car(fitted.sales().select("make", "model", "year").drop_nulls().row(-1, named=True))
    valuation = value_car(fitted.of_model(car.make, car.model), fitted.model, car)
    position_picture(valuation, find_comparables(index, car).table)
