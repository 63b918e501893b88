import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.condition.assessment import assess
from pricing.condition.checks import CONSTRUCTIONS, NOT_SEEN, STATES
from pricing.condition.inspection import Finding, Inspection
from pricing.condition.score import ScoreRule
from pricing.errors import InspectionError
from pricing.vocabulary import CONDITION_BANDS
from tests.condition.walks import CAR, walk, walks

FEW = 200


@settings(max_examples=60, deadline=None)
@given(walks(), st.data())
def test_worsening_a_finding_never_raises_any_draw_of_the_score(
    found: Inspection, data: st.DataObject
) -> None:
    check = data.draw(st.sampled_from(found.sheet.checks)).id
    better, worse = data.draw(
        st.lists(st.sampled_from(STATES), min_size=2, max_size=2, unique=True).map(
            lambda pair: sorted(pair, key=STATES.index)
        )
    )
    before, after = (assess(found.record(check, state), draws=FEW) for state in (better, worse))
    assert (after.draws <= before.draws + 1e-9).all()
    assert after.score <= before.score + 1e-9


@settings(max_examples=60, deadline=None)
@given(walks(), st.data())
def test_not_seen_lies_between_sound_and_the_worst(found: Inspection, data: st.DataObject) -> None:
    check = data.draw(st.sampled_from(found.sheet.checks)).id
    sound, unseen, worst = (
        assess(found.record(check, state), draws=FEW).draws for state in (STATES[0], NOT_SEEN, STATES[-1])
    )
    assert (worst <= unseen + 1e-9).all()
    assert (unseen <= sound + 1e-9).all()


@settings(max_examples=30, deadline=None)
@given(walks())
def test_the_structure_caps_the_whole(found: Inspection) -> None:
    result = assess(found, draws=FEW)
    assert result.score <= result.structure_cap + 1e-9
    assert 0 <= result.score <= 100
    assert sum(result.band_shares.values()) == pytest.approx(1)


@pytest.mark.parametrize("construction", CONSTRUCTIONS)
def test_a_car_sound_in_all_but_its_structure_is_no_better_than_it(construction: str) -> None:
    found = walk(construction)
    for check in found.sheet.checks:
        if check.role == "structure":
            found = found.record(check.id, "structural or missing")
    assert assess(found).band == "project"


def test_the_less_is_seen_the_wider_the_score() -> None:
    whole = walk(state="worn")
    order = [check.id for check in whole.sheet.scored]
    spreads = [
        assess(whole.fill(Finding(check, NOT_SEEN) for check in order[:: len(order) // count])).spread
        for count in (2, 8, len(order))
    ]
    assert assess(whole).spread < spreads[0] < spreads[1] < spreads[2]


def test_a_car_nobody_has_seen_may_be_in_any_band() -> None:
    result = assess(Inspection.start("monocoque", CAR))
    assert min(result.band_shares.values()) > 0.1
    low, _, high = result.quantiles()
    assert high - low > 50


def test_not_seen_is_never_taken_for_sound() -> None:
    begun = Inspection.start("monocoque", CAR)
    half = begun.fill(Finding(check.id, "sound") for check in begun.sheet.checks[::2])
    assert assess(half).score < assess(walk("monocoque")).score


def test_papers_never_touch_the_score_and_stand_beside_it() -> None:
    found = walk(papers_title="structural or missing")
    result = assess(found)
    assert result.score == assess(walk()).score
    assert result.papers["check"].to_list() == ["papers_title"]


def test_what_would_lift_it_lifts_it_and_nothing_less_does() -> None:
    found = walk(state="worn", chassis_side_rails="needs repair", chassis_sills="needs repair")
    result = assess(found)
    assert result.band == "solid restorable"
    mended = found
    for step, check in enumerate(result.lifting["check"], start=1):
        mended = mended.record(check, "sound")
        expected = "average" if step == result.lifting.height else "solid restorable"
        assert assess(mended).band == expected
    assert result.lifting["points"].sum() == pytest.approx(assess(mended).score - result.score)


def test_what_holds_it_is_led_by_what_would_give_back_most() -> None:
    result = assess(walk(chassis_side_rails="structural or missing", body_bonnet="structural or missing"))
    assert result.holding["check"].to_list() == ["chassis_side_rails", "body_bonnet"]
    alone = assess(walk(body_bonnet="structural or missing")).score - result.score
    assert result.holding["points"][0] == pytest.approx(alone)


def test_a_car_in_the_top_band_has_nothing_to_lift_it_to() -> None:
    assert assess(walk(body_bonnet="worn")).lifting.is_empty()


def test_what_to_look_at_next_is_what_would_move_the_score_most() -> None:
    found = walk(chassis_side_rails=NOT_SEEN, body_bonnet=NOT_SEEN)
    result = assess(found)
    assert result.look_next["check"].to_list() == ["chassis_side_rails", "body_bonnet"]
    assert result.holding.is_empty()


def test_the_same_seed_gives_the_same_result_and_another_one_hardly_another() -> None:
    begun = Inspection.start("monocoque", CAR)
    first, again, other = assess(begun), assess(begun), assess(begun, seed=9)
    assert np.array_equal(first.draws, again.draws)
    assert first.score != other.score
    # 4,000 draws of deviation about 30: each mean has deviation .47
    assert first.score == pytest.approx(other.score, abs=5 * 0.47 * 2**0.5)


def test_cautions_stand_on_the_result() -> None:
    words = " ".join(assess(walk()).cautions)
    assert "not a test of whether" in words
    assert "jack alone" in words


def test_too_few_draws_are_refused() -> None:
    with pytest.raises(InspectionError, match="at least 100 draws, got 5"):
        assess(walk(), draws=5)


def test_a_careful_rule_gives_no_spread_to_a_car_seen_whole() -> None:
    result = assess(walk(state="worn"), rule=ScoreRule(judgement_deviation=0.0))
    assert result.spread == pytest.approx(0, abs=1e-9)
    assert result.band_shares[CONDITION_BANDS[2]] == 1.0
