"""Kaplan-Meier and the log-rank test against lifelines and statsmodels.

Kaplan and Meier, Journal of the American Statistical Association 53 (1958) 457-481; Mantel, Cancer
Chemotherapy Reports 50 (1966) 163-170 (both from memory). The data are lifelines' own copies of published
trials.
"""

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_larynx, load_waltons
from lifelines.statistics import logrank_test
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from pricing.decisions.sell.time_to_sale import kaplan_meier, log_rank


def test_kaplan_meier_agrees_with_two_libraries() -> None:
    for days, seen in (
        (load_waltons()["T"].to_numpy(), load_waltons()["E"].to_numpy()),
        (load_larynx()["time"].to_numpy(), load_larynx()["death"].to_numpy()),
    ):
        own = kaplan_meier(days, seen)
        peer = KaplanMeierFitter().fit(days, seen)
        assert own["share"].to_numpy() == pytest.approx(peer.predict(own["days"].to_numpy()).to_numpy())
        weight = np.where(np.arange(len(days)) % 3 == 0, 2.0, 1.0)
        weighed = KaplanMeierFitter().fit(
            np.repeat(days, weight.astype(int)), np.repeat(seen, weight.astype(int))
        )
        assert kaplan_meier(days, seen, weight)["share"].to_numpy() == pytest.approx(
            weighed.predict(own["days"].to_numpy()).to_numpy()
        )
        other = SurvfuncRight(days, seen)
        assert own["days"].to_numpy() == pytest.approx(other.surv_times)
        assert own["share"].to_numpy() == pytest.approx(other.surv_prob)


def test_log_rank_agrees_with_two_libraries() -> None:
    frame = load_waltons()
    one = (frame["group"] == "miR-137").to_numpy()
    days, seen = frame["T"].to_numpy(), frame["E"].to_numpy()
    statistic, p_value = log_rank(days, seen, one)
    peer = logrank_test(days[one], days[~one], seen[one], seen[~one])
    assert statistic == pytest.approx(peer.test_statistic)
    assert p_value == pytest.approx(peer.p_value)
    other, _ = survdiff(days, seen, one)
    assert statistic == pytest.approx(other)


def test_by_hand() -> None:
    # four for sale: one sold on day 1 (3/4), one of three on day 2 (1/2), the last one on day 3
    assert kaplan_meier([1, 2, 2, 3], [1, 1, 0, 1])["share"].to_list() == [0.75, 0.5, 0.0]
    assert log_rank([1, 2], [0, 0], [1, 0]) == (0.0, 1.0)
    statistic, p_value = log_rank(np.repeat([1.0, 2.0], 2), np.ones(4), [1, 0, 1, 0])
    assert statistic == pytest.approx(0.0) and p_value == pytest.approx(1.0)
