"""Buyer's premiums of the invented sale rooms: the schedules in the mapping files beside their raw files."""

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.intake.mappings.mapping_files import read_mapping
from pricing.money.charges import Charge

NO_PREMIUM: Final = -1
"""Where a source is no sale room for a currency: the amount is what the buyer pays."""


@cache
def schedules() -> tuple[Charge, ...]:
    """Every premium schedule of the demo market, in order of source and date."""
    files = (Path(__file__).parent / "raw").glob("*.mapping.toml")
    charges = [charge for path in files for charge in read_mapping(path).charges if charge.kind == "premium"]
    return tuple(sorted(charges, key=lambda charge: (charge.source, charge.valid_from)))


def schedule_of(source: pl.Series, currency: pl.Series, day: pl.Series) -> Ints:
    """Index into ``schedules()`` of the one in force for each offer."""
    index = np.full(source.len(), NO_PREMIUM, np.int64)
    for place, charge in enumerate(schedules()):
        theirs = (source == charge.source) & (currency == charge.currency) & (day >= charge.valid_from)
        index[theirs.to_numpy()] = place
    return index


def all_in_of(hammer: Floats, schedule: Ints) -> Floats:
    """What the buyer pays in all, to the smallest unit; NaN where there is no hammer price."""
    return _each(hammer, schedule, lambda charge: charge.all_in)


def hammer_of(all_in: Floats, schedule: Ints) -> Floats:
    """The highest hammer price at which a buyer pays at most ``all_in``."""
    return _each(all_in, schedule, lambda charge: charge.hammer_of_all_in)


def _each(amount: Floats, schedule: Ints, turn: Callable[[Charge], Callable[[pl.Expr], pl.Expr]]) -> Floats:
    result = amount.copy()
    for place, charge in enumerate(schedules()):
        rows = (schedule == place) & ~np.isnan(amount)
        thousandths = pl.Series(np.rint(amount[rows] * 100) * 10).cast(pl.Int128)
        turned = pl.select(turn(charge)(pl.lit(thousandths))).to_series()
        result[rows] = turned.cast(pl.Float64).to_numpy() / 1000
    return result
