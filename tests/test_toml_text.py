"""Lines of TOML are read back as what was written, by another library than wrote them."""

import tomllib
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.toml_text import toml_line

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
SIMPLE = TEXTS | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.dates(date(1000, 1, 1)) | st.decimals(
    allow_nan=False, allow_infinity=False, places=3
)  # fmt: skip


@given(TEXTS, SIMPLE | st.lists(SIMPLE, max_size=4))
def test_what_was_written_is_read(name: str, value: Any) -> None:
    line = toml_line(name, value)
    assert tomllib.loads(line, parse_float=Decimal) == {name: value}
    assert line.endswith("\n")


def test_a_long_text_is_written_as_it_reads() -> None:
    assert toml_line("scope", "first line\nsecond line") == 'scope = """first line\nsecond line"""\n'
    assert tomllib.loads(toml_line("scope", "a\r\nb")) == {"scope": "a\r\nb"}


def test_what_toml_has_not_is_refused() -> None:
    with pytest.raises(ValueError, match="object"):
        toml_line("name", object())
