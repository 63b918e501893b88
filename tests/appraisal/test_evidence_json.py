from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pricing.appraisal.evidence_json import deserialise, digest, serialise
from pricing.errors import AppraisalError


@dataclass(frozen=True)
class Old:
    name: str
    amount: Decimal
    gone: int


@dataclass(frozen=True)
class Now:
    name: str
    amount: Decimal
    gained: tuple[str, ...] = ()
    also: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Needs:
    name: str
    amount: Decimal
    more: str


FRAME = pl.DataFrame(
    {
        "text": ["a", None, "\u202e\x00"],
        "whole": pl.Series([1, None, -3], dtype=pl.Int16),
        "number": [0.1 + 0.2, None, 1e-300],
        "sure": [True, None, False],
        "day": [date(2026, 6, 30), None, date(1899, 1, 1)],
        "money": pl.Series(["1.10", None, "-0.05"], dtype=pl.String).cast(pl.Decimal(18, 2)),
        "paid": pl.Series(["1.125", None, "7.000"], dtype=pl.String).cast(pl.Decimal(18, 3)),
        "options": [["a", "b"], [], None],
        "nothing": pl.Series([None, None, None], dtype=pl.Null),
    }
)


def test_a_frame_comes_back_with_every_digit_and_type() -> None:
    found = deserialise(serialise(FRAME), {})
    expected = FRAME.with_columns(pl.col("whole").cast(pl.Int64), pl.col("nothing").cast(pl.String))
    assert_frame_equal(found, expected)
    assert serialise(found) == serialise(FRAME)


def test_an_empty_frame_comes_back() -> None:
    assert_frame_equal(deserialise(serialise(FRAME.clear()), {}), deserialise(serialise(FRAME), {}).clear())


@given(
    st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False, allow_infinity=False),
                  st.text(), st.dates(), st.decimals(allow_nan=False, allow_infinity=False)),
        lambda inner: st.lists(inner, max_size=4).map(tuple),
    )
)  # fmt: skip
def test_plain_values_come_back(value: Any) -> None:
    assert deserialise(serialise(value), {}) == value


def test_equal_values_freeze_to_equal_text_whatever_their_order() -> None:
    assert serialise({"a": 1, "b": 2}) == serialise({"b": 2, "a": 1})
    assert digest(serialise({"a": 1})) != digest(serialise({"a": 2}))
    assert digest("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"  # FIPS 180-4


def test_classes_may_lose_and_gain_fields_meanwhile() -> None:
    text = serialise(Old("a", Decimal("1.50"), 3))
    assert deserialise(text, {"Old": Now}) == Now("a", Decimal("1.50"))
    with pytest.raises(AppraisalError, match=r"lacks Needs\.more"):
        deserialise(text, {"Old": Needs})


@pytest.mark.parametrize("value", [object(), {"a": {1, 2}}, pl.DataFrame({"a": [pl.Series([1])]}), b"bytes"])
def test_what_cannot_be_frozen_is_refused(value: Any) -> None:
    with pytest.raises(AppraisalError, match="evidence cannot hold"):
        serialise(value)


@pytest.mark.parametrize(
    "text",
    ["", "{", '{"kind":"Unknown","fields":{}}', '{"frame":[["a","days",[1]]]}', '{"frame":[["a"]]}',
     '{"day":"2026-02-30"}', '{"amount":"much"}', '{"frame":7}'],
)  # fmt: skip
def test_what_was_not_frozen_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(AppraisalError) as refused:
        deserialise(text, {"Old": Old})
    assert "cannot be read" in str(refused.value)
