"""Charges on many amounts at once, as numbers: for simulations, where ``Charge.on`` is for accounts.

The same schedule with the same rounding: charge and tax each half up to the currency's smallest unit
(`tests/money/test_charge_draws.py` holds both to the same cent).
"""

import numpy as np

from pricing.arrays import Floats
from pricing.money.charges import Charge
from pricing.money.currencies import minor_unit_places

TIE = 1e-6
"""Of a smallest unit: what binary fractions may miss of a half."""


def in_units(amounts: Floats, currency: str) -> Floats:
    """Amounts in whole smallest units of their currency, downwards.

    >>> in_units(np.array([10.019, 7.0]), "EUR").tolist()
    [10.01, 7.0]
    """
    scale = 10.0 ** minor_unit_places(currency)
    return np.floor(amounts * scale + TIE) / scale


def charge_on(charge: Charge, hammer: Floats) -> Floats:
    """The charge with its tax on each hammer price."""
    scale = 10.0 ** minor_unit_places(charge.currency)
    knots, rates = _tiers(charge)
    due = np.zeros(hammer.shape)
    for low, high, rate in zip(knots[:-1], knots[1:], rates, strict=True):
        if rate > 0.0:
            due += np.clip(hammer - low, 0.0, high - low) * rate
    due = np.maximum(np.floor(due * scale + 0.5 + TIE) / scale, float(charge.minimum))
    if charge.tax == 0:
        return due
    return due + np.floor(due * float(charge.tax) * scale + 0.5 + TIE) / scale


def hammer_within(charge: Charge, all_in: Floats) -> Floats:
    """The highest hammer price, in whole smallest units, that comes to each amount at most; nought where the
    least charge alone is more."""
    scale = 10.0 ** minor_unit_places(charge.currency)
    knots, rates = _tiers(charge)
    tax = 1.0 + float(charge.tax)
    due = np.concatenate([[0.0], np.cumsum(np.diff(knots[:-1]) * rates[:-1])])
    starts = knots[:-1] + due * tax
    place = np.maximum(np.searchsorted(starts, all_in, side="right") - 1, 0)
    guess = knots[place] + (all_in - starts[place]) / (1.0 + rates[place] * tax)
    guess = np.minimum(guess, all_in - float(charge.minimum) * tax)
    units, most = np.floor(guess * scale) + 3.0, np.floor(all_in * scale + TIE)
    for _ in range(6):
        over = units + np.rint(charge_on(charge, units / scale) * scale) > most
        if not over.any():
            break
        units -= over
    return np.maximum(units, 0.0) / scale


def _tiers(charge: Charge) -> tuple[Floats, Floats]:
    """Ends of the tiers from nought to without end, and their rates."""
    ends = [np.inf if tier.up_to is None else float(tier.up_to) for tier in charge.tiers]
    return np.array([0.0, *ends]), np.array([float(tier.rate) for tier in charge.tiers])
