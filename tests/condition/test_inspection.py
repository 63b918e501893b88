import polars as pl
import pytest

from pricing.condition.checks import NOT_SEEN
from pricing.condition.inspection import CAR_COLUMNS, Finding, Inspection
from pricing.errors import InspectionError
from pricing.records.contract import COLUMNS
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
        ("year", "1966"),
        ("year", 66),
        ("year", True),
        ("odometer_km", -1),
        ("odometer_km", float("nan")),
        ("options", "overdrive"),
        ("history_file", "yes"),
        ("make", 3),
    ],
)
def test_a_car_value_that_does_not_fit_is_refused_by_name(key: str, value: object) -> None:
    with pytest.raises(InspectionError, match=f"'{key}'"):
        Inspection.start("monocoque", {key: value})


def test_the_car_columns_are_those_of_the_sale_record_contract() -> None:
    assert set(CAR_COLUMNS) <= set(COLUMNS)
    frame = walk().car_frame()
    assert frame.schema == pl.Schema(CAR_COLUMNS)
    assert frame.height == 1
