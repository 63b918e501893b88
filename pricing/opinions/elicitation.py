"""Asking for a span: quartiles by bisection, in the manner of the Sheffield method (O'Hagan and others 2006).

A person is asked no quantile outright. First the range is said in which any price at all would have to lie;
then, price by price, whether more cars sell above or below, until as many do on either side: the median. The
half below it is halved in the same way, and the half above. What comes out is fed back as a share that was
not asked for, so that it can be taken back.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Self

import numpy as np
from scipy.special import ndtri

from pricing.errors import OpinionError

ANSWERS: Final = ("more sell above", "as many above as below", "more sell below")

CLOSE: Final = 1.06
"""High over low at which a price is found: closer, nobody can tell."""

MOST_FIGURES: Final = 12

STAGES: Final = ("median", "lower quartile", "upper quartile")

HALF: Final = "half"
"""What a span between quartiles holds (a key of ``vocabulary.SPANS``)."""

TAIL: Final = 0.1
"""The share that is fed back."""


@dataclass(frozen=True)
class Bisection:
    """Quartiles as far as they are known, and the bounds between which the one asked for lies.

    >>> sought = Bisection.between(Decimal(2000), Decimal(8000))
    >>> sought.price
    Decimal('4000')
    >>> for answer in ("as many above as below",) * 3:
    ...     sought = sought.answered(answer)
    >>> sought.quartiles
    (Decimal('2800'), Decimal('4000'), Decimal('5700'))
    """

    least: Decimal
    most: Decimal
    low: Decimal
    high: Decimal
    known: tuple[Decimal, ...] = ()

    @classmethod
    def between(cls, least: Decimal, most: Decimal) -> Self:
        """Begin with the range in which any price at all would have to lie.

        Raises:
            OpinionError: it is none.
        """
        if not (least.is_finite() and most.is_finite() and 0 < least < most):
            raise OpinionError(f"the lowest price is above nought and below the highest; got {least}, {most}")
        return cls(least, most, least, most)

    @property
    def done(self) -> bool:
        """Whether all three quartiles are known."""
        return len(self.known) == len(STAGES)

    @property
    def stage(self) -> str:
        """What is asked for now."""
        return STAGES[min(len(self.known), len(STAGES) - 1)]

    @property
    def price(self) -> Decimal:
        """The price asked about: in the middle (of logs) of what is possible."""
        return rounded_between(self.low, self.high)

    @property
    def quartiles(self) -> tuple[Decimal, Decimal, Decimal]:
        """Lower quartile, median and upper quartile.

        Raises:
            OpinionError: they are not all known yet.
        """
        if not self.done:
            raise OpinionError(f"the {self.stage} is not known yet")
        median, lower, upper = self.known
        return lower, median, upper

    def answered(self, answer: str) -> Self:
        """What is known after an answer, one of ``ANSWERS``, to ``price``.

        Raises:
            OpinionError: it is none of them, or nothing is asked any more.
        """
        if answer not in ANSWERS or self.done:
            raise OpinionError(f"the answer is one of: {', '.join(ANSWERS)}; got {answer!r}")
        price, (above, level, below) = self.price, ANSWERS
        low, high = price if answer == above else self.low, price if answer == below else self.high
        if answer != level and float(high) / float(low) >= CLOSE:
            return replace(self, low=low, high=high)
        known = (*self.known, price if answer == level else rounded_between(low, high))
        low, high = (self.least, known[0]) if len(known) == 1 else (known[0], self.most)
        return replace(self, known=known, low=low, high=high)


def rounded_between(low: Decimal, high: Decimal) -> Decimal:
    """The middle (of logs) of two prices, in two figures or as many more as keep it apart from both, so that
    a quartile is never the median.

    >>> rounded_between(Decimal(4700), Decimal(5000)), rounded_between(Decimal(4800), Decimal(4900))
    (Decimal('4800'), Decimal('4850'))
    """
    middle = float(np.sqrt(float(low) * float(high)))
    tried = (rounded(middle, figures) for figures in range(2, MOST_FIGURES + 1))
    return next((price for price in tried if low < price < high), rounded(middle, MOST_FIGURES))


def rounded(price: float, figures: int = 2) -> Decimal:
    """A price in so many figures.

    >>> rounded(4872.0), rounded(99.6)
    (Decimal('4900'), Decimal('100'))
    """
    unit = Decimal(10) ** (int(np.floor(np.log10(price))) - figures + 1)
    whole = (Decimal(repr(price)) / unit).to_integral_value() * unit
    return whole.quantize(Decimal(1)) if unit >= 1 else whole


def tails(quartiles: tuple[Decimal, Decimal, Decimal]) -> tuple[float, float]:
    """The prices that one in ten would sell below and above, by a split log-normal law through the quartiles:
    what is fed back.

    >>> [round(price) for price in tails((Decimal(3000), Decimal(4000), Decimal(5000)))]
    [2316, 6112]
    """
    lower, median, upper = (float(np.log(float(price))) for price in quartiles)
    reach = float(ndtri(1.0 - TAIL) / ndtri(0.75))
    return float(np.exp(median - reach * (median - lower))), float(np.exp(median + reach * (upper - median)))
