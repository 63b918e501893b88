"""Numbers and days as the reader's locale writes them; the locale data are those of the CLDR, by babel."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from threading import Thread

import pytest

from pricing.decisions.typed_amounts import typed_amount
from pricing.words.language.reader import day_words, number_marks, number_words, read_by
from pricing.words.sentences import exact_words, money_words

DAY = date(2026, 6, 3)


@pytest.fixture(autouse=True)
def default() -> Iterator[None]:
    yield
    read_by(None)


@pytest.mark.parametrize(
    ("locale", "money", "finer", "day"),
    [
        (None, "EUR 12,300", "1,234.5", "3 June 2026"),
        ("en-GB", "EUR 12,300", "1,234.5", "3 June 2026"),
        ("en-US", "EUR 12,300", "1,234.5", "June 3, 2026"),
        ("de-DE", "EUR 12.300", "1.234,5", "3 June 2026"),
        ("de-CH", "EUR 12\N{RIGHT SINGLE QUOTATION MARK}300", "1\N{RIGHT SINGLE QUOTATION MARK}234.5",
         "3 June 2026"),
        ("fr-FR", "EUR 12\N{NARROW NO-BREAK SPACE}300", "1\N{NARROW NO-BREAK SPACE}234,5", "3 June 2026"),
        ("ja-JP", "EUR 12,300", "1,234.5", "2026 June 3"),
        ("no such thing", "EUR 12,300", "1,234.5", "3 June 2026"),
    ],
)  # fmt: skip
def test_a_locale_has_its_marks_and_its_order(locale: str | None, money: str, finer: str, day: str) -> None:
    read_by(locale)
    assert money_words(Decimal("12345.67"), "EUR") == money
    assert number_words(1234.5, 1) == finer
    assert day_words(DAY) == day


@pytest.mark.parametrize("locale", ["en-GB", "en-US", "de-DE", "de-CH", "fr-FR", "es-ES", "sv-SE"])
def test_what_is_shown_is_read_back_when_it_is_typed(locale: str) -> None:
    read_by(locale)
    typed = typed_amount(exact_words(Decimal(1234650), "EUR"), "price")
    assert typed is not None and (typed.amount, typed.currency) == (1234650, "EUR")


def test_another_visitors_thread_has_a_locale_of_its_own() -> None:
    read_by("de-DE")
    heard: list[str] = []
    other = Thread(target=lambda: heard.append(number_words(4650)))
    other.start()
    other.join()
    assert (heard, number_words(4650), number_marks()) == (["4,650"], "4.650", (",", "."))
