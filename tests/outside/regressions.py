"""Our regression as handbooks have it: normal errors, one spread, nothing pooled."""

from dataclasses import dataclass

import numpy as np

from pricing.arrays import Floats
from pricing.model.regression.hedonic import fit_regression
from pricing.model.regression.pooling import Priors, Structure, Tree


def unpooled(columns: int) -> Structure:
    """So many free coefficients, the intercept first."""
    priors = Priors(np.full(columns, np.inf), np.zeros((0, columns)))
    none = np.empty(0, dtype=np.int64)
    return Structure(Tree(()), priors, [np.arange(columns)], np.array([0]), none)


@dataclass(frozen=True)
class LeastSquares:
    """A refitted regression: ``constant``, ``slopes``, ``residual`` of every row and ``r2``."""

    constant: float
    slopes: Floats
    residual: Floats
    r2: float

    @classmethod
    def of(cls, X: Floats, y: Floats) -> "LeastSquares":
        """``X`` without an intercept."""
        design = np.column_stack([np.ones(len(X)), X])
        groups = np.zeros((len(X), 0), dtype=np.int64)
        model, rows = fit_regression(
            design, y, groups, unpooled(design.shape[1]), degrees_of_freedom=np.inf, spread=False
        )
        found = model.estimates.posterior.market
        r2 = 1.0 - float(np.square(rows.residual).sum() / np.square(y - y.mean()).sum())
        return cls(float(found[0]), found[1:], rows.residual, r2)
