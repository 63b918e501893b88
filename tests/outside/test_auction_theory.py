"""The law of an auction against its theory, for independent private values.

Krishna, Auction Theory (2nd ed.), ch. 2; Riley and Samuelson, Optimal Auctions, American Economic Review 71
(1981) 381-392; Myerson, Optimal Auction Design, Mathematics of Operations Research 6 (1981) 58-73 (all from
memory; numbers recomputed): with n values uniform on (0, 1) the highest is n / (n + 1) on average and a
seller gets (n - 1) / (n + 1); the best reserve solves r - (1 - F(r)) / f(r) = own value, whatever n; a
first-price auction brings the same on average (revenue equivalence). Order statistics are scipy's.
"""

from typing import Any

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from pricing.decisions.sell.auction import Bidding

DRAWS = 200_000
TOP = np.random.default_rng(5).random(DRAWS)
UNIFORM, LOG_NORMAL = stats.uniform(), stats.lognorm(0.5)
LAWS = pytest.mark.parametrize("law", [UNIFORM, LOG_NORMAL], ids=["uniform", "log-normal"])


def room(law: Any, bidders: int) -> Bidding:
    """Draws of the second highest of so many values, whose level is that of a beta order statistic."""
    level = (np.random.default_rng(2).permutation(DRAWS) + 0.5) / DRAWS
    return Bidding.drawn(np.asarray(law.ppf(stats.beta.ppf(level, bidders - 1, 2))), bidders, TOP)


def revenue(bidding: Bidding, reserve: float, own: float = 0.0) -> float:
    """What a seller who keeps a lot worth ``own`` gets on average."""
    return float(np.where(bidding.sold(reserve), bidding.hammer(reserve), own).mean())


@pytest.mark.parametrize(
    ("bidders", "plain", "reserved", "sold"),
    [(2, 0.33333, 0.41667, 0.75), (3, 0.5, 0.53125, 0.875), (5, 0.66667, 0.67188, 0.96875)],
)
def test_uniform_values_bring_what_the_textbook_says(
    bidders: int, plain: float, reserved: float, sold: float
) -> None:
    bidding = room(UNIFORM, bidders)
    assert bidding.highest.mean() == pytest.approx(bidders / (bidders + 1), abs=2e-3)
    assert revenue(bidding, 0.0) == pytest.approx(plain, abs=1e-3)
    assert revenue(bidding, 0.5) == pytest.approx(reserved, abs=2e-3)
    assert bidding.sold(0.5).mean() == pytest.approx(sold, abs=3e-3)


@LAWS
@pytest.mark.parametrize("bidders", [2, 3, 8])
def test_the_highest_value_has_the_law_of_the_last_order_statistic(law: Any, bidders: int) -> None:
    highest = room(law, bidders).highest
    for level in (0.1, 0.5, 0.9, 0.99):
        value = law.ppf(stats.beta.ppf(level, bidders, 1))
        assert float((highest <= value).mean()) == pytest.approx(level, abs=5e-3)


@LAWS
@pytest.mark.parametrize("bidders", [2, 4])
def test_the_best_reserve_is_that_of_the_theory_whatever_the_number_of_bidders(
    law: Any, bidders: int
) -> None:
    for own in (0.0, 0.3):
        best = optimize.brentq(lambda r, own=own: r - law.sf(r) / law.pdf(r) - own, 0.05, law.ppf(0.999))
        bidding = room(law, bidders)
        at_best = revenue(bidding, best, own)
        tried = np.linspace(0.5 * best, min(1.5 * best, law.ppf(0.999)), 41)
        nets = np.array([revenue(bidding, float(reserve), own) for reserve in tried])
        assert nets.max() - at_best < 2e-3
        assert tried[int(np.argmax(nets))] == pytest.approx(best, abs=0.12)


@LAWS
@pytest.mark.parametrize("bidders", [2, 5])
def test_a_first_price_auction_brings_the_same_on_average(law: Any, bidders: int) -> None:
    """Krishna, proposition 2.2: the bid is E[highest of the others | it is below one's own value]."""

    def bid(value: float) -> float:
        below, _ = integrate.quad(lambda y: (law.cdf(y) / law.cdf(value)) ** (bidders - 1), 0.0, value)
        return value - below

    levels = (np.arange(400) + 0.5) / 400
    highest = law.ppf(stats.beta.ppf(levels, bidders, 1))
    first_price = float(np.mean([bid(float(value)) for value in highest]))
    assert revenue(room(law, bidders), 0.0) == pytest.approx(first_price, rel=5e-3)


@LAWS
def test_revenue_grows_with_bidders_and_never_exceeds_the_highest_value(law: Any) -> None:
    rooms = [room(law, bidders) for bidders in (2, 3, 5, 10)]
    earned = [revenue(bidding, 0.0) for bidding in rooms]
    assert earned == sorted(earned)
    assert all(net < bidding.highest.mean() for net, bidding in zip(earned, rooms, strict=True))
