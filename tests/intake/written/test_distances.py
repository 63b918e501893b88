"""Each form of an odometer reading. The forms are common practice, no source; the mile is the international
one."""

from decimal import Decimal
from typing import Literal

import pytest
from babel.numbers import format_decimal
from babel.units import format_unit
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.intake.written.distances import read_distance

FORMS = [
    # cell, the column's unit, kilometres, the cell's own unit
    ("54,000 miles", "km", "86904.6", "miles"),
    ("54,000 miles", "miles", "86904.6", "miles"),
    ("87,000 km", "miles", "87000", "km"),
    ("54k", "km", "54000", None),
    ("54k", "miles", "86904.6", None),
    ("54k", "thousand miles", "86904.6", None),
    ("54", "thousand miles", "86904.6", None),
    ("54k miles", "km", "86904.6", "miles"),
    ("92 000 km", "miles", "92000", "km"),
    ("92.000 km", "km", "92000", "km"),
    ("92'000", "km", "92000", None),
    ("9 200 mil", "km", "92000", "km"),
    ("54,000m", "km", "86904.6", "miles"),
    ("c. 54,000 miles", "km", "86904.6", "miles"),
    ("54,000 miles showing", "km", "86904.6", "miles"),
    ("54,000 miles (86,900 km)", "km", "86904.6", "miles"),
    ("87 tkm", "miles", "87000", "km"),
    ("87 Tsd. km", "miles", "87000", "km"),
    ("54 321,5 km", "km", "54321.5", "km"),
    ("81000", "km", "81000", None),
]


@pytest.mark.parametrize(("cell", "unit", "km", "own"), FORMS)
def test_each_form_has_its_reading(cell: str, unit: str, km: str, own: str | None) -> None:
    assert read_distance(cell, unit) == (Decimal(km), own)


@pytest.mark.parametrize(
    "cell",
    [
        "TMU",
        "n/a",
        "",
        "low",
        "54,000 miles (92,000 km)",
        "54,000 (not warranted)",
        "5 owners",
        "54-60k",
        "100 hp",
    ],
)
def test_what_is_no_reading_is_not_read(cell: str) -> None:
    assert read_distance(cell) is None


@settings(max_examples=60, deadline=None)
@given(
    st.integers(100, 999_999),
    st.sampled_from(["en_GB", "de_DE", "fr_FR", "it_IT", "es_ES", "nl_NL", "sv_SE", "de_CH"]),
    st.sampled_from(["short", "long"]),
)
def test_readings_are_read_as_the_common_locale_data_write_them(
    reading: int, locale: str, length: Literal["short", "long"]
) -> None:
    """Unicode CLDR unit and number patterns, as babel carries them."""
    found = read_distance(format_unit(reading, "length-kilometer", length, locale=locale), "miles")
    assert found == (Decimal(reading), "km")
    assert read_distance(format_decimal(reading, locale=locale)) == (Decimal(reading), None)
