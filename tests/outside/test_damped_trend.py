"""The trend carried past the last sale, against exponential smoothing with a damped trend.

Gardner and McKenzie 1985 (from memory): the forecast of step h is level + (phi + phi^2 + ... + phi^h) trend;
``statsmodels`` ``Holt(damped_trend=True)`` makes it.
"""

import numpy as np
import pytest
from statsmodels.tsa.holtwinters import Holt

from pricing.model.calibration.market_shift import REACHES, damped

REACH = REACHES["damped"]
STEPS = 400
LEVEL, TREND = 9.0, 0.002


@pytest.fixture(scope="module")
def ahead() -> np.ndarray:
    """What the library adds to the level on each of ``STEPS`` days, when a day's damping is ours."""
    phi = float(np.exp(-1.0 / REACH))
    days = np.arange(30.0)
    rising = LEVEL + TREND * np.cumsum(
        phi ** (days + 1.0)
    )  # followed without an error by the smoothing itself
    model = Holt(
        rising, damped_trend=True, initialization_method="known", initial_level=LEVEL, initial_trend=TREND
    )
    fit = model.fit(smoothing_level=0.5, smoothing_trend=0.5, damping_trend=phi, optimized=False)
    carried = np.asarray(fit.forecast(STEPS)) - rising[-1]
    last = TREND * phi ** len(days)
    assert carried == pytest.approx(last * np.cumsum(phi ** np.arange(1.0, STEPS + 1.0)), rel=1e-9)
    return carried


def test_days_of_trend_carried_on_are_a_damped_trends(ahead: np.ndarray) -> None:
    """Of each day beside the first: ours runs on within a day, the library's steps from day to day."""
    days = np.arange(1.0, STEPS + 1.0)
    assert damped(days, REACH) / damped(days[:1], REACH) == pytest.approx(ahead / ahead[0], rel=1e-9)


def test_as_many_days_at_first_and_a_reach_at_most() -> None:
    # the sum phi / (1 - phi) of all steps, less half a step, is the reach (Euler-Maclaurin)
    phi = float(np.exp(-1.0 / REACH))
    assert damped(np.array([1.0]), REACH)[0] == pytest.approx(1.0, abs=0.5 / REACH)
    assert damped(np.array([1e9]), REACH)[0] == pytest.approx(phi / (1.0 - phi) + 0.5, rel=1e-5)
