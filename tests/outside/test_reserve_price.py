"""The best reserve in a room of independent private values, against what is known of it.

Riley and Samuelson, Optimal Auctions, American Economic Review 71 (1981) 381-392; Myerson, Optimal Auction
Design, Mathematics of Operations Research 6 (1981) 58-73 (both from memory): r - (1 - F(r)) / f(r) = the
seller's own value, whatever the number of bidders.
"""

from typing import Any

import numpy as np
import pytest
from scipy import stats

from pricing.decisions.reserves import Room, values_share

LEVELS = (np.arange(4000) + 0.5) / 4000


def recorded(law: Any, bidders: int) -> np.ndarray:
    """Quantiles of the second highest of so many values (of the only one, where there is one)."""
    if bidders == 1:
        return np.asarray(law.ppf(LEVELS))
    return np.asarray(
        law.ppf(stats.beta.ppf(LEVELS, bidders - 1, 2))
    )  # an order statistic of a uniform sample


@pytest.mark.parametrize("bidders", [1, 2, 3, 8])
def test_uniform_values_and_no_worth_of_ones_own_lead_to_one_half(bidders: int) -> None:
    bids = recorded(stats.uniform(), bidders)
    tried = np.linspace(0.02, 0.98, 481)
    best, expected = Room(bids, bids, bidders).best(tried, 0.0)
    assert best == pytest.approx(0.5, abs=0.012)
    if bidders == 2:  # 5/12, by hand: 2 r^2 (1 - r) + the integral of x dG above r
        assert expected == pytest.approx(5 / 12, abs=1e-3)


@pytest.mark.parametrize(("bidders", "own"), [(1, 0.0), (1, 0.5), (2, 0.0), (3, 0.25)])
def test_exponential_values_lead_to_their_mean_above_the_worth_of_ones_own(bidders: int, own: float) -> None:
    bids = recorded(stats.expon(), bidders)  # (1 - F) / f = 1, so r = own + 1
    tried = np.linspace(0.1, 3.0, 581)
    best, _ = Room(bids, bids, bidders).best(tried, own)
    assert best == pytest.approx(1.0 + own, abs=0.03)


def test_the_law_of_one_value_comes_back_from_that_of_the_second_highest() -> None:
    values = np.linspace(0.01, 0.99, 50)
    for bidders in (2, 3, 10):
        second = stats.beta.cdf(values, bidders - 1, 2)
        assert values_share(second, bidders) == pytest.approx(values, abs=2e-3)
