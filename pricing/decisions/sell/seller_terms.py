"""What a seller states about a sale."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from pricing.errors import DecisionError
from pricing.records.entered_amounts import entered

DISCOUNT: Final = 0.01
"""What money a month later is worth less, where the owner does not say how soon it is wanted: convention."""

MOST_DISCOUNT: Final = 0.5


@dataclass(frozen=True)
class SellerTerms:
    """What the seller states; amounts in ``currency``. None: not said.

    Args:
        own_value: what the car is worth to its owner unsold; without it, an unsold car is offered on.
        reserve, low_estimate, high_estimate: hammer prices proposed at an auction.
        asking: the price asked on the other channels; without it, the one that leaves most is looked for.
        floor: the lowest price asked in the end, which is then kept to; without it, 10 % under the mid price
            is asked in the end, and less is taken.
        bidders: of an auction; see ``auction``.
        papers: what each paper of ``what_ifs.PAPERS`` would cost to get.
        discount: the share by which money a month later is worth less: how soon it is wanted.

    Raises:
        MoneyError: an amount cannot be meant.
        DecisionError: amounts contradict each other, or the discount is none.
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
    discount: float = DISCOUNT

    def __post_init__(self) -> None:
        """Refuse what makes no sense together."""
        entered("worth unsold", self.own_value, self.currency, cost=True)
        for name, amount in (
            ("reserve", self.reserve),
            ("low estimate", self.low_estimate),
            ("high estimate", self.high_estimate),
            ("asking price", self.asking),
            ("lowest price", self.floor),
        ):
            entered(name, amount, self.currency)
        for name, cost in self.papers.items():
            entered(f"cost of {name}", cost, self.currency, cost=True)
        if not 0.0 <= self.discount <= MOST_DISCOUNT:
            raise DecisionError(
                f"the discount a month is a share from 0 to {MOST_DISCOUNT}; got {self.discount}"
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
