"""What an asking price is beside what like cars fetch, in one word, from percentile limits that are set."""

from typing import Final

from pricing.errors import DecisionError

LIMITS: Final = (0.1, 0.3, 0.7, 0.9)
"""Shares of like cars that sell for less, at which one word ends and the next begins: a convention, which the
settings of a market may replace."""

VERDICTS: Final = ("well below", "below", "about", "above", "well above")


def verdict_of(standing: float, limits: tuple[float, ...] = LIMITS) -> str:
    """One of ``VERDICTS`` for the share of like cars that sell for less.

    >>> [verdict_of(share) for share in (0.05, 0.5, 0.78, 0.95)]
    ['well below', 'about', 'above', 'well above']
    """
    return VERDICTS[sum(standing >= limit for limit in checked_limits(limits))]


def checked_limits(limits: tuple[float, ...]) -> tuple[float, ...]:
    """The limits, refused where they are not four rising shares.

    Raises:
        DecisionError: they are none.
    """
    rising = all(0.0 < limit < 1.0 for limit in limits) and sorted(set(limits)) == list(limits)
    if len(limits) != len(VERDICTS) - 1 or not rising:
        raise DecisionError(
            f"the limits of the verdict are four rising shares between 0 and 1; got {list(limits)}"
        )
    return limits
