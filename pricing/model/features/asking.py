"""The gap between asking and sold prices: estimated beside everything else, never assumed.

An asking price is the price the model gives plus a gap in logs: one for the market, one more for each
channel, and one more for each tier of price. The gap is taken off by pricing a car without it.
"""

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pricing.arrays import Bools, Ints
from pricing.model.features.encoding import RARE, CategoryEncoder
from pricing.model.features.evidence import SaleEvidence
from pricing.model.regression.pooling import Posterior

TIERS = ("lower third", "middle third", "upper third")
"""Thirds of the market by the median price of a car's second-level group (its model), or of its only one."""


@dataclass(frozen=True)
class AskingGap:
    """The columns that carry the gap: none when fewer than a handful of asking prices were seen."""

    present: bool = False
    by: CategoryEncoder | None = None
    names: tuple[str, ...] = ()
    """The groups whose median price sets the tier."""
    tiers: dict[tuple[str | None, ...], int] = field(default_factory=dict, repr=False)
    """Needed only while learning: no car that is asked about carries the gap."""

    @classmethod
    def fit(cls, rows: SaleEvidence, by: str | None, groups: tuple[str, ...]) -> "AskingGap":
        """Learn the channels and tiers from evidence of prices."""
        if int(rows.asking.sum()) < RARE:
            return cls()
        encoder = CategoryEncoder.fit(rows.features.filter(rows.asking)[by], RARE) if by else None
        names = groups[:2]
        tiers: dict[tuple[str | None, ...], int] = {}
        if names:
            medians = (
                rows.features.select(names)
                .with_columns(y=rows.y)
                .filter(pl.col("y").is_not_nan())
                .group_by(names)
                .agg(pl.col("y").median())
            )
            edges = medians["y"].quantile(1 / 3), medians["y"].quantile(2 / 3)
            index = np.searchsorted(np.array(edges, dtype=float), medians["y"].to_numpy())
            tiers = dict(zip(medians.select(names).rows(), index.tolist(), strict=True))
        return cls(True, encoder, names, tiers)

    @property
    def blocks(self) -> list[tuple[str, list[str], float]]:
        """Name, column labels and starting prior variance of each block."""
        if not self.present:
            return []
        by = list(self.by.values) if self.by else []
        tiers = list(TIERS) if self.names else []
        return [
            ("asking", ["asking"], np.inf),
            ("asking by", [f"asking {value}" for value in by], 0.01),
            ("asking tier", [f"asking {tier}" for tier in tiers], 0.01),
        ]

    def fill(self, X: NDArray[np.floating], at: dict[str, Ints], frame: pl.DataFrame, asking: Bools) -> None:
        """Set the columns of the rows that are asking prices."""
        if not self.present:
            return
        X[:, at["asking"][0]] = asking
        rows = np.flatnonzero(asking)
        if self.by and self.by.values:
            code = frame.select(self.by.expression).to_series().to_numpy()[rows]
            X[rows[code >= 0], at["asking by"][0] + code[code >= 0]] = 1.0
        if self.tiers:
            known = pl.DataFrame(
                [(*key, tier) for key, tier in self.tiers.items()],
                schema={**dict.fromkeys(self.names, pl.String), "tier": pl.Int64},
                orient="row",
            )
            tier = (
                frame[rows]
                .select(self.names)
                .join(known, on=self.names, how="left", nulls_equal=True, maintain_order="left")["tier"]
            )
            place = tier.fill_null(-1).to_numpy()
            X[rows[place >= 0], at["asking tier"][0] + place[place >= 0]] = 1.0

    def gaps(self, posterior: Posterior, columns: list[str]) -> pl.DataFrame:
        """The gap of every channel and tier as a factor, with its 80 % interval."""
        rows = []
        if self.present:
            for value in self.by.values if self.by and self.by.values else (None,):
                for tier in TIERS if self.names else (None,):
                    labels = ["asking", *(f"asking {part}" for part in (value, tier) if part is not None)]
                    pick = np.isin(columns, labels).astype(float)
                    gap = float(pick @ posterior.market)
                    reach = float(stats.norm.ppf(0.9) * np.sqrt(pick @ posterior.covariance @ pick))
                    rows.append((value, tier, np.exp(gap), np.exp(gap - reach), np.exp(gap + reach)))
        schema = {"asking_by": pl.String, "tier": pl.String, "factor": pl.Float64}
        return pl.DataFrame(rows, {**schema, "low": pl.Float64, "high": pl.Float64}, orient="row")
