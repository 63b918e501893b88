"""What a seller states about a sale."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from pricing.errors import DecisionError


@dataclass(frozen=True)
class SellerTerms:
    """What the seller states; amounts in ``currency``. None: not said.

    Args:
        own_value: what the car is worth to its owner unsold.
        reserve, low_estimate, high_estimate: hammer prices proposed at an auction.
        asking: the price asked on the other channels.
        floor: the lowest price asked in the end; without it, 10 % under the mid price.
        bidders: of an auction; see ``reserves``.
        papers: what each paper of ``first_jobs.PAPERS`` would cost to get.

    Raises:
        DecisionError: an amount is none, or a reserve is above the high estimate.
    """

    currency: str
    own_value: Decimal | None = None
    reserve: Decimal | None = None
    low_estimate: Decimal | None = None
    high_estimate: Decimal | None = None
    asking: Decimal | None = None
    floor: Decimal | None = None
    bidders: int | None = None
    papers: Mapping[str, Decimal] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse amounts that make no sense together."""
        for name in ("own_value", "reserve", "low_estimate", "high_estimate", "asking", "floor"):
            amount: Decimal | None = getattr(self, name)
            least = 0 if name == "own_value" else Decimal("0.001")
            if amount is not None and not (amount.is_finite() and amount >= least):
                raise DecisionError(
                    f"{name.replace('_', ' ')}: expected an amount above nought; got {amount}"
                )
        low, high, reserve = self.low_estimate, self.high_estimate, self.reserve
        if low is not None and high is not None and low > high:
            raise DecisionError(f"the low estimate of {low} is above the high estimate of {high}")
        if reserve is not None and high is not None and reserve > high:
            raise DecisionError(
                f"the reserve of {reserve} is above the high estimate of {high}: "
                "by custom it is at or below the low estimate"
            )
        if self.floor is not None and self.asking is not None and self.floor > self.asking:
            raise DecisionError(
                f"the lowest price of {self.floor} is above the asking price of {self.asking}"
            )
