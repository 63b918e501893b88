"""The law of the highest bid from sold and unsold lots, on markets whose behaviour is known."""

import numpy as np
import polars as pl
import pytest
from scipy import stats
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from data_demo.simulated import simulate_market
from pricing.decisions.highest_bids import HighestBids, Lots, in_units, later_lots, mid_and_spread
from pricing.decisions.reserves import Room
from pricing.model.price_model import PriceModel
from pricing.model.spec import FeatureSpec


def drawn(size: int, seed: int) -> tuple[Lots, np.ndarray, np.ndarray]:
    """Lots with bids of a known law, a known reserve each."""
    rng = np.random.default_rng(seed)
    band = rng.integers(0, 5, size)
    bid = -0.1 + 0.9 * rng.standard_t(10, size)
    reserve = rng.normal(-0.6, 0.5, size)
    sold = bid >= reserve
    return Lots(np.where(sold, bid, -np.inf), np.where(sold, bid, reserve), band), bid, reserve


def test_the_law_comes_back_though_unsold_lots_are_only_bounded() -> None:
    lots, bid, _ = drawn(4000, 1)
    assert 0.2 < (~lots.sold).mean() < 0.5
    bids = HighestBids.fit(lots)
    assert bids is not None
    assert bids.location == pytest.approx(np.full(5, -0.1), abs=0.06)
    assert bids.scale == pytest.approx(np.full(5, 0.9), abs=0.07)
    only_sold = lots.lower[lots.sold].mean()
    assert only_sold > bid.mean() + 0.15  # what leaving unsold lots out would have said


def test_the_chance_of_a_sale_is_calibrated_on_later_lots() -> None:
    lots, _, _ = drawn(3000, 2)
    bids = HighestBids.fit(lots)
    assert bids is not None
    later, bid, reserve = drawn(6000, 3)
    chance = np.array(
        [1.0 - bids.share_below(at, band) for at, band in zip(reserve, later.band, strict=True)]
    )
    sold = bid >= reserve
    share, said = calibration_curve(sold, chance, n_bins=8, strategy="quantile")
    assert np.abs(share - said).max() < 0.05
    true = stats.t.sf((reserve + 0.1) / 0.9, 10)
    assert brier_score_loss(sold, chance) < brier_score_loss(sold, true) + 0.002
    assert brier_score_loss(sold, chance) < brier_score_loss(sold, np.full(len(sold), sold.mean())) - 0.02


def test_the_chosen_reserve_earns_within_two_per_cent_of_the_best_possible() -> None:
    lots, _, _ = drawn(1500, 4)
    bids = HighestBids.fit(lots)
    assert bids is not None
    levels = (np.arange(400) + 0.5) / 400
    price = 8000 * np.exp(0.25 * bids.quantiles(levels, 2))
    truth = 8000 * np.exp(0.25 * (-0.1 + 0.9 * stats.t.ppf(np.arange(0.5, 20_000) / 20_000, 10)))
    tried = np.linspace(2000, 15_000, 131)
    for own in (4000.0, 6500.0, 8000.0):
        for bidders in (None, 2, 4):
            chosen, _ = Room(price, 0.9 * price, bidders).best(tried, own)
            true_room = Room(truth, 0.9 * truth, bidders)
            assert true_room.expected([chosen], own)[0] >= 0.98 * true_room.expected(tried, own).max()


def test_a_band_with_few_lots_is_drawn_towards_the_others() -> None:
    lots, _, _ = drawn(2000, 6)
    few = np.flatnonzero(lots.band == 0)[:3]
    kept = np.concatenate([few, np.flatnonzero(lots.band != 0)])
    lower, upper = lots.lower.copy(), lots.upper.copy()
    lower[few] = upper[few] = 2.0
    bids = HighestBids.fit(Lots(lower[kept], upper[kept], lots.band[kept]))
    assert bids is not None
    assert bids.location[0] < 0.6


def test_too_few_lots_say_nothing() -> None:
    lots, _, _ = drawn(30, 7)
    assert HighestBids.fit(lots) is None
    sold = np.linspace(-1, 1, 200)
    assert HighestBids.fit(Lots(sold, sold, np.zeros(200, dtype=np.int64))) is None


@pytest.mark.parametrize("seed", [11])
def test_on_a_simulated_market_the_chance_is_near_what_happens_later(seed: int) -> None:
    """From records alone: the whole way through the price model, to lots that nobody has seen."""
    frame, truth = simulate_market(5000, 20, seed=seed, again=0.0)
    drawn_bid = truth.rows["log_price"] + truth.rows["noise"]
    frame = frame.with_columns(bid=drawn_bid).sort("event_date")
    past, future = frame[:4000], frame[4000:]
    spec = FeatureSpec.cars()
    model = PriceModel(spec).fit(past.drop("bid"))
    bids = HighestBids.fit(later_lots(past.drop("bid"), model))
    assert bids is not None
    lots = future.filter(pl.col("channel") == "auction")
    mid, spread = mid_and_spread(model, lots)
    units = (lots["bid"].to_numpy() - mid) / spread
    for reserve in (-1.0, -0.5, 0.0, 0.5):
        said = np.mean([1.0 - bids.share_below(reserve, 4)])
        assert said == pytest.approx((units >= reserve).mean(), abs=0.07)


def test_lots_without_any_bound_are_left_out_and_sold_ones_are_exact() -> None:
    frame, _ = simulate_market(800, 5, seed=3)
    model = PriceModel(FeatureSpec.cars()).fit(frame)
    auction = frame.filter(pl.col("channel") == "auction", pl.col("outcome").is_in(["sold", "unsold"]))
    lots = in_units(auction, model)
    bounded = auction.filter(pl.col("price").is_not_null() | pl.col("upper_price").is_not_null())
    assert bounded.height == len(lots) < auction.height
    assert lots.sold.sum() == (auction["outcome"] == "sold").sum()
    assert np.all(lots.lower[~lots.sold] < lots.upper[~lots.sold])
