"""The reserve: chances that fall with it, and nets that a room drawn at random agrees with."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.decisions.reserves import Room
from pricing.errors import DecisionError

LEVELS = (np.arange(2000) + 0.5) / 2000
BIDS = np.exp(9.0 + 0.3 * stats.norm.ppf(LEVELS))


@given(
    st.sampled_from([None, 1, 2, 5, 20]),
    st.lists(st.floats(0, 60_000), min_size=2, max_size=20).map(sorted),
)
def test_a_higher_reserve_never_raises_the_chance_of_a_sale(
    bidders: int | None, reserves: list[float]
) -> None:
    chance = Room(BIDS, BIDS, bidders).chance(reserves)
    assert np.all(np.diff(chance) <= 1e-12)
    assert np.all((chance >= 0) & (chance <= 1))


@pytest.mark.parametrize("own", [3000.0, 6000.0, 9000.0])
def test_where_a_reserve_raises_no_bid_the_best_one_is_worth_what_the_car_is_worth_unsold(own: float) -> None:
    net = 0.9 * BIDS - 200
    tried = np.linspace(100, 20_000, 400)
    best, expected = Room(BIDS, net).best(tried, own)
    assert best == pytest.approx((own + 200) / 0.9, abs=60)
    assert expected == pytest.approx(np.where(net >= own, net, own).mean(), rel=1e-3)


@pytest.mark.parametrize("bidders", [1, 2, 4])
def test_expected_net_agrees_with_rooms_drawn_at_random(bidders: int) -> None:
    rng = np.random.default_rng(5)
    values = np.sort(np.exp(9.0 + 0.4 * rng.standard_normal((400_000, bidders))), axis=1)
    recorded = np.sort(values[:, -2] if bidders > 1 else values[:, 0])
    bids = np.quantile(recorded, LEVELS)
    room = Room(bids, 0.92 * bids, bidders)
    own, tried = 7000.0, np.linspace(4000, 16_000, 25)
    second = values[:, -2] if bidders > 1 else np.zeros(len(values))
    drawn = np.array(
        [
            np.where(values[:, -1] >= reserve, 0.92 * np.maximum(second, reserve), own).mean()
            for reserve in tried
        ]
    )
    assert room.expected(tried, own) == pytest.approx(drawn, rel=0.006)
    chosen, _ = room.best(tried, own)
    assert drawn[np.argmin(np.abs(tried - chosen))] >= 0.98 * drawn.max()


def test_no_room_has_so_many_bidders() -> None:
    for bidders in (0, -1, 51):
        with pytest.raises(DecisionError, match=f"bidders: expected 1 to 50; got {bidders}"):
            Room(BIDS, BIDS, bidders)
