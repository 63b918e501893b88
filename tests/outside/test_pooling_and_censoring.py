"""Partial pooling and censoring against published data sets and general-purpose libraries.

Hachemeister (1975): bodily-injury claims of five states over twelve quarters, the classic example of
credibility; the data and the unweighted premiums are recomputed here from them, and equal statsmodels'
mixed model. The Tobit example is that of the SAS/ETS documentation of QLIM; lifelines reproduces it.
"""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from pricing.model.regression.fitting import Estimates
from pricing.model.regression.hedonic import fit_regression
from pricing.model.regression.pooling import Priors, Structure, Tree
from tests.outside.regressions import LeastSquares, unpooled

RATIOS = np.array(
    [
        [1738, 1642, 1794, 2051, 2079, 2234, 2032, 2035, 2115, 2262, 2267, 2517],
        [1364, 1408, 1597, 1444, 1342, 1675, 1470, 1448, 1464, 1831, 1612, 1471],
        [1759, 1685, 1479, 1763, 1674, 2103, 1502, 1622, 1828, 2155, 2233, 2059],
        [1223, 1146, 1010, 1257, 1426, 1532, 1953, 1123, 1343, 1243, 1762, 1306],
        [1456, 1499, 1609, 1741, 1482, 1572, 1606, 1735, 1607, 1573, 1613, 1690],
    ],
    dtype=float,
)
NONE = np.empty(0, dtype=np.int64)


def pooled(y: np.ndarray, groups: np.ndarray) -> Estimates:
    structure = Structure(
        Tree((np.zeros(groups.max() + 1, dtype=np.int64),)),
        Priors(np.array([np.inf]), np.array([[1.0]])),
        [np.array([0])],
        np.array([0]),
        NONE,
    )
    model, _ = fit_regression(
        np.ones((len(y), 1)), y, groups[:, None], structure,
        degrees_of_freedom=np.inf, spread=False, tolerance=1e-9, turns=2000,
    )  # fmt: skip
    return model.estimates


def test_hachemeister() -> None:
    """Collective mean 1671.017, credibility .94961, premiums to a tenth."""
    y, state = RATIOS.ravel() / 1000.0, np.repeat(np.arange(5), 12)
    found = pooled(y, state)
    premiums = 1000.0 * found.posterior.totals[0][:, 0]
    assert 1000.0 * found.posterior.market[0] == pytest.approx(1671.017, abs=0.1)
    np.testing.assert_allclose(premiums, [2044.0, 1518.6, 1814.2, 1376.0, 1602.2], atol=0.15)
    residual = np.exp(found.spread_posterior.market[0])
    between = found.priors.levels[0, 0]
    assert between / (between + residual / 12) == pytest.approx(0.94961, abs=2e-4)


def test_equals_the_mixed_model_of_statsmodels() -> None:
    """Unbalanced groups, restricted maximum likelihood: variance components and every group's mean."""
    rng = np.random.default_rng(3)
    group = np.sort(rng.integers(0, 25, 400))
    y = 9.0 + rng.normal(0.0, 0.4, 25)[group] + rng.normal(0.0, 0.3, 400)
    found = pooled(y, group)
    frame = pd.DataFrame({"y": y, "group": group})
    peer = smf.mixedlm("y ~ 1", frame, groups="group").fit(reml=True)
    assert found.posterior.market[0] == pytest.approx(peer.params["Intercept"], abs=1e-5)
    assert found.priors.levels[0, 0] == pytest.approx(float(peer.cov_re.iloc[0, 0]), rel=1e-3)
    assert np.exp(found.spread_posterior.market[0]) == pytest.approx(peer.scale, rel=1e-3)
    effects = np.array([peer.random_effects[g].iloc[0] for g in range(25)])
    np.testing.assert_allclose(found.posterior.levels[0].mean[:, 0], effects, atol=1e-4)


TOBIT = [
    (0, 8, 9), (0, 8, 12), (0, 9, 10), (0, 10, 15), (0, 11, 4), (0, 11, 6), (1000, 12, 1), (1960, 12, 29),
    (0, 13, 3), (2100, 13, 36), (3686, 14, 11), (1920, 14, 38), (0, 15, 14), (1728, 16, 3), (1568, 16, 19),
    (1316, 17, 7), (0, 17, 15),
]  # fmt: skip


def test_tobit() -> None:
    """Hours of work, none seen below nought: -5598.638, 373.1477, 63.33711, sigma 1582.870 (maximum
    likelihood)."""
    hours, education, experience = np.array(TOBIT, dtype=float).T
    at_nought = hours == 0
    X = np.column_stack([np.ones(len(hours)), education, experience])
    scaled = hours / 1000.0
    model, _ = fit_regression(
        X,
        np.where(at_nought, np.nan, scaled),
        np.zeros((len(hours), 0), dtype=np.int64),
        unpooled(3),
        lower=np.full(len(hours), -np.inf),
        upper=np.where(at_nought, 0.0, np.inf),
        degrees_of_freedom=np.inf,
        spread=False,
        restricted=False,
        tolerance=1e-10,
        turns=20_000,
    )
    found = 1000.0 * model.estimates.posterior.market
    np.testing.assert_allclose(found, [-5598.638, 373.1477, 63.33711], rtol=2e-4)
    sigma = 1000.0 * np.exp(0.5 * model.estimates.spread_posterior.market[0])
    assert sigma == pytest.approx(1582.870, rel=2e-4)
    peer = LeastSquares.of(X[:, 1:], scaled)
    np.testing.assert_allclose(
        1000.0 * np.array([peer.constant, *peer.slopes]), [-1438.9, 143.9, 37.3], atol=0.06
    )
