"""What a market's records say of how its cars sell, learnt once for many cars."""

from dataclasses import dataclass
from datetime import date
from typing import Final, Protocol

import numpy as np
import polars as pl

from pricing.decisions.sell.auction import NO_LOTS, AuctionEvidence, auction_evidence
from pricing.decisions.sell.time_to_sale import TimeToSale, kaplan_meier, listings_of, log_rank
from pricing.decisions.sell.what_ifs import BeforeAndAfter, before_and_after
from pricing.evidence.depth import asking_gap
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel
from pricing.progress import Progress, untold
from pricing.snapshot import Snapshot

FEWEST_PAIRS: Final = 20
"""Pairs of asked and sold, below which it is assumed how far buyers bargain."""

BARGAINED: Final = 1.25
"""What is asked over what is paid at most, where the records have too few pairs: an assumption."""

SLOWER: Final = 0.05
"""p value above which what is asked is said to make no difference on record."""

STEPS: Final = 4


class Records(Protocol):
    """What is read of a market to learn how its cars sell: a ``Snapshot`` is one."""

    def sales(self, as_of: date | None = None, *, every_record: bool = False) -> pl.DataFrame:
        """The sales and offers, as ``Market.sales`` gives them."""


@dataclass(frozen=True)
class SellingEvidence:
    """What the records say of selling.

    Args:
        auction: of lots, sold and unsold.
        times: how long cars stand for sale; None: the records do not say.
        waits: share of cars still for sale after each day (Kaplan and Meier): ``days``, ``share``.
        slower: log-rank p value that cars asked dearer than the middle sell as fast as the others.
        bargained: nine sales in ten were made within so much of what was asked (asked over paid), from
            ``pairs``; an assumption where they are too few.
        compared: what cars sold before and after a change brought.
    """

    auction: AuctionEvidence
    times: TimeToSale | None
    waits: pl.DataFrame | None = None
    slower: float | None = None
    bargained: float = BARGAINED
    pairs: int = 0
    compared: tuple[BeforeAndAfter, ...] = ()

    @property
    def price_tells(self) -> bool:
        """Whether the records show that cars asked dearer sold at another pace."""
        return self.slower is not None and self.slower <= SLOWER


def selling_evidence(
    market: Records,
    model: PriceModel,
    as_of: date | None = None,
    progress: Progress = untold,
) -> SellingEvidence:
    """Learn from a market's records how cars sell. ``progress`` is told each step, how many are done, and of
    how many."""
    if isinstance(model, OpinionBands):  # too few sales to learn anything from
        return SellingEvidence(NO_LOTS, None)
    progress("reading the records", 0, STEPS)
    sales, every = market.sales(as_of=as_of), market.sales(as_of=as_of, every_record=True)
    progress("days on offer against the asking price", 1, STEPS)
    listings = listings_of(sales, every, model)
    times = TimeToSale.fit(listings)
    dearer = listings.ratio > np.median(listings.ratio) if len(listings.ratio) else listings.sold
    ratios = asking_gap(every).matched["ratio"]
    progress("lots, sold and unsold", 2, STEPS)
    auction = auction_evidence(sales, model)
    progress("cars sold before and after a change", 3, STEPS)
    return SellingEvidence(
        auction=auction,
        times=times,
        waits=None if times is None else kaplan_meier(listings.days, listings.sold, listings.weight),
        slower=None if times is None else log_rank(listings.days, listings.sold, dearer)[1],
        bargained=BARGAINED
        if len(ratios) < FEWEST_PAIRS
        else max(1.0 / float(np.quantile(ratios.to_numpy(), 0.1)), 1.0),
        pairs=len(ratios),
        compared=before_and_after(sales, model),
    )


def evidence_of(snapshot: Snapshot, progress: Progress = untold) -> SellingEvidence:
    """``selling_evidence`` of a market in memory and its newest fit, made once."""
    return snapshot.by_fit.get(
        "selling", lambda: selling_evidence(snapshot, snapshot.model, progress=progress)
    )
