"""What a server reads before its port opens, so that the first visitor waits no longer than the others."""

import gc
import logging
from typing import Final

from dashboards import caches
from pricing.charts.position import position_picture
from pricing.decisions.valuation import value_car
from pricing.errors import PricingError
from pricing.evidence.comparison.comparables import find_comparables
from pricing.progress import Progress
from pricing.snapshot import Snapshot


def make_ready(tell: Progress) -> None:
    """Read all that pages share; what is there already takes no time. ``tell``: a step, its place and their
    number.

    A market that is not there yet, or cannot be read, stops no server: the pages say what is wrong with it.
    """
    for place, (step, work) in enumerate(_STEPS.items(), start=1):
        tell(step, place, len(_STEPS))
        try:
            work()
        except PricingError as error:
            logging.getLogger(__name__).warning("not ready: %s", error)
            break
    gc.collect()
    gc.freeze()  # what is here now stays: no search for garbage is to stop anybody for it


def _programs() -> None:
    """What the pages import, and what the framework leaves to its first visitor."""
    import streamlit.runtime.scriptrunner.script_runner  # noqa: F401

    import dashboards.pages  # noqa: F401


def _fitted() -> Snapshot | None:
    """The market, where a model was fitted to it."""
    snapshot = caches.snapshot()
    return None if snapshot is None or snapshot.state.fit is None else snapshot


def _records() -> None:
    snapshot = caches.snapshot()
    if snapshot is not None:
        caches.offered_names(snapshot)


def _model() -> None:
    snapshot = _fitted()
    if snapshot is not None and snapshot.state.fit is not None:
        snapshot.make_ready(snapshot.state.fit)


def _sales() -> None:
    snapshot = _fitted()
    if snapshot is not None:
        _ = snapshot.indexed


def _first_car() -> None:
    """A car of the market as a page shows it, so that all that is made at its first use is there."""
    snapshot = _fitted()
    if snapshot is None or snapshot.indexed is None or snapshot.sales().is_empty():
        return
    car = snapshot.car(snapshot.sales().select("make", "model", "year").drop_nulls().row(-1, named=True))
    valuation = value_car(snapshot.of_model(car.make, car.model), snapshot.model, car)
    position_picture(valuation, find_comparables(snapshot.indexed, car).table)


_STEPS: Final = {
    "Reading the programs of the pages": _programs,
    "Reading the records": _records,
    "Reading the price model": _model,
    "Laying out the sales": _sales,
    "Pricing a first car": _first_car,
}
