"""Buyer's premiums of the invented sale rooms: tiers of the hammer price, tax on the premium, dated."""

from datetime import date
from typing import Final

import numpy as np
import polars as pl

from data_demo.parameters import Floats, Integers

SCHEDULES: Final = (
    # source whose lots they are, valid from, (hammer price up to, rate) tiers, tax on the premium
    ("Quenmoor Register", date(2016, 1, 1), ((50_000, 0.125), (np.inf, 0.10)), 0.20),
    ("Quenmoor Register", date(2022, 1, 1), ((60_000, 0.15), (np.inf, 0.12)), 0.20),
    ("Bruksholm Auktionskammare", date(2016, 1, 1), ((400_000, 0.12), (np.inf, 0.08)), 0.25),
    ("Mirevault Exchange", date(2016, 1, 1), ((100_000, 0.14), (np.inf, 0.10)), 0.20),
)
"""In the currency of the room. The rooms and their terms are invented."""


def schedule_of(source: pl.Series, day: pl.Series) -> Integers:
    """Index of the schedule that holds for each offer."""
    index = np.zeros(source.len(), np.int64)
    for place, (name, start, _, _) in enumerate(SCHEDULES):
        index[((source == name) & (day >= start)).to_numpy()] = place
    return index


def all_in_of(hammer: Floats, schedule: Integers) -> Floats:
    """What the buyer pays in all, not rounded.

    >>> all_in_of(np.array([1000.0, 100_000.0]), np.array([0, 0]))
    array([  1150., 113500.])
    """
    result = np.empty_like(hammer)
    for place in range(len(SCHEDULES)):
        rows = schedule == place
        hammers, totals = _corners(place)
        result[rows] = np.interp(hammer[rows], hammers, totals)
    return result


def hammer_of(all_in: Floats, schedule: Integers) -> Floats:
    """Hammer price at which a buyer pays ``all_in``: the exact inverse of ``all_in_of``.

    >>> hammer_of(np.array([1150.0, 113_500.0]), np.array([0, 0]))
    array([  1000., 100000.])
    """
    result = np.empty_like(all_in)
    for place in range(len(SCHEDULES)):
        rows = schedule == place
        hammers, totals = _corners(place)
        result[rows] = np.interp(all_in[rows], totals, hammers)
    return result


def _corners(place: int) -> tuple[Floats, Floats]:
    """Hammer and all-in prices between which the schedule is linear."""
    _, _, tiers, tax = SCHEDULES[place]
    hammers, totals, start, total = [0.0], [0.0], 0.0, 0.0
    for up_to, rate in tiers:
        end = min(up_to, 1e9)
        total += (end - start) * (1 + rate * (1 + tax))
        start = end
        hammers.append(end)
        totals.append(total)
    return np.array(hammers), np.array(totals)
