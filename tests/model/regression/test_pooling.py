"""What a posterior is asked for: isotonic steps against scikit-learn, variances of many shifts of a row."""

import numpy as np
import pytest

from pricing.model.regression.pooling import LevelPosterior, Posterior, Priors, isotonic


@pytest.mark.parametrize("levels", [0, 1, 3])
def test_a_shift_of_a_row_has_the_variance_of_the_row_with_the_shift_in_it(levels: int) -> None:
    """Of known and unknown groups alike, at any depth; also of no row at all."""
    rng = np.random.default_rng(levels)
    columns, groups, rows = 6, 4, 40

    def positive(count: int, size: int) -> np.ndarray:
        roots = rng.standard_normal((count, size, size))
        return roots @ roots.swapaxes(1, 2)

    posterior = Posterior(
        np.zeros(columns), positive(1, columns)[0],
        [
            LevelPosterior(
                np.array([0, 2, 3]), rng.standard_normal((groups, 3, columns)), positive(groups, 3)
            )
            for _ in range(levels)
        ],
        [], 0.0,
    )  # fmt: skip
    priors = Priors(np.ones(columns), rng.uniform(0.1, 1.0, (levels, columns)))
    functional, shifts = rng.standard_normal((rows, columns)), rng.standard_normal((5, columns))
    codes = np.sort(rng.integers(-1, groups, (rows, levels)), axis=1)[:, ::-1]
    found = posterior.shifted_variance(functional, shifts, codes, priors)
    expected = [posterior.variance(functional + shift, codes, priors) for shift in shifts]
    np.testing.assert_allclose(found, np.transpose(expected), rtol=1e-10)
    assert posterior.shifted_variance(functional[:0], shifts, codes[:0], priors).shape == (0, 5)


def test_isotonic_equals_scikit_learn() -> None:
    from sklearn.isotonic import IsotonicRegression

    rng = np.random.default_rng(5)
    values, weights = rng.standard_normal((50, 5)), rng.uniform(0.1, 1.0, 5)
    expected = [
        IsotonicRegression().fit_transform(np.arange(5), row, sample_weight=weights) for row in values
    ]
    np.testing.assert_allclose(isotonic(values, weights), expected, atol=1e-12)
