"""What the routes of one server process share: its configuration, the market it holds, its counters."""

from dataclasses import dataclass
from datetime import date
from io import BytesIO
from typing import Annotated, Any, Final

import polars as pl
from fastapi import Depends
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from pricing.api.answers import JsonAnswer
from pricing.api.car_lists import Cars, MicroBatch, frame_of
from pricing.api.middleware.counters import Counters
from pricing.api.middleware.rate_limiter import RateLimiter
from pricing.api.problems import HttpProblemError
from pricing.decisions.car_list import value_list
from pricing.decisions.plain import plain
from pricing.errors import CarError, DecisionError, MarketError
from pricing.model.price_model import PriceModel
from pricing.operations.configuration import Configuration
from pricing.operations.opening import standing_warning
from pricing.snapshot import Snapshot
from pricing.snapshot_source import source_of

CARS_AT_ONCE: Final = 5_000
"""Cars valued in one go: what holds the interpreter then does so for some hundredths of a second, in which
nobody else is answered."""

GUESSES_A_MINUTE: Final = 20
"""Wrong tokens that one address may send."""


@dataclass(frozen=True)
class ListKey:
    """What the cars of one list have in common: they may be valued in one pass."""

    snapshot: Snapshot
    fit: str
    as_of: date | None
    coverage: float

    @property
    def at(self) -> date:
        """The date that the prices hold at."""
        last = self.snapshot.fit(self.fit).facts["last_date"]
        return date.fromisoformat(last) if self.as_of is None else self.as_of


class Service:
    """One process's service."""

    def __init__(self, configuration: Configuration) -> None:
        self.configuration = configuration
        self.source = source_of(configuration.market)
        self.batch = MicroBatch(_value)
        self.rates = RateLimiter(configuration.requests_a_second, configuration.burst)
        self.guesses = RateLimiter(GUESSES_A_MINUTE / 60.0, GUESSES_A_MINUTE)
        self.counters = Counters()

    def snapshot(self) -> Snapshot:
        """The market as it is.

        Raises:
            HttpProblemError: there is none yet, 503.
        """
        try:
            return self.source.newest()
        except MarketError as error:
            raise HttpProblemError(503, str(error), retry_after="5") from error

    def fit_of(self, snapshot: Snapshot, fit: str | None) -> str:
        """The id of the fit that is asked for, or of the newest.

        Raises:
            HttpProblemError: there is none such, 404, or none at all, 503.
        """
        if fit is not None:
            if fit not in snapshot.state.fits:
                raise HttpProblemError(404, f"there is no fit {fit!r} in the market")
            return fit
        if snapshot.state.fit is None:
            raise HttpProblemError(503, "the market has no fitted model yet: fit one first", retry_after="60")
        return snapshot.state.fit

    def not_before_fit(self, snapshot: Snapshot, as_of: date | None) -> None:
        """Refuse a date before the newest fit's last sale: the fit has seen what was not known then.

        Raises:
            DecisionError: it is such a date.
        """
        last = self.model(snapshot, None).facts["last_date"]
        if as_of is not None and as_of < date.fromisoformat(last):
            raise DecisionError(f"the price model has seen sales up to {last}, after {as_of}")

    def model(self, snapshot: Snapshot, fit: str | None) -> PriceModel:
        """The price model of a fit, or the newest; raises as ``fit_of`` does."""
        return snapshot.fit(self.fit_of(snapshot, fit))

    async def value(
        self, cars: Cars, as_of: date | None, coverage: float, fit: str | None
    ) -> tuple[list[str], ListKey]:
        """The rows of ``value_list`` for these cars as JSON objects, and what they were valued with."""
        snapshot = await run_in_threadpool(self.snapshot) if self.source.due else self.snapshot()
        key = ListKey(snapshot, self.fit_of(snapshot, fit), as_of, coverage)
        if not snapshot.can_value(key.fit):
            await run_in_threadpool(snapshot.make_ready, key.fit)
        return await self.batch.value(key, cars), key


def where(snapshot: Snapshot, make: str | None, model: str | None) -> dict[str, str]:
    """Make and model, where they are asked for, as the market spells them.

    Raises:
        HttpProblemError: 404 where it has none such, 422 for a model without its make.
    """
    try:
        return snapshot.names().where(make, model)
    except CarError as error:
        raise HttpProblemError(422 if make is None else 404, str(error), code=error.code) from None


def warned(snapshot: Snapshot, facts: Any) -> JsonAnswer:
    """Facts of a market with what has to be known of it first; see ``schemas.Warned``."""
    return JsonAnswer({**plain(facts), "warning": standing_warning(snapshot.state)})


def _value(key: ListKey, cars: Cars) -> list[str]:
    """The rows of ``value_list``, each as a JSON object."""
    frame = cars if isinstance(cars, pl.DataFrame) else frame_of(cars)
    snapshot, rows = key.snapshot, list[str]()
    names, model, base = snapshot.names(), snapshot.fit(key.fit), snapshot.base_currency
    for part in frame.iter_slices(CARS_AT_ONCE):
        values = value_list(names, model, part, currency=base, as_of=key.as_of, coverage=key.coverage)
        lines = BytesIO()
        values.lazy().with_columns(pl.col("low", "mid", "high").cast(pl.String)).sink_ndjson(lines)
        rows += lines.getvalue().decode().splitlines()
    return rows


def service_of(request: Request) -> Service:
    """The service of the process that a request came to."""
    service: Service = request.app.state.service
    return service


async def _service_here(request: Request) -> Service:
    """The same as a dependency, which needs no thread."""
    return service_of(request)


Here = Annotated[Service, Depends(_service_here)]
