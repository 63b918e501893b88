"""Price indices against published vectors, exact identities and statsmodels.

Sources: Handbook on Residential Property Price Indices (2013), chapters 5 and 6 (identities recomputed here);
Bailey, Muth and Nourse (1963); Case and Shiller (1987); the repeat-sales vector of a published package's
worked example (three sales of one item, two of another).
"""

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.evidence.indices.characteristics import Characteristics
from pricing.evidence.indices.imputation import imputation
from pricing.evidence.indices.least_squares import least_squares
from pricing.evidence.indices.repeat_sales import holding_weights, repeat_sales
from pricing.evidence.indices.time_dummy import PeriodSums, fit_window, time_dummy


def _sales(seed: int, size: int = 160, periods: int = 4, groups: int = 6) -> Characteristics:
    rng = np.random.default_rng(seed)
    period = np.sort(np.concatenate([np.arange(periods), rng.integers(0, periods, size - periods)]))
    X = np.column_stack([rng.normal(size=size), rng.random(size) < 0.4, rng.normal(size=size) ** 2])
    group = np.concatenate([np.arange(groups), rng.integers(0, groups, size - groups)])
    y = 9 + X @ [0.3, 0.1, -0.2] + 0.4 * group + 0.05 * period + rng.normal(0, 0.2 + 0.1 * X[:, 1], size)
    return Characteristics(
        y, X, ("a", "b", "c"), group, period, np.arange(size), np.zeros(size, dtype=np.int64), np.ones(size)
    )


def _dummies(codes: np.ndarray, count: int) -> np.ndarray:
    return np.eye(count)[codes]


def test_time_dummy_identity_holds_exactly() -> None:
    """exp(d_t) = geometric mean ratio x exp(sum b (mean_0 - mean_t)), one group (Handbook ch. 5)."""
    sales = replace(_sales(1), group=np.zeros(160, dtype=np.int64))
    window = fit_window(sales, PeriodSums.of(sales, 4), 0, 3)
    beta = window.beta[:3]
    for t in (1, 2, 3):
        now, base = sales.period == t, sales.period == 0
        ratio = sales.log_price[now].mean() - sales.log_price[base].mean()
        mix = beta @ (sales.matrix[base].mean(axis=0) - sales.matrix[now].mean(axis=0))
        assert window.beta[2 + t] == pytest.approx(ratio + mix, abs=1e-10)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), weighted=st.booleans())
def test_time_dummy_equals_statsmodels(seed: int, weighted: bool) -> None:
    """Coefficients and HC2 standard errors of the regression with a dummy a group, which is swept out here;
    CR2 with clusters of one sale is HC2 exactly."""
    sales = _sales(seed)
    if weighted:
        sales = replace(sales, weights=np.random.default_rng(seed).uniform(0.5, 2.0, len(sales)))
    found = time_dummy(sales, 4)
    logs, errors = found.logs, found.errors
    X = np.column_stack([_dummies(sales.period, 4)[:, 1:], sales.matrix, _dummies(sales.group, 6)])
    peer = sm.WLS(sales.log_price, X, weights=sales.weights).fit(cov_type="HC2")
    assert logs[1:] == pytest.approx(peer.params[:3], abs=1e-9)
    assert errors[1:] == pytest.approx(peer.bse[:3], rel=1e-7)


def test_a_rolling_window_chains_the_last_links_of_its_regressions() -> None:
    sales = _sales(2)
    found = time_dummy(sales, 4, window=3)
    logs, errors = found.logs, found.errors
    total = PeriodSums.of(sales, 4)
    first, second = fit_window(sales, total, 0, 2), fit_window(sales, total, 1, 3)
    assert logs[:3] == pytest.approx([0.0, *first.beta[3:]])
    assert logs[3] == pytest.approx(first.beta[-1] + second.beta[-1] - second.beta[-2])
    assert (errors[1:] > 0).all()


def test_a_window_over_everything_is_one_regression() -> None:
    sales = _sales(3)
    whole, one = time_dummy(sales, 4, window=4), time_dummy(sales, 4)
    assert whole.logs == pytest.approx(one.logs) and whole.errors == pytest.approx(one.errors)


def test_new_sales_do_not_revise_the_history_of_a_rolling_window() -> None:
    sales = _sales(4)
    early = sales.period < 3
    part = Characteristics(
        sales.log_price[early], sales.matrix[early], sales.terms, sales.group[early], sales.period[early],
        sales.order[early], sales.band[early], sales.weights[early],
    )  # fmt: skip
    assert time_dummy(sales, 4, window=2).logs[:3] == pytest.approx(time_dummy(part, 3, window=2).logs)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_symmetric_imputation_identity_holds_exactly(seed: int) -> None:
    """symmetric = geometric mean ratio x exp(1/2 (b_0 + b_t)'(mean_0 - mean_t)) (Handbook ch. 5)."""
    sales = _sales(seed)
    found = imputation(sales.log_price, sales.matrix, sales.period, np.arange(4))
    Z = sm.add_constant(sales.matrix)
    fits = {t: sm.OLS(sales.log_price[sales.period == t], Z[sales.period == t]).fit() for t in range(4)}
    for t in (1, 2, 3):
        now, base = sales.period == t, sales.period == 0
        ratio = sales.log_price[now].mean() - sales.log_price[base].mean()
        mix = sales.matrix[base].mean(axis=0) - sales.matrix[now].mean(axis=0)
        both = (fits[0].params[1:] + fits[t].params[1:]) / 2
        assert found[t].logs["symmetric"] == pytest.approx(ratio + both @ mix, abs=1e-9)


def test_fisher_is_the_root_of_laspeyres_and_paasche_and_all_are_as_defined() -> None:
    sales = _sales(8)
    found = imputation(sales.log_price, sales.matrix, sales.period, np.arange(4))[2]
    Z = sm.add_constant(sales.matrix)
    fits = [sm.OLS(sales.log_price[sales.period == t], Z[sales.period == t]).fit() for t in (0, 2)]
    p0, p1 = (np.exp(fit.predict(Z)) for fit in fits)
    base, now = sales.period == 0, sales.period == 2
    laspeyres, paasche = p1[base].sum() / p0[base].sum(), p1[now].sum() / p0[now].sum()
    assert np.exp(found.logs["laspeyres"]) == pytest.approx(laspeyres)
    assert np.exp(found.logs["paasche"]) == pytest.approx(paasche)
    assert np.exp(found.logs["fisher"]) == pytest.approx(np.sqrt(laspeyres * paasche))
    ratio = np.log(p1 / p0)
    tornqvist = (np.average(ratio[base], weights=p0[base]) + np.average(ratio[now], weights=p1[now])) / 2
    assert found.logs["tornqvist"] == pytest.approx(tornqvist)


def test_imputation_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Two periods that differ by .05 in every log price: 95 % intervals of 300 markets, band of Bin(300,
    .95)."""
    hits = 0
    for seed in range(300):
        sales = _sales(seed, size=120, periods=2, groups=1)
        found = imputation(sales.log_price, sales.matrix, sales.period, np.arange(2))[1]
        hits += abs(found.logs["fisher"] - 0.05) <= 1.96 * found.errors["fisher"]
    assert 270 <= hits <= 296


def test_published_repeat_sales_vector() -> None:
    """Item 1 sells at 1, 3, 2 in periods 1, 2, 3; item 2 at 1, 1 in periods 1, 3."""
    first, second = np.array([0, 1, 0]), np.array([1, 2, 2])
    paid, fetched = np.array([1.0, 3.0, 1.0]), np.array([3.0, 2.0, 1.0])
    geometric = 100 * np.exp(repeat_sales(np.log(fetched / paid), first, second, 3).logs)
    assert geometric.round(4).tolist() == [100.0, 238.1102, 125.9921]


def _pairs(seed: int, pairs: int = 80, periods: int = 5) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    ends = np.sort(rng.permuted(np.tile(np.arange(periods), (pairs, 1)), axis=1)[:, :2], axis=1)
    days = 90.0 * (ends[:, 1] - ends[:, 0]) + rng.uniform(0, 30, pairs)
    ratio = 0.03 * (ends[:, 1] - ends[:, 0]) + rng.normal(0, 0.05 + days / 2000)
    return ratio, ends[:, 0], ends[:, 1], days


def test_repeat_sales_equal_statsmodels() -> None:
    ratio, first, second, days = _pairs(1)
    X = (_dummies(second, 5) - _dummies(first, 5))[:, 1:]
    plain = repeat_sales(ratio, first, second, 5)
    peer = sm.OLS(ratio, X).fit(cov_type="HC1")
    assert plain.logs[1:] == pytest.approx(peer.params)
    assert plain.errors[1:] == pytest.approx(peer.bse)
    trend = sm.OLS(peer.resid**2, sm.add_constant(days / 365.2425)).fit()
    expected = 1 / np.maximum(trend.fittedvalues, (peer.resid**2).mean() / 10)
    assert holding_weights(peer.resid, days) == pytest.approx(expected)
    weighted = repeat_sales(ratio, first, second, 5, days=days)
    heavy = sm.WLS(ratio, X, weights=expected).fit(cov_type="HC1")
    assert weighted.logs[1:] == pytest.approx(heavy.params)
    assert weighted.errors[1:] == pytest.approx(heavy.bse)


def test_a_modelled_change_does_not_move_the_index() -> None:
    """Cars restored between their sales, +.5 each: modelled, the index is what it was without them."""
    ratio, first, second, _ = _pairs(2)
    restored = np.arange(len(ratio)) % 4 == 0
    lifted = ratio + 0.5 * restored
    modelled = repeat_sales(lifted, first, second, 5, controls=restored[:, None] * 1.0)
    same = repeat_sales(ratio, first, second, 5, controls=restored[:, None] * 1.0)
    assert modelled.logs == pytest.approx(same.logs)
    assert repeat_sales(lifted, first, second, 5).logs[-1] > same.logs[-1] + 0.02


def test_a_period_that_no_pair_reaches_has_no_index() -> None:
    found = repeat_sales(np.array([0.1, 0.2]), np.array([0, 0]), np.array([1, 1]), 3)
    assert np.isnan(found.logs).tolist() == [False, False, True]


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_least_squares_equal_statsmodels_with_and_without_weights(seed: int) -> None:
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(40), 1000 * rng.normal(size=40), rng.normal(size=40)])
    y, w = rng.normal(size=40), rng.uniform(0.1, 3.0, 40)
    fit, peer = least_squares(X, y, w), sm.WLS(y, X, weights=w).fit(cov_type="HC1")
    assert fit.coefficients == pytest.approx(peer.params, rel=1e-8, abs=1e-12)
    assert np.sqrt(np.diag(fit.covariance())) == pytest.approx(peer.bse, rel=1e-7)
    assert fit.freedom == peer.df_resid


def test_a_column_that_others_make_up_changes_no_fitted_value() -> None:
    rng = np.random.default_rng(3)
    X, y = rng.normal(size=(30, 3)), rng.normal(size=30)
    doubled = least_squares(np.column_stack([X, X[:, 0] + X[:, 1]]), y)
    assert doubled.rank == 3
    assert doubled.residuals == pytest.approx(least_squares(X, y).residuals)
