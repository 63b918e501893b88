"""The tree's elimination against one dense system, and the variance updates against what they are fixed
points of."""

import numpy as np
import pytest

from pricing.model.pooling import (
    Floats,
    Ints,
    Priors,
    Tree,
    deviation_variances,
    isotonic,
    solve,
    updated_priors,
)
from pricing.model.rows import Rows

TREE = Tree((np.zeros(3, dtype=np.int64), np.array([0, 0, 1, 2, 2]), np.array([0, 0, 1, 2, 3, 3, 4])))
COLUMNS = 4


def sample(seed: int = 0, rows: int = 60) -> tuple[Floats, Ints, Floats, Floats, Priors]:
    rng = np.random.default_rng(seed)
    finest = rng.integers(0, 7, rows)
    middle = TREE.parents[2][finest]
    codes = np.column_stack([TREE.parents[1][middle], middle, finest])
    X = np.column_stack([np.ones(rows), rng.standard_normal((rows, COLUMNS - 1))])
    levels = np.array([[0.5, 0.2, 0.2, 0.3], [0.3, 0.1, 0.1, 0.0], [0.2, 0.1, 0.0, 0.0]])
    priors = Priors(np.array([np.inf, np.inf, 0.4, 0.4]), levels)
    return X, codes, rng.standard_normal(rows), rng.uniform(0.5, 2.0, rows), priors


def dense(X: Floats, codes: Ints, y: Floats, w: Floats, priors: Priors) -> tuple[Floats, Floats, Floats]:
    """Mean and covariance of all coefficients, market first, then level by level and group by group."""
    blocks, variances = [X], [priors.market]
    for level, size in enumerate(TREE.sizes):
        for group in range(size):
            blocks.append(X * (codes[:, level] == group)[:, None])
            variances.append(np.maximum(priors.levels[level], 1e-14))
    Z = np.concatenate(blocks, axis=1)
    precision = Z.T @ (w[:, None] * Z) + np.diag(1.0 / np.concatenate(variances))
    covariance = np.linalg.inv(precision)
    mean: Floats = covariance @ (Z.T @ (w * y))
    return mean, np.asarray(covariance), Z


def test_posterior_equals_the_dense_system() -> None:
    X, codes, y, w, priors = sample()
    rows = Rows(X, codes, TREE, priors.varying())
    order = rows.order
    posterior = solve(rows.cross_products(w[order], y[order]), TREE, priors, priors.varying())
    mean, covariance, Z = dense(X, codes, y, w, priors)
    np.testing.assert_allclose(posterior.market, mean[:COLUMNS], atol=1e-6)
    np.testing.assert_allclose(posterior.covariance, covariance[:COLUMNS, :COLUMNS], atol=1e-6)
    np.testing.assert_allclose(rows.restored(rows.fitted(posterior)), Z @ mean, atol=1e-6)
    expected = np.einsum("np,pq,nq->n", Z, covariance, Z)
    np.testing.assert_allclose(rows.restored(rows.variance(posterior, largest=100)), expected, atol=1e-6)
    np.testing.assert_allclose(posterior.variance(X, codes, priors), expected, atol=1e-6)
    np.testing.assert_allclose(np.einsum("np,np->n", X, posterior.coefficients(codes)), Z @ mean, atol=1e-6)


def test_deviation_variances_equal_the_dense_system() -> None:
    X, codes, y, w, priors = sample(1)
    rows = Rows(X, codes, TREE, priors.varying())
    posterior = solve(rows.cross_products(w[rows.order], y[rows.order]), TREE, priors, priors.varying())
    _, covariance, _ = dense(X, codes, y, w, priors)
    start = COLUMNS
    for level, size in enumerate(TREE.sizes):
        diagonal = np.diag(covariance)[start : start + size * COLUMNS].reshape(size, COLUMNS)
        S = posterior.levels[level].columns
        np.testing.assert_allclose(deviation_variances(posterior, TREE, level), diagonal[:, S], atol=1e-6)
        start += size * COLUMNS


def test_log_evidence_differs_as_the_dense_marginal_likelihood_does() -> None:
    X, codes, y, w, priors = sample(2)
    other = Priors(priors.market, priors.levels * 3.0)

    def marginal(prior: Priors) -> float:
        pooled = np.isfinite(prior.market)
        cov = np.diag(1.0 / w) + X[:, pooled] @ np.diag(prior.market[pooled]) @ X[:, pooled].T
        for level in range(len(TREE.sizes)):
            same = codes[:, level][:, None] == codes[:, level]
            cov += same * (X @ np.diag(prior.levels[level]) @ X.T)
        flat = X[:, ~pooled]
        inverse = np.linalg.inv(cov)
        information = flat.T @ inverse @ flat
        projected = inverse - inverse @ flat @ np.linalg.solve(information, flat.T @ inverse)
        return -0.5 * float(np.linalg.slogdet(cov)[1] + np.linalg.slogdet(information)[1] + y @ projected @ y)

    rows = Rows(X, codes, TREE, priors.varying())
    products = rows.cross_products(w[rows.order], y[rows.order])
    found = [solve(products, TREE, prior, priors.varying()).log_evidence for prior in (priors, other)]
    assert found[1] - found[0] == pytest.approx(marginal(other) - marginal(priors), abs=1e-5)


def test_variance_updates_climb_the_evidence_and_stop_at_its_top() -> None:
    X, codes, y, w, priors = sample(3, rows=400)
    y = y + np.random.default_rng(3).standard_normal(5)[codes[:, 1]]
    varying = priors.varying()
    rows = Rows(X, codes, TREE, varying)
    products = rows.cross_products(w[rows.order], y[rows.order])
    blocks = [np.array([0]), np.array([1]), np.array([2]), np.array([3])]
    for _ in range(300):
        posterior = solve(products, TREE, priors, varying)
        priors = updated_priors(posterior, TREE, priors, blocks)
    top = solve(products, TREE, priors, varying).log_evidence
    for factor in (0.8, 1.25):
        for level in range(3):
            moved = priors.levels.copy()
            moved[level, 0] *= factor
            assert solve(products, TREE, Priors(priors.market, moved), varying).log_evidence <= top + 1e-6


def test_isotonic_equals_scikit_learn() -> None:
    from sklearn.isotonic import IsotonicRegression

    rng = np.random.default_rng(5)
    values, weights = rng.standard_normal((50, 5)), rng.uniform(0.1, 1.0, 5)
    expected = [
        IsotonicRegression().fit_transform(np.arange(5), row, sample_weight=weights) for row in values
    ]
    np.testing.assert_allclose(isotonic(values, weights), expected, atol=1e-12)
