"""Results in order, whatever finishes first."""

import time

import pytest

from pricing.model.regression.threads import shared_out


@pytest.mark.parametrize("worth", [True, False])
def test_results_come_in_the_order_of_the_parts(worth: bool) -> None:
    def slow_first(part: int) -> int:
        time.sleep(0.02 if part == 0 else 0.0)
        return part * part

    assert list(shared_out(slow_first, range(5), worth)) == [0, 1, 4, 9, 16]


def test_no_parts_give_nothing_and_an_error_comes_through() -> None:
    assert list(shared_out(abs, [])) == []
    with pytest.raises(ZeroDivisionError):
        list(shared_out(lambda part: 1 // part, [1, 0, 2]))
