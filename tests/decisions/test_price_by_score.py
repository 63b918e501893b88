from datetime import date

import numpy as np
import polars as pl
import pytest

from pricing.arrays import Floats
from pricing.condition.assessment import assess
from pricing.condition.checks import NOT_SEEN
from pricing.condition.inspection import Finding, Inspection
from pricing.decisions.car_price import PriceByScore
from pricing.errors import ModelError
from pricing.model.distribution import PriceDistribution
from tests.condition.walks import CAR, PricedByScore, car_frame, walk

LEVELS = [0.05, 0.1, 0.5, 0.9, 0.95]
MODEL = PricedByScore()
TABLE = PriceByScore.ask(MODEL, car_frame(walk()))


def expected(score: float) -> Floats:
    cars = pl.DataFrame({"condition_band": ["average"], "condition_score": [score]})
    return MODEL.distribution(cars).ppf(LEVELS)[0]


@pytest.mark.parametrize("score", [0.5, 24.5, 62.5, 99.5])
def test_a_known_score_gives_the_models_own_quantiles(score: float) -> None:
    assert TABLE.mixture(np.full(50, score)).ppf(LEVELS)[0] == pytest.approx(expected(score), rel=2e-3)


def test_two_scores_give_the_mixture_of_their_prices() -> None:
    rng = np.random.default_rng(0)
    scores = rng.choice([20.5, 80.5], size=200_000, p=[0.3, 0.7])
    draws = np.exp(
        np.interp(scores, MODEL.scores, np.log(MODEL.prices)) + 0.2 * rng.standard_normal(len(scores))
    )
    assert TABLE.mixture(scores).ppf(LEVELS)[0] == pytest.approx(np.quantile(draws, LEVELS), rel=0.02)


def test_drawing_and_quantiles_agree() -> None:
    rng = np.random.default_rng(1)
    scores, level = rng.uniform(20, 90, 100_000), rng.random(100_000)
    assert np.quantile(TABLE.draw(scores, level), LEVELS) == pytest.approx(
        TABLE.mixture(scores).ppf(LEVELS)[0], rel=0.02
    )


def test_a_band_alone_is_the_model_without_a_score() -> None:
    draws = TABLE.draw_in_band(2, np.linspace(0.0005, 0.9995, 1000))
    assert np.median(draws) == pytest.approx(3900, rel=1e-3)


def test_a_car_half_seen_has_a_wider_price_range() -> None:
    whole = walk(state="worn")
    widths = []
    for step in (0, 4, 2, 1):
        order = [check.id for check in whole.sheet.scored]
        found = whole.fill(Finding(check, NOT_SEEN) for check in (order[::step] if step else []))
        low, high = TABLE.mixture(assess(found).draws).ppf([0.1, 0.9])[0]
        widths.append(high / low)
    assert widths == sorted(widths)
    assert widths[2] > 1.5 * widths[0]


def test_a_model_that_gives_no_price_is_refused() -> None:
    class Silent(PricedByScore):
        def distribution(self, cars: pl.DataFrame, as_of: date | None = None) -> PriceDistribution:
            told = super().distribution(cars)
            return PriceDistribution(told.law, np.full_like(told.centre, np.nan), told.spread)

    with pytest.raises(ModelError, match="gives no price for this car"):
        PriceByScore.ask(Silent(), car_frame(walk()))


def test_one_car_is_priced_at_a_time() -> None:
    frame = car_frame(Inspection.start("monocoque", CAR))
    with pytest.raises(ModelError, match="got 2 rows"):
        PriceByScore.ask(MODEL, pl.concat([frame, frame]))
