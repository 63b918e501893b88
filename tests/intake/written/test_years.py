"""Each form of a model year and of an age. Common practice, no source."""

import pytest

from pricing.intake.written.dates import read_year

FORMS = [
    # cell, the year of the event, model year
    ("1967", None, 1967),
    ("'67", None, 1967),
    ("’67", 2019, 1967),
    ("67", None, 1967),
    ("c.1965", None, 1965),
    ("ca. 1965", None, 1965),
    ("circa 1965", None, 1965),
    ("um 1965", None, 1965),
    ("vers 1965", None, 1965),
    ("1965/6", None, 1965),
    ("1965-66", None, 1965),
    ("1965/1966", None, 1965),
    ("1967 (reg 1968)", None, 1967),
    ("1967 [first registered 03/1968]", None, 1967),
    ("1967?", None, 1967),
    ("03/1967", None, 1967),
    ("1967-05-01", None, 1967),
    ("EZ 05/1967", None, 1967),
    ("31", 2019, 1931),
    ("'31", None, None),
    ("'12", 2019, None),
    ("52 years old", 2019, 1967),
    ("52 Jahre", 2019, 1967),
    ("52 ans", 2019, 1967),
    ("age 52", 2019, 1967),
    ("52 years old", None, None),
    ("1960s", None, None),
    ("early 1960", None, None),
    ("1967 or 1969", None, None),
    ("MCMLX", None, None),
    ("", None, None),
    ("1750", None, None),
]


@pytest.mark.parametrize(("cell", "event_year", "year"), FORMS)
def test_each_form_has_its_reading(cell: str, event_year: int | None, year: int | None) -> None:
    assert read_year(cell, event_year) == year


def test_bare_figures_are_ages_where_the_column_holds_ages() -> None:
    assert read_year("52", 2019, ages=True) == 1967
    assert read_year("1967", 2019, ages=True) == 1967
