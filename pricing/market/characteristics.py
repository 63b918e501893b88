"""What sales differ in, as numbers: the characteristics whose mix an index holds constant."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pricing.errors import EvidenceError
from pricing.model.design import Design
from pricing.model.pooling import Floats, Ints
from pricing.model.spec import FeatureSpec

CHUNK = 131_072
"""Sales encoded at a time."""


@dataclass(frozen=True)
class Characteristics:
    """Sales in order of period.

    ``log_price`` (n), ``matrix`` (n x k: the price model's own columns, neither level nor date among them),
    ``terms`` (k: the term each column belongs to), ``group`` (n: code of the finest group, whose level every
    regression leaves free), ``period`` (n, rising), ``order`` (n: the row of the frame each sale came from),
    ``band`` (n: code of the condition band, the highest for ungraded) and ``weights`` (n) of the regressions.
    """

    log_price: Floats
    matrix: Floats
    terms: tuple[str, ...]
    group: Ints
    period: Ints
    order: Ints
    band: Ints
    weights: Floats

    def __len__(self) -> int:
        return len(self.log_price)

    @property
    def groups(self) -> int:
        """How many groups there are."""
        return int(self.group.max()) + 1 if len(self) else 0

    @classmethod
    def of(cls, sales: pl.DataFrame, spec: FeatureSpec, period: Ints) -> "Characteristics":
        """The characteristics of sales, each in the period of the same place.

        Raises:
            EvidenceError: a price is null, not finite or not positive.
        """
        price = sales[spec.price].cast(pl.Float64).to_numpy()
        wrong = int((~(price > 0) | ~np.isfinite(price)).sum())
        if wrong:
            raise EvidenceError(f"{wrong} of {len(price)} prices are not positive and finite")
        order = np.argsort(period, kind="stable")
        timeless = replace(spec, event_date=None)
        features = timeless.prepared(sales)[order]
        design = Design(timeless).learn(features)
        kept = np.arange(1, len(design.columns))
        matrix = np.empty((len(price), len(kept)), dtype=np.float32)
        group, band = np.zeros(len(price), dtype=np.int64), np.zeros(len(price), dtype=np.int64)
        for start in range(0, len(price), CHUNK):
            encoded = design.encode(features[start : start + CHUNK], dtype=np.float32)
            matrix[start : start + CHUNK] = encoded.X[:, kept]
            band[start : start + CHUNK] = encoded.band
            if encoded.codes.shape[1]:
                group[start : start + CHUNK] = encoded.codes[:, -1]
        term = {int(column): block.term for block in design.blocks for column in block.columns}
        return cls(
            np.log(price)[order],
            matrix.astype(np.float64),
            tuple(term[int(column)] for column in kept),
            group,
            period[order],
            order,
            band,
            np.ones(len(price)),
        )

    def weighted(self, residuals: Floats) -> "Characteristics":
        """The sales weighted by one over the mean squared residual of their condition band, mean 1: a car that
        no one graded says less about the market than one whose condition is known."""
        size = np.maximum(np.bincount(self.band), 1)
        spread = np.bincount(self.band, np.square(residuals)) / size
        weights = 1.0 / np.maximum(spread, max(float(spread.max()) * 1e-6, 1e-300))[self.band]
        return replace(self, weights=weights / weights.mean())

    def within(self, rows: slice | Ints | Sequence[bool]) -> "Characteristics":
        """Some of the sales."""
        return replace(
            self,
            log_price=self.log_price[rows],
            matrix=self.matrix[rows],
            group=self.group[rows],
            period=self.period[rows],
            order=self.order[rows],
            band=self.band[rows],
            weights=self.weights[rows],
        )
