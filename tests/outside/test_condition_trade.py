"""The facts of the trade that the condition room must show. Every one is common practice, no source."""

import numpy as np
import pytest

from pricing.condition.assessment import assess
from pricing.condition.checks import CONSTRUCTIONS, STATES, Sheet
from pricing.condition.repairs import pert_mean
from pricing.decisions.car_price import PriceByScore
from pricing.vocabulary import CONDITION_BANDS
from tests.condition.walks import PricedByScore, car_frame, catalogue, walk

OUTER_PANELS = ("body_front_wings", "body_rear_wings", "body_doors", "body_bonnet", "body_boot_lid",
                "body_front_panel", "body_rear_panel", "body_roof")  # fmt: skip
CARRIES = {
    "separate chassis": ("chassis_side_rails", "chassis_rear_legs", "chassis_front_legs",
                         "chassis_outriggers", "chassis_front_suspension_mountings",
                         "chassis_rear_suspension_mountings"),
    "monocoque": ("shell_outer_sills", "shell_inner_sills", "shell_front_rails", "shell_rear_rails",
                  "shell_front_mountings", "shell_rear_mountings", "shell_pillars"),
}  # fmt: skip


def lost(construction: str, check: str, state: str, elsewhere: str = "sound") -> float:
    """Points of score that one finding costs, all else as ``elsewhere``."""
    found = walk(construction, elsewhere)
    before, after = (assess(found.record(check, name), draws=100).score for name in ("sound", state))
    return before - after


def text(construction: str, check: str) -> str:
    found = Sheet.open(construction).check(check)
    return f"{found.where} {found.act} {found.bad_sign}".lower()


@pytest.mark.parametrize("construction", CONSTRUCTIONS)
@pytest.mark.parametrize("state", STATES[1:])
@pytest.mark.parametrize("elsewhere", ["sound", "worn"])
def test_rot_in_what_carries_the_car_costs_more_than_in_any_outer_panel(
    construction: str, state: str, elsewhere: str
) -> None:
    panels = max(lost(construction, check, state, elsewhere) for check in OUTER_PANELS)
    assert min(lost(construction, check, state, elsewhere) for check in CARRIES[construction]) > panels


def test_a_sill_matters_over_a_chassis_and_more_where_it_is_the_frame() -> None:
    for state in STATES[2:]:
        over_chassis = lost("separate chassis", "chassis_sills", state)
        assert over_chassis > max(lost("separate chassis", panel, state) for panel in OUTER_PANELS)
        assert lost("monocoque", "shell_outer_sills", state) > over_chassis
    assert "tie the structure together" in text("separate chassis", "chassis_sills")


def test_one_decisive_finding_keeps_a_sound_car_out_of_the_upper_bands() -> None:
    for construction, checks in CARRIES.items():
        for check in checks:
            assert assess(walk(construction).record(check, "structural or missing")).score < 60


def test_one_local_rust_repair_leaves_a_sound_car_and_many_make_it_a_project() -> None:
    for construction, checks in CARRIES.items():
        one = walk(construction).record(checks[0], "needs repair")
        many = one
        for check in checks[1:6]:
            many = many.record(check, "needs repair")
        assert assess(one).band in CONDITION_BANDS[2:]
        assert assess(many).band == "project"


def test_curved_and_fabricated_sections_cost_far_more_than_flat_or_ready_made_ones() -> None:
    demo = catalogue()

    def cost(job: str) -> float:
        found = demo.job(job)
        rate = float(demo.labour_rate("GB", found.kind))
        return float(pert_mean(*map(float, found.parts)) + rate * pert_mean(*map(float, found.hours)))

    assert cost("weld_fabricated_section") > 2 * cost("weld_ready_made_section")
    assert cost("weld_ready_made_section") > cost("weld_flat_plate")
    assert "far dearer than a flat plate" in text("separate chassis", "chassis_rear_legs")
    assert "far dearer than a flat plate" in text("monocoque", "shell_rear_rails")


def test_interior_parts_are_affordable_each_and_together_a_large_item() -> None:
    demo = catalogue()
    names = (
        "seats_retrim",
        "carpets_set",
        "headlining_replace",
        "door_cards",
        "dashboard_restore",
        "seat_belts",
    )
    parts = np.array([float(demo.job(name).parts[1]) for name in names])
    assert parts.max() < 1000
    assert parts.sum() > 1500
    assert "together are a large item" in text("monocoque", "interior_seats")


def test_a_second_hand_engine_is_cheaper_than_a_rebuilt_bottom_end_with_its_head() -> None:
    demo = catalogue()
    second_hand = demo.job("engine_second_hand")
    rebuilt = [demo.job(name) for name in ("engine_bottom_end", "cylinder_head_overhaul")]
    assert second_hand.hours[1] < sum(job.hours[1] for job in rebuilt)
    assert second_hand.parts[1] < sum(job.parts[1] for job in rebuilt)


@pytest.mark.parametrize(
    ("construction", "check", "words"),
    [
        (
            "separate chassis",
            "chassis_bulkhead_door_gap",
            ("closes up along its height", "rotten bulkhead", "sagging"),
        ),
        (
            "monocoque",
            "shell_bulkhead_door_gap",
            ("closes up along its height", "rotten bulkhead", "sagging"),
        ),
        (
            "monocoque",
            "engine_crankshaft_end_float",
            ("front pulley", "clutch pressed", "second-hand engine"),
        ),
        (
            "monocoque",
            "structure_past_repairs",
            ("one local repair", "sound car worth having", "not worth starting"),
        ),
        ("monocoque", "shell_outer_sills", ("the sill is the frame", "rot here decides")),
        ("separate chassis", "chassis_side_rails", ("rails carry the car", "rot here decides")),
        ("separate chassis", "chassis_outriggers", ("hold the body up",)),
        (
            "separate chassis",
            "upgrades_workmanship",
            ("brakes, electrics, a later engine", "done badly they cost"),
        ),
        ("separate chassis", "upgrades_cut_metal", ("originality is worth most at the top",)),
        ("separate chassis", "papers_chassis_number", ("1981", "two makers may share one")),
    ],
)
def test_the_sheet_says_what_the_trade_knows(construction: str, check: str, words: tuple[str, ...]) -> None:
    said = text(construction, check)
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("band", "low", "high"),
    [
        ("project", 0, 1000),
        ("solid restorable", 1000, 2000),
        ("average", 3000, 5000),
        ("top condition", 8000, 10000),
    ],
)
def test_prices_by_state_of_a_modest_small_saloon_come_back(band: str, low: float, high: float) -> None:
    # a market drawn to these figures, asked through an inspection's own mixture
    prices = PriceByScore.ask(PricedByScore(deviation=0.05), car_frame(walk()))
    middle = PricedByScore.middles[band]
    assert low <= prices.mixture(np.full(10, middle)).mid.item() <= high
    above_average = prices.mixture(np.full(10, 75.0)).mid.item()
    assert 5000 <= above_average <= 6000
