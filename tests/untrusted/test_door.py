"""The reading process: the clock that is stated is the clock that a person waits by."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pricing.errors import FileError
from pricing.untrusted.child import AHEAD, WALL
from pricing.untrusted.door import read_untrusted
from pricing.untrusted.limits import Limits


def slow(name: str, limits: Limits, *, every: float) -> Iterator[tuple[dict[str, Any], None]]:
    """An answer now and then, for ever, that takes no processor."""
    while True:
        time.sleep(every)
        yield {}, None


def many(name: str, limits: Limits, *, count: int) -> Iterator[tuple[dict[str, Any], None]]:
    for number in range(count):
        yield {"number": number}, None


def test_answers_that_come_one_by_one_wind_no_clock_up_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_READ_SECONDS", "2")
    (tmp_path / "a").write_text("x")
    counted = 0
    with pytest.raises(FileError, match="a cannot be read: it would take more than 3 seconds on the clock"):
        for _ in read_untrusted(slow, tmp_path / "a", every=0.1):
            counted += 1
    assert 0 < counted <= 10 * 2 * WALL + AHEAD


def test_a_caller_that_takes_its_time_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRICING_READ_SECONDS", "2")
    (tmp_path / "a").write_text("x")
    found: list[int] = []
    for answer in read_untrusted(many, tmp_path / "a", count=8):
        if len(found) == 3:
            time.sleep(2 * WALL + 0.5)
        found.append(answer.facts["number"])
    assert found == list(range(8))
