"""A reserve and an estimate for an auction: the chance of a sale and the expected net against the reserve.

Records show what was bid, not what bidders would have given. Without a word about the room, the highest bid
is therefore taken as what is paid whenever it reaches the reserve: a reserve then guards against a price
below what the car is worth to its owner, and raises nothing. With a stated number of bidders, each with a
value of their own drawn from one law ``F`` (independent private values), the recorded bid is the second
highest value, the hammer falls at the higher of that and the reserve, and the lot sells when the highest
value reaches the reserve (Riley and Samuelson 1981; Myerson 1981)::

    E net(r) = own F(r)^n  +  net(r) n F(r)^(n-1) (1 - F(r))  +  integral over x >= r of net(x) dG(x)
    G = n F^(n-1) - (n - 1) F^n
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from pricing.arrays import Floats
from pricing.errors import DecisionError

MOST_BIDDERS: Final = 50


@dataclass(frozen=True, eq=False)
class Room:
    """The law of the highest bid as ``bids``, equally likely and rising, with what each leaves the seller
    (``net``); ``bidders``: None where nothing is said of the room.

    Raises:
        DecisionError: the number of bidders is none.
    """

    bids: Floats
    net: Floats
    bidders: int | None = None

    def __post_init__(self) -> None:
        """Refuse a number of bidders that is none."""
        if self.bidders is not None and not 1 <= self.bidders <= MOST_BIDDERS:
            raise DecisionError(f"bidders: expected 1 to {MOST_BIDDERS}; got {self.bidders}")

    def chance(self, reserves: ArrayLike) -> Floats:
        """Chance of a sale at each reserve: never rises with it."""
        below = self._recorded(reserves)
        if self.bidders is None:
            return 1.0 - below
        return 1.0 - values_share(below, self.bidders) ** self.bidders

    def expected(self, reserves: ArrayLike, own: float) -> Floats:
        """Expected net at each reserve when the car unsold is worth ``own``."""
        at = np.asarray(reserves, dtype=np.float64)
        below = self._recorded(at)
        total = np.concatenate([np.cumsum(self.net[::-1])[::-1], [0.0]])
        place = below * len(self.bids)
        whole = np.minimum(place.astype(np.intp), len(self.bids) - 1)
        part = np.clip(place - whole, 0.0, 1.0)
        above = (total[whole] - part * self.net[whole]) / len(self.bids)
        if self.bidders is None:
            return own * below + above
        n = self.bidders
        value = values_share(below, n)
        at_reserve = np.interp(at, self.bids, self.net) * n * value ** (n - 1) * (1.0 - value)
        return own * value**n + at_reserve + (above if n > 1 else 0.0)

    def best(self, reserves: ArrayLike, own: float) -> tuple[float, float]:
        """The reserve of those with the highest expected net (the lowest of equals), and that net."""
        at = np.asarray(reserves, dtype=np.float64)
        nets = self.expected(at, own)
        place = int(np.argmax(nets >= nets.max() - 1e-9 * abs(nets.max())))
        return float(at[place]), float(nets[place])

    def _recorded(self, reserves: ArrayLike) -> Floats:
        """Share of the recorded law below each reserve."""
        middles = (np.arange(len(self.bids)) + 0.5) / len(self.bids)
        return np.interp(np.asarray(reserves, dtype=np.float64), self.bids, middles, left=0.0, right=1.0)


def values_share(second: ArrayLike, bidders: int) -> Floats:
    """The law ``F`` of one bidder's value where the law of the second highest of ``bidders`` is ``second``;
    with one bidder the recorded law is taken for the bidder's own.

    >>> np.round(values_share([0.0, 0.75, 1.0], 2), 6).tolist()  # 2F - F^2 = 3/4 at F = 1/2
    [0.0, 0.5, 1.0]
    """
    share = np.asarray(second, dtype=np.float64)
    if bidders == 1:
        return share
    grid = np.sin(np.linspace(0.0, np.pi / 2, 4001)) ** 2
    law = bidders * grid ** (bidders - 1) - (bidders - 1) * grid**bidders
    return np.interp(share, law, grid)
