import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from pricing.condition.checks import AREAS
from pricing.condition.inspection import Inspection
from pricing.condition.score import UNSEEN, Items, ScoreRule, band_of
from pricing.errors import InspectionError
from pricing.vocabulary import BAND_EDGES
from tests.condition.walks import CAR, walk

RULE = ScoreRule()


def test_the_score_by_hand() -> None:
    # half the weight worn: D = .145; one structural item of weight 4 needing repair: L = .24
    assert RULE.score(np.array(0.145), np.array(0.24)) == pytest.approx(
        min(100 * 0.855**2, 100 * np.exp(-0.24))
    )


@given(st.floats(1.0, 100.0))
def test_what_a_score_allows_gives_that_score(score: float) -> None:
    wear, load = RULE.allowed(score)
    assert RULE.score(np.array(wear), np.array(0.0)) == pytest.approx(score)
    assert RULE.score(np.array(0.0), np.array(load)) == pytest.approx(score)


def test_bands_are_ranges_of_the_score() -> None:
    assert band_of(BAND_EDGES).tolist() == [0, 1, 2, 3, 3]
    assert band_of(np.nextafter(BAND_EDGES[1:-1], 0)).tolist() == [0, 1, 2]


def test_an_area_weight_acts_on_its_area() -> None:
    heavy = ScoreRule(area_weights={"engine": 3.0})
    items, plain = Items.of(walk(), heavy), Items.of(walk(), RULE)
    engine = plain.areas == AREAS.index("engine")
    assert np.allclose(items.weights[engine], 3 * plain.weights[engine])
    assert np.allclose(items.weights[~engine], plain.weights[~engine])


def test_drawn_states_follow_the_latent_normal() -> None:
    items = Items.of(Inspection.start("monocoque", CAR), RULE)
    states = items.draw(RULE, 20_000, seed=5)
    mean = items.latent(RULE)[0]
    expected = np.diff(norm.cdf([-np.inf, -mean, 1 - mean, 2 - mean, np.inf]))
    shares = np.array([(states == state).mean() for state in range(4)])
    # draws of one car share a factor: the share of one draw has deviation below .3, so of 20,000 below .0022
    assert np.abs(shares - expected).max() < 5 * 0.0022
    deficiency, load = items.expected(RULE)
    assert deficiency[0] == pytest.approx(expected @ RULE.deficiency)
    assert load[0] == pytest.approx(expected @ RULE.structural_load)
    assert deficiency[0] == pytest.approx(RULE.prior_deficiency, abs=1e-3)


def test_what_was_not_seen_is_bad_together() -> None:
    states = Items.of(Inspection.start("monocoque", CAR), RULE).draw(RULE, 4000, seed=0)
    means = states.mean(axis=1)
    assert means.std() > 4 * states.std() / np.sqrt(states.shape[1])


def test_what_was_seen_stays_in_every_draw() -> None:
    items = Items.of(walk(state="worn", engine_smoke="not seen"), RULE)
    states = items.draw(RULE, 500, seed=0)
    seen = items.states != UNSEEN
    assert (states[:, seen] == items.states[seen]).all()
    assert (~seen).sum() == 1
    assert len(np.unique(states[:, ~seen])) == 4


def test_bad_findings_make_the_unseen_likelier_bad_most_in_their_own_area() -> None:
    found = walk(state="worn", engine_smoke="not seen", body_paint="not seen")
    worse = found.record("engine_noise", "structural or missing")
    before, after = Items.of(found, RULE), Items.of(worse, RULE)
    change = after.latent(RULE) - before.latent(RULE)
    engine, paint = before.ids.index("engine_smoke"), before.ids.index("body_paint")
    assert change[engine] > change[paint] > 0


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"structural_load": (0.0, 0.2, 0.1, 0.3)}, "structural_load must rise from 0"),
        ({"structural_load": (0.1, 0.2, 0.3, 0.4)}, "structural_load must rise from 0"),
        ({"deficiency": (0.0, 0.2, 0.3, 1.2)}, "deficiency must not exceed 1"),
        ({"exponent": 0.0}, "exponent must be above 0"),
        ({"prior_deficiency": 1.0}, "prior_deficiency must lie between 0 and 1"),
        ({"judgement_deviation": -1.0}, "judgement_deviation must not be negative"),
        ({"area_weights": {"motor": 1.0}}, "area weight 1.0 of 'motor'"),
        ({"area_weights": {"engine": 0.0}}, "area weight 0.0 of 'engine'"),
    ],
)
def test_a_rule_that_would_not_be_monotone_is_refused(values: dict[str, object], message: str) -> None:
    with pytest.raises(InspectionError, match=message):
        ScoreRule(**values)  # type: ignore[arg-type]
