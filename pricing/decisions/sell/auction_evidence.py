"""What a market's records say of its auctions: how many lots sold, and what estimates are by custom."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from pricing.model.price_model import PriceModel

FEWEST_LOTS: Final = 40
FEWEST_UNSOLD: Final = 5
"""With fewer lots, or fewer unsold ones among them, no chance of a sale is given."""

FEWEST_RESERVES: Final = 20
"""Lots with a known reserve, below which the draws are held against nothing."""

FEWEST_ESTIMATES: Final = 10


@dataclass(frozen=True)
class AuctionEvidence:
    """Lots on record, and how many of them were ``unsold``; of those with a known reserve
    (``with_reserve``) the share ``sold`` and the share ``expected`` to sell by the price model's distribution
    of each: whoever sets a reserve has seen the car, and the model has not. ``estimates``: logs of the
    low estimate all-in over the mid price and of the high over the low estimate, in the middle; None:
    unknown."""

    lots: int
    unsold: int
    with_reserve: int
    sold: float | None
    expected: float | None
    estimates: tuple[float, float] | None

    @property
    def tells(self) -> bool:
        """Whether there are lots enough to speak of a chance of a sale."""
        return self.lots >= FEWEST_LOTS and self.unsold >= FEWEST_UNSOLD


NO_LOTS: Final = AuctionEvidence(0, 0, 0, None, None, None)
"""Of a market with too few sales to learn from."""


def auction_evidence(sales: pl.DataFrame, model: PriceModel) -> AuctionEvidence:
    """Read it from the lots of ``Market.sales()``; the model is the one fitted on them."""
    lots = sales.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))
    hammer = lots.filter(pl.col("price_basis") == "hammer", pl.col("amount").is_not_null())
    known = lots.filter(pl.col("reserve").is_not_null())
    sold = expected = None
    if known.height >= FEWEST_RESERVES:
        asked = (
            known.select(pl.col("reserve", "amount", "price", "upper_price").cast(pl.Float64))
            .select(pl.coalesce("upper_price", pl.col("reserve") / pl.col("amount") * pl.col("price")))
            .to_series()
        )
        told = known.filter(asked.is_not_null())
        if told.height >= FEWEST_RESERVES:
            below = model.distribution(told).cdf(asked.drop_nulls().to_numpy())
            sold = float((told["outcome"] == "sold").mean())  # type: ignore[arg-type]
            expected = float(1.0 - np.nanmean(below))
    return AuctionEvidence(
        lots.height,
        int((lots["outcome"] == "unsold").sum()),
        known.height,
        sold,
        expected,
        customary_estimates(hammer, model),
    )


def customary_estimates(hammer: pl.DataFrame, model: PriceModel) -> tuple[float, float] | None:
    """Logs, in the middle, of low estimate (all-in) over mid price and of high over low estimate, from sold
    lots on the hammer basis; None where fewer than ``FEWEST_ESTIMATES`` have them."""
    lots = hammer.filter(
        pl.col("outcome") == "sold",
        pl.col("low_estimate").is_not_null(),
        pl.col("high_estimate").is_not_null(),
    )
    if len(lots) < FEWEST_ESTIMATES:
        return None
    low, high, amount, price = (
        lots[name].cast(pl.Float64).to_numpy()
        for name in ("low_estimate", "high_estimate", "amount", "price")
    )
    over = np.log(low / amount * price / model.distribution(lots).mid)
    return float(np.nanmedian(over)), float(np.median(np.log(high / low)))
