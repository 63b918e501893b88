"""The ratio study against the printed tables of the standard it follows, and of the papers behind it."""

import numpy as np
import pytest
from scipy import stats

from pricing.arrays import Floats
from pricing.model.accuracy.ratio_study import EDITION, dispersion_interval, median_rank, ratio_study

TABLE_1_4 = """
    87200/138720 38240/59700 96320/146400 68610/99000 32960/47400 50560/70500 61360/78000 47360/60000
    56580/69000 47040/55500 136000/154500 98000/109500 56000/60000 159100/168000 128000/124500 132000/127500
    160000/150000"""
TABLE_D_1 = """
    116700/114500 130300/121000 130200/133900 145500/139000 134100/145000 153900/156500 143400/161100
    156900/169500 169000/175000 149200/181000 160100/188900 191400/205000 177200/216150 205500/219000
    206500/235000 243800/249000 211600/258900 242500/263000 258400/305900 265900/312500 305700/336000
    291600/360000 312800/399900 352200/418500 354900/459000"""
TABLE_D_2 = """
    45/50 100/100 165/150 180/200 250/250 330/300 315/350 400/400 495/450 450/500 550/550 660/600 585/650
    700/700 825/750 1875/2500"""


def pairs(table: str) -> tuple[Floats, Floats]:
    """Estimates and sale prices."""
    estimates, prices = np.array([[float(cell) for cell in pair.split("/")] for pair in table.split()]).T
    return estimates, prices


@pytest.mark.parametrize(
    ("table", "sales", "cod", "prd", "prb"),
    [
        # printed to fewer digits: 14.5 .98 .135; 7.5 1.027 -.120; 7.8 1.056 -.011
        (TABLE_1_4, 17, 14.524, 0.9766, 0.1355),
        (TABLE_D_1, 25, 7.507, 1.0269, -0.1198),
        (TABLE_D_2, 16, 7.8125, 1.0558, -0.0109),
    ],
    ids=["1.4", "D.1", "D.2"],
)
def test_printed_tables(table: str, sales: int, cod: float, prd: float, prb: float) -> None:
    # IAAO Standard on Ratio Studies 2013, tables 1-4, D-1 and D-2
    study = ratio_study(*pairs(table))
    assert study.sales == sales
    assert study.cod == pytest.approx(cod, abs=5e-4)
    assert study.prd == pytest.approx(prd, abs=5e-5)
    assert study.prb == pytest.approx(prb, abs=5e-5)
    assert study.edition == EDITION == "IAAO Standard on Ratio Studies, 2013"
    assert not study.suspicious


def test_printed_intervals() -> None:
    # IAAO Standard on Ratio Studies 2013, table 1-4
    study = ratio_study(*pairs(TABLE_1_4))
    assert study.median_ratio == pytest.approx(0.82, abs=5e-5)
    assert study.median_ratio_interval == pytest.approx((0.6954, 0.9333), abs=5e-5)
    assert study.weighted_mean == pytest.approx(0.8470, abs=5e-5)
    assert study.weighted_mean_interval == pytest.approx((0.7591, 0.9349), abs=5e-5)
    assert study.prb_interval == pytest.approx((0.0128, 0.2581), abs=5e-5)


def test_interval_of_the_dispersion() -> None:
    # Bonett and Seier 2006, worked example of 19 values
    values = [30, 20, 15, 10, 10, 60, 20, 25, 20, 30, 10, 5, 50, 40, 20, 10, 0, 20, 50]
    centre = np.mean(np.abs(np.array(values) - np.median(values))) / np.median(values)
    assert centre == pytest.approx(0.5921053, abs=5e-8)
    assert dispersion_interval(values) == pytest.approx((0.3813259, 1.092679), abs=5e-7)


@pytest.mark.parametrize(
    ("n", "ranks"),
    [
        (6, (1, 6)),
        (9, (2, 8)),
        (12, (3, 10)),
        (15, (4, 12)),
        (17, (5, 13)),
        (20, (6, 15)),
        (25, (8, 18)),
        (30, (10, 21)),
        (36, (12, 25)),
    ],
)
def test_ranks_of_the_median_interval(n: int, ranks: tuple[int, int]) -> None:
    # IAAO Standard on Ratio Studies 2013, 95 % ranks, recomputed from the binomial law
    rank = median_rank(n)
    assert rank is not None
    assert (rank, n + 1 - rank) == ranks


def test_five_sales_bound_no_median_at_95_per_cent() -> None:
    assert median_rank(5) is None


@pytest.mark.parametrize("n", range(6, 400, 7))
def test_the_rank_is_the_largest_that_keeps_the_confidence(n: int) -> None:
    rank = median_rank(n)
    assert rank is not None
    law = stats.binom(n, 0.5)
    assert 1.0 - 2.0 * law.cdf(rank - 1) >= 0.95 > 1.0 - 2.0 * law.cdf(rank)


def test_the_bias_is_an_ordinary_regression() -> None:
    # statsmodels and scipy compute the same slope and interval
    import statsmodels.api as sm

    A, S = pairs(TABLE_D_1)
    median = np.median(A / S)
    design = sm.add_constant(np.log2(0.5 * S + 0.5 * A / median))
    fitted = sm.OLS((A / S - median) / median, design).fit()
    study = ratio_study(A, S)
    assert study.prb == pytest.approx(fitted.params[1], rel=1e-9)
    assert study.prb_interval == pytest.approx(tuple(fitted.conf_int()[1]), rel=1e-9)
    assert study.cov == pytest.approx(100 * stats.variation(A / S, ddof=1), rel=1e-12)


def test_the_interval_of_the_differential_is_that_of_a_bootstrap() -> None:
    # scipy.stats.bootstrap, BCa (Efron 1987), sales drawn in pairs with a seed
    rng = np.random.default_rng(11)
    prices = np.exp(9.0 + 0.7 * rng.standard_normal(400))
    estimates = prices**0.9 * np.exp(0.25 * rng.standard_normal(400))
    study = ratio_study(estimates, prices)

    def differential(A: Floats, S: Floats, axis: int = -1) -> Floats:
        return np.asarray((A / S).mean(axis) / (A.sum(axis) / S.sum(axis)))

    drawn = stats.bootstrap((estimates, prices), differential, paired=True, n_resamples=4000, rng=rng)
    ends = (drawn.confidence_interval.low, drawn.confidence_interval.high)
    assert study.prd_interval == pytest.approx(ends, rel=0.015)
    assert study.prd_interval is not None
    assert study.prd_interval[0] < study.prd < study.prd_interval[1]


def test_the_interval_of_the_differential_holds_what_it_says() -> None:
    """Of 400 drawn markets whose differential is known some 95 in 100 have it inside."""
    rng = np.random.default_rng(5)
    prices = np.exp(9.0 + 0.5 * rng.standard_normal((400, 60)))
    estimates = prices * np.exp(0.2 * rng.standard_normal((400, 60)))
    found = [ratio_study(*pair).prd_interval for pair in zip(estimates, prices, strict=True)]
    held = np.mean([ends is not None and ends[0] <= 1.0 <= ends[1] for ends in found])
    assert 0.92 <= held <= 0.98
