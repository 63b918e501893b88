"""The law of an auction: whether a lot sells at a reserve, and for what, in every draw.

Without a word about the room the highest bid is what the price model draws, and is paid whenever it reaches
the reserve: a reserve guards against a low price and raises nothing. With a stated number of bidders, each
with a value of their own from one law ``F`` (independent private values), what is drawn is the second highest
value; the highest lies above it, evenly in terms of ``F``; the lot sells when the highest value reaches the
reserve, at the higher of the second value and the reserve (Riley and Samuelson 1981; Myerson 1981; Krishna,
Auction Theory, ch. 2). The law of the second highest is ``G = n F^(n-1) - (n-1) F^n``.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pricing.arrays import Floats
from pricing.errors import DecisionError

MOST_BIDDERS: Final = 50

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Bidding:
    """Hammer prices of a lot without a reserve (``second``) and the value of the highest bidder
    (``highest``), both of shape (draws,); ``raises`` where a reserve between the two is paid."""

    second: Floats
    highest: Floats
    raises: bool

    @classmethod
    def drawn(cls, hammer: Floats, bidders: int | None, top: Floats) -> "Bidding":
        """From draws of the hammer price and levels ``top`` of the highest bidder above the second.

        Raises:
            DecisionError: the number of bidders is none.
        """
        if bidders is None:
            return cls(hammer, hammer, raises=False)
        if not 2 <= bidders <= MOST_BIDDERS:
            raise DecisionError(f"bidders: expected 2 to {MOST_BIDDERS}; got {bidders}")
        order = np.argsort(hammer, kind="stable")
        level = np.empty(len(hammer))
        middles = (np.arange(len(hammer)) + 0.5) / len(hammer)
        level[order] = middles
        share = values_share(level, bidders)
        share = 1.0 - (1.0 - share) * (1.0 - top)
        above = bidders * share ** (bidders - 1) - (bidders - 1) * share**bidders
        return cls(hammer, np.maximum(np.interp(above, middles, hammer[order]), hammer), raises=True)

    def sold(self, reserve: ArrayLike) -> Bools:
        """Whether the lot sells in each draw, at one reserve or at each of several (reserves x draws)."""
        return np.asarray(self.highest >= np.asarray(reserve)[..., None])

    def hammer(self, reserve: float) -> Floats:
        """What is paid at a reserve where the lot sells: never below the reserve."""
        return np.maximum(self.second, reserve) if self.raises else self.second


def values_share(second: ArrayLike, bidders: int) -> Floats:
    """The law ``F`` of one bidder's value where the law of the second highest of ``bidders`` is ``second``.

    >>> np.round(values_share([0.0, 0.75, 1.0], 2), 6).tolist()  # 2F - F^2 = 3/4 at F = 1/2
    [0.0, 0.5, 1.0]
    """
    grid = np.sin(np.linspace(0.0, np.pi / 2, 4001)) ** 2
    law = bidders * grid ** (bidders - 1) - (bidders - 1) * grid**bidders
    return np.interp(np.asarray(second, dtype=np.float64), law, grid)
