"""What each row of a frame tells of the price: a sale exactly, an unsold lot by bounds, an asking price
with a gap."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Aligned, Bools, Floats
from pricing.errors import ModelError, TableError
from pricing.model.features.spec import FeatureSpec

BID_SLACK: Final = 0.25
"""How far below the highest bid (in logs) the bound from below is put. The highest bid follows the very
price it is to bound, as a bound that knows nothing of the price would not: taken at its word it pulls
unsold lots up, and half of the bias that leaving them out causes stays. With slack it only keeps the
wildest guesses out."""

RESERVE_REACH: Final = 0.35
"""How far below its reserve (in logs) an unsold lot is taken to be worth at least. Whoever sets a reserve has
seen the car (common practice, no source), so that it says more of the price than that the price is lower:
without a bound from below, lots whose record leaves out what makes them cheap pull all prices down."""


@dataclass(frozen=True)
class SaleEvidence(Aligned):
    """Usable rows in order of date: prepared ``features``, log price ``y`` (NaN for an unsold row) with its
    ``lower`` and ``upper`` bounds, and which rows are ``sold`` and which ``asking``."""

    features: pl.DataFrame
    y: Floats
    lower: Floats
    upper: Floats
    sold: Bools
    asking: Bools

    def __len__(self) -> int:
        return len(self.y)

    @classmethod
    def gather(cls, frame: pl.DataFrame, spec: FeatureSpec) -> "SaleEvidence":
        """The rows of ``frame`` that tell something of the price: sales, asking prices, and unsold lots with
        a price that the market did not give. Withdrawn offers and rows without a date tell nothing; nor does
        the highest bid of an unsold lot by itself, which bounds the price from below alone: taken in, such
        lots pull prices further up than leaving them out does.

        Raises:
            TableError: the price, a group or the date column is absent.
            ModelError: a price is not positive and finite, or no row is a sale.
        """
        required = [spec.price, *spec.groups, *([spec.event_date] if spec.event_date else [])]
        absent = [name for name in required if name not in frame.columns]
        if absent:
            raise TableError(
                f"the frame lacks the column {', '.join(absent)}; it has {', '.join(frame.columns)}"
            )
        price = pl.col(spec.price).cast(pl.Float64)
        wrong = frame.filter(price.is_not_null() & ~(price.is_finite() & (price > 0))).height
        if wrong:
            raise ModelError(
                f"{wrong} of {len(frame)} prices in column {spec.price} are not positive and finite"
            )
        outcome = pl.col(spec.outcome) if spec.outcome in frame.columns else pl.lit("sold")
        bounds = [
            pl.col(name).cast(pl.Float64) if name in frame.columns else pl.lit(None, dtype=pl.Float64)
            for name in (spec.lower_price, spec.upper_price)
        ]
        informative = frame.with_columns(
            __sold=(outcome == "sold") & price.is_not_null(),
            __asking=(outcome == "asking") & price.is_not_null(),
            __lower=pl.when(outcome == "unsold").then(bounds[0]),
            __upper=pl.when(outcome == "unsold").then(bounds[1]),
            __y=price.log(),
        ).filter(pl.col("__sold") | pl.col("__asking") | (pl.col("__upper") > 0))
        if spec.event_date:
            informative = informative.drop_nulls(spec.event_date).sort(spec.event_date, maintain_order=True)
        if not informative["__sold"].any():
            raise ModelError(
                f"none of the {len(frame)} rows is a sale with a price: there is nothing to learn from"
            )
        exact = (informative["__sold"] | informative["__asking"]).to_numpy()
        lower, upper = informative["__lower"].log().to_numpy(), informative["__upper"].log().to_numpy()
        lower = np.where(np.isfinite(lower), lower - BID_SLACK, -np.inf)
        lower = np.maximum(lower, np.where(np.isfinite(upper), upper - RESERVE_REACH, -np.inf))
        return cls(
            spec.prepared(informative),
            np.where(exact, informative["__y"].to_numpy(), np.nan),
            np.minimum(lower, upper - 1e-6),
            np.where(np.isfinite(upper), upper, np.inf),
            informative["__sold"].to_numpy(),
            informative["__asking"].to_numpy(),
        )
