"""Cooke's classical model (Experts in Uncertainty, Oxford 1991) and normal updating, against numbers by hand.

The formula is from memory; the numbers are recomputed from it by a general library. The worked seed table of
the book was not at hand.
"""

import numpy as np
import pytest
from scipy import stats

from pricing.opinions.expert_judgement import background, calibration, information, relative_entropy

EXPECTED = np.array([0.05, 0.45, 0.45, 0.05])


def test_calibration_of_ten_seed_questions() -> None:
    """10 questions, (1, 4, 4, 1) in the bins of the 5, 50, 95 % quantiles: statistic .88806, score .82831."""
    counts = np.array([1.0, 4.0, 4.0, 1.0])
    statistic = 2.0 * 10.0 * relative_entropy(counts / 10.0, EXPECTED)
    assert statistic == pytest.approx(0.88806, abs=5e-6)
    assert calibration([(counts, EXPECTED)]) == pytest.approx(0.82831, abs=5e-6)


def test_the_statistic_is_the_likelihood_ratio_of_a_general_library() -> None:
    """2 N sum s ln(s / p) is the G statistic (Wilks 1938), as ``scipy.stats.power_divergence`` has it."""
    counts = np.array([3.0, 9.0, 12.0, 6.0])
    found = stats.power_divergence(counts, counts.sum() * EXPECTED, lambda_="log-likelihood")
    assert calibration([(counts, EXPECTED)]) == pytest.approx(found.pvalue)


def test_questions_of_several_kinds_add_up() -> None:
    first = (np.array([1.0, 4.0, 4.0, 1.0]), EXPECTED)
    second = (np.array([3.0, 5.0, 2.0]), np.array([0.25, 0.5, 0.25]))
    parts = [
        stats.power_divergence(n, n.sum() * p, lambda_="log-likelihood").statistic for n, p in (first, second)
    ]
    assert calibration([first, second]) == pytest.approx(stats.chi2.sf(sum(parts), 3 + 2))


def test_as_many_as_meant_is_perfect_and_overconfidence_is_not() -> None:
    meant = np.array([0.1, 0.8, 0.1])
    assert calibration([(100.0 * meant, meant)]) == pytest.approx(1.0)
    assert calibration([(np.array([30.0, 40.0, 30.0]), meant)]) < 1e-6


def test_information_is_the_entropy_against_an_even_law() -> None:
    """Halving every bin but the outermost: by hand, sum p ln(p (U - L) / width)."""
    quantiles, levels = np.array([2.0, 3.0, 4.0]), np.array([0.05, 0.5, 0.95])
    by_hand = 2 * 0.45 * np.log(0.45 * 10 / 1) + 0.05 * np.log(0.05 * 10 / 2) + 0.05 * np.log(0.05 * 10 / 6)
    assert information(quantiles, levels, 0.0, 10.0) == pytest.approx(by_hand)
    narrower = np.array([2.9, 3.0, 3.1])
    assert information(narrower, levels, 0.0, 10.0) > information(quantiles, levels, 0.0, 10.0)
    assert background(np.array([5.0, 10.0])) == (4.5, 10.5)
