"""Pooling of sources against a general library: intercepts nested in sources are a mixed model."""

import numpy as np
import polars as pl
import pytest
import statsmodels.formula.api as smf

from pricing.model.source_errors import Scored, learn_sources


def errors(sources: int, groups: int, each: int, seed: int) -> tuple[Scored, pl.DataFrame]:
    rng = np.random.default_rng(seed)
    bias = rng.normal(0.05, 0.25, sources)
    own = rng.normal(0.0, 0.15, (sources, groups))
    error = bias[:, None, None] + own[:, :, None] + rng.normal(0.0, 0.1, (sources, groups, each))
    source, group = (np.broadcast_to(place, error.shape).ravel() for place in np.indices(error.shape)[:2])
    frame = pl.DataFrame({"error": error.ravel(), "source": source, "cell": source * groups + group})
    return Scored(error.ravel(), np.zeros(error.size), source, group), frame


@pytest.mark.parametrize("seed", [1, 2])
def test_variances_and_biases_are_those_of_mixedlm(seed: int) -> None:
    """``statsmodels`` MixedLM (REML) with a variance component for the cells of a source."""
    scored, frame = errors(sources=12, groups=8, each=4, seed=seed)
    fitted = smf.mixedlm(
        "error ~ 1", frame.to_pandas(), groups="source", re_formula="1", vc_formula={"own": "0 + C(cell)"}
    ).fit(reml=True)
    found = learn_sources(scored, 12, anchor=0.0, common=np.inf, scales=False)
    assert found.mu == pytest.approx(fitted.fe_params["Intercept"], abs=1e-4)
    assert found.between == pytest.approx(float(fitted.cov_re.iloc[0, 0]), rel=0.01)
    assert found.about == pytest.approx(float(fitted.vcomp[0]), rel=0.01)
    assert found.single == pytest.approx(float(fitted.scale), rel=0.01)
    theirs = [float(effects["source"]) + found.mu for effects in fitted.random_effects.values()]
    assert found.biases()[0] == pytest.approx(theirs, abs=2e-3)


def test_a_source_of_which_nothing_is_known_has_what_sources_at_large_have() -> None:
    scored, _ = errors(sources=12, groups=8, each=4, seed=3)
    found = learn_sources(scored, 13)
    bias, variance = found.biases()
    assert bias[12] == pytest.approx(found.mu) and found.scale[12] == 1.0
    assert variance[12] == pytest.approx(found.between + found.mu_variance)
    assert np.all(variance[:12] < variance[12] / 3)


def test_what_was_said_of_a_group_is_left_out_of_the_bias_there() -> None:
    """Leaving the group out is the same as never having seen it."""
    scored, _ = errors(sources=4, groups=6, each=2, seed=4)
    found = learn_sources(scored, 4, scales=False)
    rest = np.flatnonzero(~((scored.source == 2) & (scored.group == 5)))
    without = Scored(scored.error[rest], scored.known[rest], scored.source[rest], scored.group[rest])
    other = learn_sources(without, 4, scales=False)
    at = np.array([2]), np.array([5])
    fixed = found.bias(*at)
    total = 1.0 / found.between + found.precision[2] - found.cells[2, 5][0]
    assert fixed[1] == pytest.approx(1.0 / total)
    assert fixed[0] == pytest.approx(other.bias(*at)[0], abs=0.05)
    assert found.bias(np.array([2]), np.array([99]))[1] < fixed[1]


def test_wild_sources_get_a_wider_scale() -> None:
    scored, _ = errors(sources=6, groups=10, each=2, seed=5)
    wild = np.where(scored.source == 0, 4.0, 1.0) * (scored.error - scored.error.mean())
    found = learn_sources(Scored(wild, scored.known, scored.source, scored.group), 6)
    assert found.scale[0] == max(found.scale) and found.scale[0] > 1.5 * np.median(found.scale)
