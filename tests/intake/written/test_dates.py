"""Each form of a date. The forms are common practice, no source; the patterns of each language are held
against the
Unicode CLDR, as babel carries it."""

import re
from datetime import date, datetime, time

import pytest
from babel.core import Locale
from babel.dates import format_date, format_datetime
from babel.localedata import locale_identifiers
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.intake.written.dates import LANGUAGES, read_date

DMY, MDY, YMD = "day-month-year", "month-day-year", "year-month-day"
FORMS = [
    # cell, stated order, reading, precision
    ("2019-03-12", None, "2019-03-12", "day"),
    ("2019/3/12", None, "2019-03-12", "day"),
    ("2019-03-12 14:30:00", None, "2019-03-12", "day"),
    ("2019-03-12T14:30:00Z", None, "2019-03-12", "day"),
    ("2019-03-12T14:30:00.123+01:00", None, "2019-03-12", "day"),
    ("12/03/2019", DMY, "2019-03-12", "day"),
    ("12/03/2019 10:15", DMY, "2019-03-12", "day"),
    ("12.3.19", DMY, "2019-03-12", "day"),
    ("3/12/2019 2:30 PM", MDY, "2019-03-12", "day"),
    ("19-03-12", YMD, "2019-03-12", "day"),
    ("Mar 2019", None, "2019-03-15", "month"),
    ("March '19", None, "2019-03-15", "month"),
    ("Mar-19", None, "2019-03-15", "month"),
    ("März 2019", None, "2019-03-15", "month"),
    ("03/2019", None, "2019-03-15", "month"),
    ("2019-03", None, "2019-03-15", "month"),
    ("2019", None, "2019-07-01", "year"),
    ("c. 2019", None, "2019-07-01", "year"),
    ("12th March 2019", None, "2019-03-12", "day"),
    ("12 Sept 2019", None, "2019-09-12", "day"),
    ("12. März 2019", None, "2019-03-12", "day"),
    ("12 mars 2019", None, "2019-03-12", "day"),
    ("le 1er mars 2019", None, "2019-03-01", "day"),
    ("12 de marzo de 2019", None, "2019-03-12", "day"),
    ("12 maart 2019", None, "2019-03-12", "day"),
    ("den 12 mars 2019", None, "2019-03-12", "day"),
    ("March 12, 2019", None, "2019-03-12", "day"),
    ("Tue 12 Mar 2019", None, "2019-03-12", "day"),
    ("Dienstag, 12. März 2019 um 14:30 Uhr", None, "2019-03-12", "day"),
    ("26-Nov-25", None, "2025-11-26", "day"),
    ("26-Nov-98", None, "1998-11-26", "day"),
    ("2019 Mar 12", None, "2019-03-12", "day"),
    ("12Mar2019", None, "2019-03-12", "day"),
]

NO_DATES = [
    ("03/04/2019", None), ("04/13/2019", DMY), ("31/02/2019", DMY), ("soon", None), ("", None), ("12 March",
    None),
    ("Mar 19", None), ("13/2019", None), ("12.3", DMY), ("12 March April 2019", None), ("43556", None),
    ("12 March 2019 and later", None), ("1 2 3 4", DMY), ("0000-00-00", None), ("19", None),
]  # fmt: skip


@pytest.mark.parametrize(("cell", "order", "day", "precision"), FORMS)
def test_each_form_has_its_reading(cell: str, order: str | None, day: str, precision: str) -> None:
    assert read_date(cell, order) == (date.fromisoformat(day), precision)


@pytest.mark.parametrize(("cell", "order"), NO_DATES)
def test_what_is_no_date_is_not_read(cell: str, order: str | None) -> None:
    assert read_date(cell, order) is None


DAYS = st.dates(date(1950, 1, 1), date(2044, 12, 31))


@settings(max_examples=150, deadline=None)
@given(DAYS, st.sampled_from(LANGUAGES), st.sampled_from(["medium", "long", "full"]))
def test_dates_are_read_as_the_common_locale_data_write_them(day: date, language: str, length: str) -> None:
    """Unicode CLDR date patterns, as babel carries them; those in figures alone need the order to be
    stated."""
    locale = {"en": "en_GB"}.get(language, language)
    assert read_date(format_date(day, length, locale=locale), DMY) == (day, "day")
    at = datetime.combine(day, time(14, 30))
    assert read_date(format_datetime(at, "medium", locale=locale), DMY) == (day, "day")


@settings(max_examples=50, deadline=None)
@given(DAYS, st.sampled_from(LANGUAGES))
def test_a_month_by_the_common_locale_data_is_a_span(day: date, language: str) -> None:
    assert read_date(format_date(day, "MMMM y", locale=language)) == (day.replace(day=15), "month")


def test_points_part_a_day_from_its_month_in_every_locale_of_the_cldr() -> None:
    """What dates such as ``06.11.2021`` rest on, as of the release of the CLDR that babel carries."""
    patterns = {name: Locale.parse(name).date_formats["short"].pattern for name in locale_identifiers()}
    pointed = {name: pattern for name, pattern in patterns.items() if re.match(r"[dMy]+\.", pattern)}
    assert {"de", "de_CH", "nb", "fi", "pl"} <= set(pointed)
    assert [name for name, pattern in pointed.items() if pattern.startswith("M")] == []
