"""The regression: robustness, censoring, spread, order of steps, what is refused."""

import numpy as np
import pytest
from scipy import stats

from pricing.arrays import Floats
from pricing.errors import ModelError
from pricing.model.regression.hedonic import fit_regression
from pricing.model.regression.pooling import Priors, Structure, Tree
from pricing.model.regression.residuals import truncated_moments


def grouped(seed: int, rows: int = 600, groups: int = 30) -> tuple[Floats, np.ndarray, Floats, Structure]:
    """Rows with an intercept and two ordered steps, each group with its own level."""
    rng = np.random.default_rng(seed)
    codes = np.sort(rng.integers(0, groups, rows))[:, None]
    place = rng.integers(0, 3, rows)
    X = np.column_stack([np.ones(rows), place >= 1, place >= 2]).astype(float)
    level = rng.normal(0.0, 0.5, groups)
    y = 9.0 + level[codes[:, 0]] + X[:, 1] * 0.5 + X[:, 2] * 0.4 + rng.normal(0.0, 0.2, rows)
    structure = Structure(
        Tree((np.zeros(groups, dtype=np.int64),)),
        Priors(np.full(3, np.inf), np.array([[0.1, 0.05, 0.05]])),
        [np.array([0]), np.array([1, 2])],
        np.array([0]),
        np.array([1, 2]),
    )
    return X, codes, y, structure


def test_a_few_wild_prices_change_little() -> None:
    X, codes, y, structure = grouped(1)
    wild, hit = y.copy(), np.arange(7, len(y), 25)
    wild[hit] += 4.0
    calm, _ = fit_regression(X, y, codes, structure)
    shaken, _ = fit_regression(X, wild, codes, structure)
    normal, _ = fit_regression(X, wild, codes, structure, degrees_of_freedom=np.inf)
    moved = np.abs(shaken.predict(X, codes) - calm.predict(X, codes)).max()
    assert moved < 0.1
    assert moved < 0.5 * np.abs(normal.predict(X, codes) - calm.predict(X, codes)).max()


def test_learns_the_variance_between_groups_and_the_spread() -> None:
    X, codes, y, structure = grouped(2, rows=3000, groups=150)
    fit, rows = fit_regression(X, y, codes, structure)
    assert np.sqrt(fit.estimates.priors.levels[0, 0]) == pytest.approx(0.5, rel=0.2)
    assert np.exp(0.5 * rows.log_variance.mean()) == pytest.approx(0.2, rel=0.05)
    assert fit.estimates.degrees_of_freedom >= 15


def test_steps_are_never_negative_in_any_group() -> None:
    X, codes, y, structure = grouped(3, rows=300, groups=40)
    y = y - 0.6 * X[:, 2] * (codes[:, 0] % 2)
    fit, _ = fit_regression(X, y, codes, structure)
    assert fit.estimates.posterior.totals[0][:, 1:].min() >= 0.0


def test_bounds_are_worth_more_than_leaving_rows_out() -> None:
    """Lots that did not reach a reserve: least squares on the rest is biased up, bounds mend it."""
    rng = np.random.default_rng(4)
    X = np.ones((4000, 1))
    y = rng.normal(9.0, 0.5, 4000)
    reserve = rng.normal(8.9, 0.4, 4000)
    unsold = y < reserve
    structure = Structure(
        Tree(()),
        Priors(np.full(1, np.inf), np.zeros((0, 1))),
        [np.array([0])],
        np.array([0]),
        np.array([], int),
    )
    none = np.zeros((4000, 0), dtype=np.int64)
    fit, _ = fit_regression(
        X,
        np.where(unsold, np.nan, y),
        none,
        structure,
        degrees_of_freedom=np.inf,
        turns=300,
        tolerance=1e-6,
        lower=np.full(4000, -np.inf),
        upper=np.where(unsold, reserve, np.inf),
    )
    assert y[~unsold].mean() > 9.15
    assert fit.estimates.posterior.market[0] == pytest.approx(9.0, abs=3 * 0.5 / np.sqrt(4000))


def test_rows_come_back_in_their_order_whatever_their_groups() -> None:
    X, codes, y, structure = grouped(5)
    shuffled = np.random.default_rng(5).permutation(len(y))
    fit, rows = fit_regression(X, y, codes, structure)
    again, found = fit_regression(X[shuffled], y[shuffled], codes[shuffled], structure)
    np.testing.assert_allclose(found.fitted, rows.fitted[shuffled], atol=1e-9)
    np.testing.assert_allclose(rows.fitted + rows.residual, y, atol=1e-12)
    np.testing.assert_allclose(again.predict(X, codes), fit.predict(X, codes), atol=1e-9)


def test_what_cannot_be_fitted_is_refused() -> None:
    X, codes, y, structure = grouped(6, rows=50, groups=5)
    for wrong in (np.nan, np.inf, -np.inf):
        spoilt = X.copy()
        spoilt[7, 1] = wrong
        with pytest.raises(ModelError, match="a value of the design is not finite"):
            fit_regression(spoilt, y, codes, structure)
    with pytest.raises(ModelError, match="no price is known"):
        fit_regression(X, np.full(50, np.nan), codes, structure)


def test_truncated_moments_equal_scipy() -> None:
    rng = np.random.default_rng(6)
    mean, deviation = rng.normal(0, 3, 200), rng.uniform(0.1, 2.0, 200)
    low = rng.normal(0, 3, 200)
    high = low + rng.uniform(0.05, 4.0, 200)
    high[:40], low[40:80] = np.inf, -np.inf
    found_mean, found_variance = truncated_moments(mean, deviation, low, high)
    a, b = (low - mean) / deviation, (high - mean) / deviation
    near = (np.minimum(np.abs(a), np.abs(b)) < 6) | (a * b < 0)
    law = stats.truncnorm(a[near], b[near], loc=mean[near], scale=deviation[near])
    np.testing.assert_allclose(found_mean[near], law.mean(), atol=1e-6)
    np.testing.assert_allclose(found_variance[near], law.var(), rtol=1e-3, atol=1e-6 * deviation[near].max())
    assert np.all((found_mean >= low) & (found_mean <= high))
