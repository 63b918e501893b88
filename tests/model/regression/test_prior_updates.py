"""Variance updates against the dense system and against what they are fixed points of."""

import numpy as np

from pricing.model.regression.elimination import solve
from pricing.model.regression.pooling import Priors, Tree
from pricing.model.regression.prior_updates import _jumping, deviation_variances, updated_priors
from pricing.model.regression.rows import Rows
from tests.model.regression.test_elimination import COLUMNS, TREE, dense, sample


def test_deviation_variances_equal_the_dense_system() -> None:
    X, codes, y, w, priors = sample(1)
    rows = Rows(X, codes, TREE, priors.varying())
    posterior = solve(rows.cross_products(w[rows.order], y[rows.order]), TREE, priors, priors.varying())
    _, covariance, _ = dense(X, codes, y, w, priors)
    start = COLUMNS
    for level, size in enumerate(TREE.sizes):
        diagonal = np.diag(covariance)[start : start + size * COLUMNS].reshape(size, COLUMNS)
        S = posterior.levels[level].columns
        np.testing.assert_allclose(
            deviation_variances(posterior, TREE, priors, level), diagonal[:, S], atol=1e-6
        )
        start += size * COLUMNS


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


def test_steps_that_may_jump_keep_a_jump_that_steps_of_one_variance_lose() -> None:
    steps, jump = 24, 0.3
    rng = np.random.default_rng(5)
    month = np.repeat(np.arange(steps + 1), 30)
    X = np.column_stack([np.ones(len(month)), *(month > knot for knot in range(steps))]).astype(float)
    y = np.where(month >= steps - 1, jump, 0.0) + 0.3 * rng.standard_normal(len(month))
    block = np.arange(1, steps + 1)
    found = {}
    for jumping in ([], [block]):
        priors = Priors(np.append(np.inf, np.full(steps, 0.005)), np.zeros((0, steps + 1)))
        rows = Rows(X, np.zeros((len(y), 0), dtype=int), Tree(()), [])
        products = rows.cross_products(np.full(len(y), 1 / 0.09), y[rows.order])
        for _ in range(200):
            posterior = solve(products, Tree(()), priors, [])
            priors = updated_priors(posterior, Tree(()), priors, [block], jumping=jumping)
        found[bool(jumping)] = posterior.market[1:]
    at = steps - 2
    assert found[False][at] < 0.8 * jump < 0.9 * jump < found[True][at]
    assert np.abs(np.delete(found[True], at)).mean() < np.abs(np.delete(found[False], at)).mean()


def test_steps_that_are_alike_share_one_variance_though_they_may_jump() -> None:
    variances = _jumping(np.full(9, 0.01), np.full(9, 0.002), np.full(9, 0.02), 0.02, 0.0)
    np.testing.assert_allclose(variances, 0.01 / (1.0 - 0.002 / 0.02))
