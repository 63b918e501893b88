"""The user's own exchange rates, read from a market file for amounts that are typed or stated."""

from pathlib import Path

import polars as pl

from pricing.store.connection import TIMEOUT_SECONDS, connection
from pricing.store.terms import own_rates


def own_rates_of(path: Path, *, timeout: float = TIMEOUT_SECONDS) -> pl.DataFrame:
    """Own dated rates of a market file: currency, rate_date, rate (what one unit of the base currency
    buys)."""
    with connection(path, timeout=timeout) as opened:
        return own_rates(opened)
