"""The tree's elimination against one dense system, on one thread and on several."""

import numpy as np
import pytest

from pricing.arrays import Floats, Ints
from pricing.model.regression import elimination
from pricing.model.regression.elimination import solve
from pricing.model.regression.pooling import Priors, Tree
from pricing.model.regression.rows import Rows

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
    np.testing.assert_allclose(
        rows.restored(rows.variance(posterior, priors, largest=100)), expected, atol=1e-6
    )
    np.testing.assert_allclose(posterior.variance(X, codes, priors), expected, atol=1e-6)
    np.testing.assert_allclose(np.einsum("np,np->n", X, posterior.coefficients(codes)), Z @ mean, atol=1e-6)


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


def test_threads_and_runs_of_groups_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    X, codes, y, w, priors = sample(4)
    rows = Rows(X, codes, TREE, priors.varying())
    products = rows.cross_products(w[rows.order], y[rows.order])
    monkeypatch.setattr(elimination, "TOGETHER", 1)
    found = []
    for many in (0, 10**9):
        monkeypatch.setattr(elimination, "MANY_GROUPS", many)
        found.append(solve(products, TREE, priors, priors.varying()))
    monkeypatch.setattr(elimination, "TOGETHER", 100)
    at_once = solve(products, TREE, priors, priors.varying())
    assert np.array_equal(found[0].market, found[1].market)
    assert all(
        np.array_equal(one, other) for one, other in zip(found[0].totals, found[1].totals, strict=True)
    )
    np.testing.assert_allclose(found[0].market, at_once.market, atol=1e-9)
    assert found[0].log_evidence == pytest.approx(at_once.log_evidence, abs=1e-9)
