import pytest

from pricing.condition.checks import NOT_SEEN
from pricing.condition.inspection import Finding, Inspection
from pricing.errors import CarError, InspectionError
from tests.condition.walks import CAR, walk


def test_what_is_not_recorded_is_not_seen() -> None:
    begun = Inspection.start("monocoque", CAR)
    assert begun.seen_share == 0
    assert set(begun.frame()["state"]) == {NOT_SEEN}


def test_recording_leaves_the_earlier_inspection_alone() -> None:
    begun = Inspection.start("monocoque", CAR)
    begun.record("engine_smoke", "worn")
    assert begun.state("engine_smoke") == NOT_SEEN


def test_a_later_finding_takes_the_place_of_an_earlier_one() -> None:
    found = walk().record("engine_smoke", "worn").record("engine_smoke", "needs repair")
    assert found.state("engine_smoke") == "needs repair"


def test_recording_not_seen_takes_a_finding_back() -> None:
    assert walk().seen_share == 1.0
    assert walk().record("body_paint", NOT_SEEN).seen_share < 1.0


def test_papers_do_not_count_towards_what_is_seen() -> None:
    begun = Inspection.start("monocoque", CAR)
    assert begun.record("papers_title", "sound").seen_share == 0


def test_an_unknown_check_is_refused_by_name() -> None:
    with pytest.raises(
        InspectionError, match="unknown check 'engine_moke': not on the sheet separate chassis"
    ):
        walk().record("engine_moke", "worn")


@pytest.mark.parametrize("photo", ["../a.jpg", "a/b.jpg", "c:\\a.jpg", ".hidden", "a\0b"])
def test_a_photo_is_the_plain_name_of_a_file(photo: str) -> None:
    with pytest.raises(InspectionError, match="must be the plain name of a file"):
        Finding("engine_smoke", "worn", photo=photo)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("colour", "red"),
        ("year", "MCMLXVI"),
        ("year", 66),
        ("year", True),
        ("odometer_km", -1),
        ("odometer_km", float("nan")),
        ("options", "horn"),
        ("history_file", "perhaps"),
        ("make", 3),
    ],
)
def test_a_car_value_that_does_not_fit_is_refused_by_name(key: str, value: object) -> None:
    with pytest.raises(CarError, match=key.removesuffix("_km").replace("_", " ").removesuffix("s")):
        Inspection.start("monocoque", {key: value})


def test_a_condition_is_found_and_not_said() -> None:
    with pytest.raises(InspectionError, match="an inspection finds the condition; got condition_band"):
        Inspection.start("monocoque", {"condition_band": "average"})
