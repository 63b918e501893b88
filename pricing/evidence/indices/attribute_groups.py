"""Characteristics by groups of attributes: what a car's model, condition, wear, options and sale are worth
market-wide."""

from typing import Final

import numpy as np

from pricing.arrays import Floats
from pricing.evidence.indices.characteristics import Characteristics
from pricing.evidence.indices.time_dummy import PeriodSums, fit_window
from pricing.model.regression.hedonic import ONE_THREAD

ATTRIBUTE_GROUP: Final = {
    "condition": "condition",
    "year": "wear",
    "odometer_km": "wear",
    "options": "options",
}
"""The attribute group of each term; terms that are not here go into one more."""


def by_attribute_group(cars: Characteristics, periods: int) -> Floats:
    """Each sale's group level and the worth of its characteristics by attribute group (n x m), as the
    time-dummy regression over all periods has them; attribute groups that never vary are left out.

    A hedonic regression of a single period on these lets the worth of every attribute group move through time
    with a handful of coefficients, where one on all characteristics would need hundreds of sales.
    """
    with ONE_THREAD.limit(limits=1, user_api="blas"):
        window = fit_window(cars, PeriodSums.of(cars, periods), 0, periods - 1)
    k = cars.matrix.shape[1]
    names = [ATTRIBUTE_GROUP.get(term, "other") for term in cars.terms]
    columns = [
        cars.matrix[:, [n == name for n in names]] @ window.beta[:k][[n == name for n in names]]
        for name in dict.fromkeys(names)
    ]
    dummies = np.concatenate([[0.0], window.beta[k:]])
    rest = cars.log_price - cars.matrix @ window.beta[:k] - dummies[cars.period]
    level = np.bincount(cars.group, rest * cars.weights) / np.bincount(cars.group, cars.weights)
    columns.append(level[cars.group])
    Z = np.column_stack(columns)
    return Z[:, np.ptp(Z, axis=0) > 1e-9]
