import ast
import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import pricing
from pricing.errors import AppraisalError
from pricing.words.language.locale import LOCALES, LocaleWords, ems, shown
from pricing.words.language.messages import LANGUAGES


@pytest.mark.parametrize(
    ("locale", "money", "day"),
    [
        ("en_GB", "\u20ac1,234,567.50", "30 June 2026"),
        ("en-US", "\u20ac1,234,567.50", "June 30, 2026"),
        ("de_CH", "EUR\u00a01\u2019234\u2019567.50", "30. Juni 2026"),
        ("fr_FR", "1\u202f234\u202f567,50\u00a0\u20ac", "30 juin 2026"),
    ],
)
def test_amounts_and_days_as_the_unicode_locale_data_has_them(locale: str, money: str, day: str) -> None:
    """CLDR, the Unicode Common Locale Data Repository, through babel."""
    words = LocaleWords.of(locale)
    assert words.exact(Decimal("1234567.50"), "EUR").replace(" ", "\u00a0") == money
    assert words.day(date(2026, 6, 30)) == day


def test_places_are_those_of_the_currency() -> None:
    words = LocaleWords.of("en_GB")
    assert words.exact(Decimal(1200), "JPY") == "JP\u00a51,200"
    assert words.exact(Decimal(1200), "KWD") == "KWD1,200.000"
    assert words.money(Decimal("4600.00"), "GBP") == "\u00a34,600"
    assert words.money(Decimal("4600.50"), "GBP") == "\u00a34,600.50"


@pytest.mark.parametrize(
    "name", ["xx_YY", "", "english", "en_GB_GB_GB", "../en", "ja_JP", "ar_EG", "nl_NL", "de_JP"]
)
def test_other_locales_are_refused_with_those_that_there_are(name: str) -> None:
    with pytest.raises(AppraisalError, match="no documents in.*choose one of de_AT, de_CH, .*, it_IT"):
        LocaleWords.of(name)


def test_every_locale_that_is_offered_has_documents() -> None:
    assert {LocaleWords.of(name).language for name in LOCALES} == set(LANGUAGES)
    assert LocaleWords.of("fr-LU").tag == "fr-LU" and LocaleWords.of("de").language == "de"


@given(st.decimals(-(10**9), 10**9, places=2))
def test_a_plain_amount_can_be_read_back(amount: Decimal) -> None:
    said = LocaleWords.of("en_GB").plain(amount, sign=True)
    assert Decimal(said.replace(",", "").replace("\u2212", "-")) == amount


@given(st.text())
def test_what_is_shown_hides_nothing(text: str) -> None:
    said = shown(text)
    assert not set(said) & set("\x00\x1b\u202e\u2066\u200f")
    assert shown(said) == said
    if text.isascii() and text.isprintable():
        assert said == text


def test_width_grows_with_every_letter() -> None:
    assert ems("") == 0.0
    assert ems("ab") == ems("a") + ems("b")
    assert ems("W") > ems("I") > ems("i")


@pytest.mark.parametrize(
    ("locale", "change"),
    [("en_GB", "+3.2%"), ("de_DE", "+3,2\u00a0%"), ("fr_FR", "+3,2\u00a0%"), ("it_CH", "+3.2%")],
)
def test_a_per_cent_is_written_as_the_locale_writes_a_share(locale: str, change: str) -> None:
    words = LocaleWords.of(locale)
    assert words.per_cent(3.2) == change
    assert words.per_cent(80.0, 0, sign=False) == words.share(0.8)
    assert words.per_cent(-12.0, 0) == "\u2212" + words.share(0.12)
    assert words.per_cent(0.0, 0) == words.share(0.0)


def test_english_text_sets_no_space_before_the_sign_of_per_cent() -> None:
    """As the Unicode locale data has it for English, and as Python's own format of a share writes it."""
    spaced = re.compile(r"(?:^|[0-9])[ \u00a0]%(?=$|[ .,;:)])")
    for path in sorted(Path(pricing.__file__).parent.parent.glob("[pd]*/**/*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        silent = {id(part.value) for part in ast.walk(tree) if isinstance(part, ast.Expr)}
        for part in ast.walk(tree):
            if isinstance(part, ast.Constant) and isinstance(part.value, str) and id(part) not in silent:
                assert not spaced.search(part.value), f"{path.name}:{part.lineno}: {part.value!r}"
