"""Cars as every door makes them, for tests of what takes one."""

from collections.abc import Mapping
from datetime import date
from typing import Any, Protocol

import polars as pl

from pricing.car import Car
from pricing.car_names import Names


class HasSales(Protocol):
    """A market, real or known by hand."""

    def sales(self) -> pl.DataFrame: ...


def car_of(market: HasSales | pl.DataFrame, said: Mapping[str, Any], at: date | None = None) -> Car:
    """A car held to the names of a market, or of a frame of sales."""
    sales = market if isinstance(market, pl.DataFrame) else market.sales()
    return Car.checked(said, known=Names.of(sales), at=at)
