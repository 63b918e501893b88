"""What a posterior is asked for: isotonic steps against scikit-learn."""

import numpy as np

from pricing.model.regression.pooling import isotonic


def test_isotonic_equals_scikit_learn() -> None:
    from sklearn.isotonic import IsotonicRegression

    rng = np.random.default_rng(5)
    values, weights = rng.standard_normal((50, 5)), rng.uniform(0.1, 1.0, 5)
    expected = [
        IsotonicRegression().fit_transform(np.arange(5), row, sample_weight=weights) for row in values
    ]
    np.testing.assert_allclose(isotonic(values, weights), expected, atol=1e-12)
