"""Small-sample cluster-robust errors against the definition, a hand-computed case and statsmodels.

CR2 and its degrees of freedom: Bell and McCaffrey, Survey Methodology 28 (2002) 169-181; with group levels
swept out: Pustejovsky and Tipton, Journal of Business and Economic Statistics 36 (2018) 672-683 (both from
memory).
"""

import numpy as np
import pytest
import statsmodels.api as sm

from pricing.arrays import Floats, Ints
from pricing.evidence.indices import cluster_robust as room
from pricing.evidence.indices.cluster_robust import Swept, cluster_robust
from pricing.evidence.indices.index import price_index
from tests.evidence.markets import PLAIN, one_model


def by_definition(X: Floats, e: Floats, clusters: Ints, columns: int) -> tuple[Floats, Floats]:
    """The formulas as they are printed, with the whole hat matrix."""
    M = np.linalg.pinv(X.T @ X)
    left = np.eye(len(e)) - X @ M @ X.T
    variance, parts = np.zeros(columns), []
    for code in np.unique(clusters):
        own = clusters == code
        values, vectors = np.linalg.eigh(left[np.ix_(own, own)])
        root = np.where(values > 1e-9, 1 / np.sqrt(np.maximum(values, 1e-9)), 0.0)
        weighed = (vectors * root) @ vectors.T @ X[own] @ M[:, :columns]
        variance += np.square(e[own] @ weighed)
        parts.append(left[:, own] @ weighed)
    stacked = np.array(parts)
    values = np.stack([np.linalg.eigvalsh(g @ g.T) for g in stacked.transpose(2, 0, 1)])
    return np.sqrt(variance), values.sum(axis=1) ** 2 / np.square(values).sum(axis=1)


def swept(seed: int, nested: bool, size: int = 120) -> tuple[Swept, Ints, Floats, Floats]:
    """A weighted regression of six groups, its clusters, and the whole design and residuals."""
    rng = np.random.default_rng(seed)
    group = np.sort(rng.integers(0, 6, size))
    clusters = group // 2 if nested else group * 100 + rng.integers(0, 12, size)
    x, y, w = rng.normal(size=(size, 3)), rng.normal(size=size), rng.uniform(0.5, 2.0, size)
    roots = np.sqrt(w)
    whole = np.column_stack([x, np.eye(6)[group]]) * roots[:, None]
    e: Floats = y * roots - whole @ np.linalg.lstsq(whole, y * roots, rcond=None)[0]
    means = np.stack([np.bincount(group, w * column) / np.bincount(group, w) for column in x.T], axis=1)
    columns: Floats = (x - means[group]) * roots[:, None]
    share = roots / np.sqrt(np.bincount(group, w))[group]
    fit = Swept(
        lambda rows: columns[rows],
        np.asarray(np.linalg.inv(columns.T @ columns), dtype=np.float64),
        e,
        group,
        share,
    )
    return fit, np.unique(clusters, return_inverse=True)[1], whole, e


@pytest.mark.parametrize("nested", [True, False], ids=["clusters of groups", "clusters within groups"])
@pytest.mark.parametrize("dense", [room.DENSE, 0], ids=["by rows", "by columns"])
def test_errors_and_freedom_are_those_of_the_definition(
    nested: bool, dense: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "DENSE", dense if nested else room.DENSE)
    fit, clusters, whole, e = swept(1, nested)
    errors, freedom = cluster_robust(fit, clusters, np.eye(3))
    expected = by_definition(whole, e, clusters, 3)
    assert errors == pytest.approx(expected[0], rel=1e-9)
    assert freedom == pytest.approx(expected[1], rel=1e-9)


def test_the_difference_of_two_means_is_welchs() -> None:
    """By hand: for two groups of 3 and 5 single sales the HC2 variance is s1^2 / 3 + s2^2 / 5, and the
    degrees of freedom under equal spread are (1/3 + 1/5)^2 / ((1/3)^2 / 2 + (1/5)^2 / 4)."""
    y = np.array([1.0, 2.0, 4.0, 3.0, 5.0, 6.0, 9.0, 7.0])
    X = np.column_stack([(np.arange(8) >= 3) * 1.0, np.ones(8)])
    e = y - np.where(X[:, 0] > 0, y[3:].mean(), y[:3].mean())
    fit = Swept(lambda rows: X[rows], np.linalg.inv(X.T @ X), e, np.zeros(8, dtype=np.int64), np.zeros(8))
    errors, freedom = cluster_robust(fit, np.arange(8), np.array([[1.0], [0.0]]))
    assert errors[0] ** 2 == pytest.approx(y[:3].var(ddof=1) / 3 + y[3:].var(ddof=1) / 5)
    assert freedom[0] == pytest.approx((1 / 3 + 1 / 5) ** 2 / ((1 / 3) ** 2 / 2 + (1 / 5) ** 2 / 4))


def test_clusters_of_one_are_hc2_and_cr2_lies_above_cr0() -> None:
    """statsmodels has HC2 and the plain cluster variance (CR0); CR2 inflates the latter."""
    fit, clusters, whole, e = swept(2, False)
    peer = sm.OLS(whole @ np.zeros(9) + e, whole)
    alone = cluster_robust(fit, np.arange(len(e)), np.eye(3))[0]
    assert alone == pytest.approx(peer.fit(cov_type="HC2").bse[:3], rel=1e-9)
    plain = peer.fit(cov_type="cluster", cov_kwds={"groups": clusters, "use_correction": False}).bse[:3]
    assert (cluster_robust(fit, clusters, np.eye(3))[0] > plain).all()


@pytest.mark.parametrize(("sales", "years", "minimum"), [(60, 4, 5), (100, 8, 5), (40, 3, 3)])
def test_the_index_of_one_model_holds_the_truth_as_often_as_it_says(
    sales: int, years: int, minimum: int
) -> None:
    """By the normal law with HC1 the same 95 % intervals held .81, .88 and .78. Points of one market go
    together, so the band is that of 80 markets of one point each: .95 less three standard deviations."""
    hits, points = 0, 0
    for seed in range(80):
        index = price_index(one_model(sales, seed, years=years), spec=PLAIN, period="year", minimum=minimum)
        told = index.frame.drop_nulls("low")
        truth = 3.0 * (told["starts"].dt.year() - told["starts"].dt.year()[0]) / 100.0
        inside = (told["low"].log() <= truth + np.log(100.0)) & (truth + np.log(100.0) <= told["high"].log())
        hits, points = hits + int(inside[1:].sum()), points + len(told) - 1
    assert points >= 160
    assert hits / points > 0.95 - 3 * np.sqrt(0.95 * 0.05 / 80)
    assert hits / points > 0.89
