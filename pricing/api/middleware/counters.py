"""What a server process counts of itself, in the text form that Prometheus reads."""

import os
from collections.abc import Mapping
from typing import Final

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

_SEVERAL: Final = "PROMETHEUS_MULTIPROC_DIR"
"""Names a folder that the processes of one server count in together (prometheus-client's own variable)."""

BUCKETS: Final = (0.005, 0.01, 0.02, 0.03, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0, 60.0)


class Counters:
    """Counts of requests, of cars valued and of rows loaded."""

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        self.requests = Counter(
            "pricing_requests", "Requests answered.", ["method", "route", "status"], registry=self._registry
        )
        self.seconds = Histogram(
            "pricing_request_seconds",
            "Seconds to an answer.",
            ["route"],
            registry=self._registry,
            buckets=BUCKETS,
        )
        self.in_hand = Gauge(
            "pricing_requests_in_hand", "Requests being worked on.", registry=self._registry,
            multiprocess_mode="livesum",
        )  # fmt: skip
        self.cars = Counter("pricing_cars_valued", "Cars valued.", registry=self._registry)
        self.rows = Counter("pricing_rows_loaded", "Rows read by loads.", registry=self._registry)

    def text(self) -> bytes:
        """All counts; those of all processes where they count together."""
        if os.environ.get(_SEVERAL):
            together = CollectorRegistry()
            MultiProcessCollector(together)
            return generate_latest(together)
        return generate_latest(self._registry)


def ages_text(ages: Mapping[str, float]) -> bytes:
    """Gauges of how many seconds old each of these is.

    >>> print(ages_text({"fit": 60.0}).decode().splitlines()[-1])
    pricing_fit_age_seconds 60.0
    """
    registry = CollectorRegistry()
    for name, seconds in ages.items():
        Gauge(f"pricing_{name}_age_seconds", f"Seconds since the newest: {name}.", registry=registry).set(
            seconds
        )
    return generate_latest(registry)
