from dataclasses import replace

import pytest

from pricing.condition.assessment import assess
from pricing.condition.inspection import PRESERVATION, Change, originality_note
from pricing.errors import InspectionError
from tests.condition.walks import walk


def with_change(done: str) -> float:
    change = Change("later engine", option="later_engine", done=done)
    return assess(replace(walk(state="worn"), changes=(change,))).score


def test_workmanship_touches_the_score_and_the_change_itself_does_not() -> None:
    without = assess(walk(state="worn")).score
    assert with_change("well") == without
    assert with_change("badly") < with_change("not seen") < without


@pytest.mark.parametrize("preservation", [None, *PRESERVATION])
def test_preservation_never_touches_the_score(preservation: str | None) -> None:
    car = walk(state="worn")
    assert assess(replace(car, preservation=preservation)).score == assess(car).score


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"item": " "}, "a change without an item"),
        ({"item": "x", "option": "jet"}, "change 'x': unknown option code 'jet'"),
        ({"item": "x", "done": "so-so"}, "done is 'so-so', expected one of well, badly, not seen"),
        ({"item": "x", "period": "yes"}, "period is 'yes', expected true or false"),
        ({"item": "x", "done_by": 3}, "done_by is 3"),
    ],
)
def test_a_change_that_makes_no_sense_is_refused(values: dict[str, object], message: str) -> None:
    with pytest.raises(InspectionError, match=message):
        Change(**values)  # type: ignore[arg-type]


def test_an_unknown_preservation_is_refused() -> None:
    with pytest.raises(InspectionError, match="unknown preservation 'as new'"):
        replace(walk(), preservation="as new")


def test_originality_counts() -> None:
    changes = (
        Change("a", period=True, reversible=True, done="well"),
        Change("b", reversible=True, done="badly"),
    )
    assert "1 of the period, 2 that can be undone, 1 done badly" in originality_note(changes)
