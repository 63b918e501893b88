"""Later offers held against the fits of several origins: what calibration has to go by."""

from dataclasses import dataclass, fields, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pricing.arrays import Floats, Ints
from pricing.model.regression.residuals import truncated_moments


@dataclass(frozen=True)
class OriginErrors:
    """A row for each offer that came after an origin.

    Args:
        origin: which origin's fit is held against the offer.
        days: after the last sale that the fit knew.
        error: log price less mid, the level held and season in the mid; NaN of an unsold lot.
        lower, upper: bounds of the error of an unsold lot.
        spread: of the fit for this car (log).
        slope: of the fit's trend at its last sale (log a year).
        season: the part of the mid that season is, on the day of the offer less that of the last sale.
        depth, band: calibration cell.
    """

    origin: Ints
    days: Floats
    error: Floats
    lower: Floats
    upper: Floats
    spread: Floats
    slope: Floats
    season: Floats
    depth: Ints
    band: Ints

    def __len__(self) -> int:
        return len(self.error)

    @property
    def sold(self) -> NDArray[np.bool_]:
        """Which offers are sales."""
        return np.isfinite(self.error)

    def where(self, rows: NDArray[np.bool_]) -> Self:
        """Some of the rows."""
        return type(self)(*(getattr(self, field.name)[rows] for field in fields(self)))

    @property
    def filled(self) -> Self:
        """The same with the expected error of every unsold lot between its bounds, if errors are normal."""
        unsold = ~self.sold
        error = self.error.copy()
        centre = np.zeros(int(unsold.sum()))
        error[unsold], _ = truncated_moments(
            centre, self.spread[unsold], self.lower[unsold], self.upper[unsold]
        )
        return replace(self, error=error)

    @classmethod
    def joined(cls, parts: "list[OriginErrors]") -> "OriginErrors":
        """The rows of several origins."""
        return cls(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(cls)))
