"""What a fitted price model says cars differ by: log effects by term, without the cost of their intervals.

A comparable is brought to the subject with the subject's own coefficients, so that what is equal in both
gives a line of nought, and with one line more for what the comparable would fetch as a car of the subject's
group:

    log mid(subject) - log mid(comparable)
        = sum_terms theta_s (x_s - x_c)  +  (theta_s - theta_c) x_c

exactly, ``theta`` being the coefficients of a car's finest known group and ``x`` its columns, both cars at
one date. What the model adds beside its regression is left aside: its calibration moves no car towards
another, and what its trees find in combinations of features cannot be named line by line.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.model.features.design import Design, Encoded
from pricing.model.price_model import PriceModel

GROUP: Final = "variant"
"""The line of the group: make, model or variant, whichever differs."""

ORDER: Final = (
    "body_style", "condition", "year", "odometer_km", "options", "matching_numbers", "history_file",
    "drive_side", "channel", "country",
)  # fmt: skip
"""Terms in the order of the trade, after the group; any other term of a model comes after these."""


class TermEffects:
    """The term effects of one fitted model, as its sales have them, without what people say.

    ``lines`` names them: the group, then the terms, options one by one."""

    def __init__(self, model: PriceModel) -> None:
        self.spec = model.spec
        self.design: Design = model.fitted.design
        self.regression = model.fitted.of_sales
        self.posterior = self.regression.estimates.posterior
        self.priors = self.regression.estimates.priors
        self.last_day = self.design.last_day
        self.reference = np.asarray(model.fitted.reference, dtype=np.float64)
        self.sales = int(model.facts["sales"])
        present = [
            block.term for block in self.design.blocks if block.term not in ("level", "date", "asking")
        ]
        known = [term for term in ORDER if term in present]
        places: list[tuple[str, Ints]] = []
        for term in dict.fromkeys([*known, *present]):
            columns = np.concatenate([b.columns for b in self.design.blocks if b.term == term])
            if term == "options":
                names = [code or name for name, code in self.design.options]
                places += [(name, columns[k : k + 1]) for k, name in enumerate(names)]
            else:
                places.append((term, columns))
        self.lines = (GROUP, *(name for name, _ in places))
        self.membership = np.zeros((len(self.design.columns), len(places)))
        for k, (_, columns) in enumerate(places):
            self.membership[columns, k] = 1.0

    def encode(self, cars: pl.DataFrame, at: date | Sequence[date] | pl.Series) -> Encoded:
        """Cars as columns, all at the effective date ``at`` (or each at its own)."""
        dated = cars
        if self.spec.event_date:
            day = pl.lit(at, dtype=pl.Date) if isinstance(at, date) else pl.Series(at, dtype=pl.Date)
            dated = cars.with_columns(day.alias(self.spec.event_date))
        encoded = self.design.encode(self.spec.prepared(dated))
        return replace(encoded, values=encoded.values[:, :0], novel=encoded.novel[:, :0])  # what trees ask

    def coefficients(self, cars: Encoded) -> Floats:
        """n x p."""
        return self.posterior.coefficients(cars.codes)

    def differences(self, subject: Encoded, comparables: Encoded) -> Floats:
        """Log adjustments that bring each comparable to the subject (one, or one each): n x lines."""
        own, other = self.coefficients(subject), self.coefficients(comparables)
        moved = (own * (subject.X - comparables.X)) @ self.membership
        group = np.einsum("np,np->n", own - other, comparables.X)
        return np.column_stack([group, moved])

    def attribute_groups(self, cars: Encoded) -> Floats:
        """The worth of cars beside the average sale, in a few sums that are quick to compare (n x 5): level
        of the group, condition, wear (year and odometer), options, all else."""
        kind = {"condition": 0, "year": 1, "odometer_km": 1}
        kind |= {code or name: 2 for name, code in self.design.options}
        sums = np.eye(4)[[kind.get(name, 3) for name in self.lines[1:]]]
        theta = self.coefficients(cars)
        effects = (theta * (cars.X - self.reference)) @ (self.membership @ sums)
        return np.column_stack([theta @ self.reference, effects])

    def level_variance(self, car: Encoded) -> float:
        """Posterior variance of the log price of the average sale, were it of the car's group."""
        return float(self.posterior.variance(self.reference[None], car.codes[:1], self.priors)[0])


def mid_errors(model: PriceModel, cars: pl.DataFrame) -> Floats:
    """Standard deviation of the log mid price of each car on its own day: what is not known of the
    coefficients that make it up."""
    effects = TermEffects(model)
    encoded = effects.encode(cars, cars["event_date"])
    return np.sqrt(effects.posterior.variance(encoded.X.astype(np.float64), encoded.codes, effects.priors))
