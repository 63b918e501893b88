"""Each form of money with its reading. The forms are common practice, no source; how numbers are written in
each language is held against the Unicode CLDR, as babel carries it."""

from dataclasses import asdict
from decimal import Decimal
from typing import Any

import pytest
from babel.numbers import format_currency, format_decimal
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.intake.written.money import meant, read_money

FORMS: list[tuple[str, str | None, dict[str, Any]]] = [
    # cell, the row's stated currency, reading (currency as it is then meant)
    ("£4,500", None, {"amount": 4500, "currency": "GBP"}),
    ("£4,500 ono", "GBP", {"amount": 4500, "currency": "GBP", "outcome": "asking"}),
    ("£4,500 o.n.o.", None, {"amount": 4500, "currency": "GBP", "outcome": "asking"}),
    ("€4,500", "GBP", {"amount": 4500, "currency": "EUR"}),
    ("4500 USD", "GBP", {"amount": 4500, "currency": "USD"}),
    ("4500 usd", None, {"amount": 4500, "currency": "USD"}),
    ("4500", "GBP", {"amount": 4500, "currency": "GBP"}),
    ("SEK 45 000", "GBP", {"amount": 45000, "currency": "SEK"}),
    ("45\u202f000 kr", "SEK", {"amount": 45000, "currency": "SEK"}),
    ("45 000 kr", "DKK", {"amount": 45000, "currency": "DKK"}),
    ("45 000 kr", "GBP", {"amount": 45000}),
    ("45 000:-", "SEK", {"amount": 45000, "currency": "SEK"}),
    ("45 tkr", "SEK", {}),
    ("$900", None, {"amount": 900}),
    ("$900", "GBP", {"amount": 900}),
    ("$12,000", "CAD", {"amount": 12000, "currency": "CAD"}),
    ("US$ 1,000,000", "GBP", {"amount": 1000000, "currency": "USD"}),
    ("A$9,500", None, {"amount": 9500, "currency": "AUD"}),
    ("sold for 3 750", "EUR", {"amount": 3750, "currency": "EUR", "outcome": "sold"}),
    ("verkauft für 3.750 €", None, {"amount": 3750, "currency": "EUR", "outcome": "sold"}),
    ("c. £4,500", None, {"amount": 4500, "currency": "GBP"}),
    ("ca. 4500 EUR", None, {"amount": 4500, "currency": "EUR"}),
    ("4,500/-", "GBP", {"amount": 4500, "currency": "GBP"}),
    ("12'500.-", "CHF", {"amount": 12500, "currency": "CHF"}),
    ("4.500,- €", None, {"amount": 4500, "currency": "EUR"}),
    ("VB 4.500 €", None, {"amount": 4500, "currency": "EUR", "outcome": "asking"}),
    ("4.500 € VHB", None, {"amount": 4500, "currency": "EUR", "outcome": "asking"}),
    ("1.234,50", "EUR", {"amount": Decimal("1234.50"), "currency": "EUR"}),
    ("1,234.50", "EUR", {"amount": Decimal("1234.50"), "currency": "EUR"}),
    ("€12k", None, {"amount": 12000, "currency": "EUR"}),
    ("€4.2k", None, {"amount": 4200, "currency": "EUR"}),
    ("1.2m GBP", None, {"amount": 1200000, "currency": "GBP"}),
    ("CHF 4'966.95", None, {"amount": Decimal("4966.95"), "currency": "CHF"}),
    ("SFr. 4'966.95", None, {"amount": Decimal("4966.95"), "currency": "CHF"}),
    ("4500 pounds", None, {"amount": 4500, "currency": "GBP"}),
    ("4.500 euro", None, {"amount": 4500, "currency": "EUR"}),
    ("12 000 DM", "EUR", {"amount": 12000, "currency": "DEM"}),
    ("POA", "GBP", {"currency": "GBP", "outcome": "asking"}),
    ("Preis auf Anfrage", None, {"outcome": "asking"}),
    ("not sold", "GBP", {"currency": "GBP", "outcome": "unsold"}),
    ("nicht verkauft", None, {"outcome": "unsold"}),
    ("bid to £3,000", None, {"highest_bid": 3000, "currency": "GBP", "outcome": "unsold"}),
    ("Not sold (bid to £3,000)", None, {"highest_bid": 3000, "currency": "GBP", "outcome": "unsold"}),
    ("unsold at 3,000", "GBP", {"highest_bid": 3000, "currency": "GBP", "outcome": "unsold"}),
    ("Höchstgebot 3.000 €", None, {"highest_bid": 3000, "currency": "EUR", "outcome": "unsold"}),
    ("4-5k", "GBP", {"low": 4000, "high": 5000, "currency": "GBP"}),
    ("£4,000 - £5,000", None, {"low": 4000, "high": 5000, "currency": "GBP"}),
    ("4.000–5.000 €", None, {"low": 4000, "high": 5000, "currency": "EUR"}),
    ("between 4000 and 5000", "EUR", {"low": 4000, "high": 5000, "currency": "EUR"}),
    ("4.000 bis 5.000 EUR", None, {"low": 4000, "high": 5000, "currency": "EUR"}),
    ("est. £4,000-5,000", None, {"low": 4000, "high": 5000, "currency": "GBP"}),
    ("-£50", None, {"amount": -50, "currency": "GBP"}),
    ("4,25", "EUR", {"amount": Decimal("4.25"), "currency": "EUR"}),
    ("45.000", "EUR", {"amount": 45000, "currency": "EUR"}),
    ("£9k plus spares", None, {"amount": 9000, "currency": "GBP"}),
    ("£5,000, with box of spares", None, {"amount": 5000, "currency": "GBP"}),
    ("7.500 € mit Ersatzteilen", None, {"amount": 7500, "currency": "EUR"}),
    ("£3,000 to a friend", None, {"amount": 3000, "currency": "GBP"}),
    ("offers around £7,000", None, {"amount": 7000, "currency": "GBP", "outcome": "asking"}),
    ("£3,750 or offers", None, {"amount": 3750, "currency": "GBP", "outcome": "asking"}),
    ("zurückgezogen", None, {"outcome": "withdrawn"}),
    ("N/S", "GBP", {"currency": "GBP", "outcome": "unsold"}),
]

NOT_UNDERSTOOD = [
    "", "a few", "1,2,3", "£4,500 (€5,200)", "£4,500 and a trailer", "12.34.56", "4 5", "5-4k", "4.500k",
    "tel. 0123",
    "swap", "GBP SEK 45", "12e3", "٤٥٠٠", "4,500 plus VAT", "one careful owner", "£", "k", "10-9000",
    "17/04/2019", "£4.1k + old car", "£9k plus 3 parts", "£400 parts", "12 parts", "£7,000 for the pair",
    "no",
]  # fmt: skip


@pytest.mark.parametrize(("cell", "stated", "reading"), FORMS)
def test_each_form_has_its_reading(cell: str, stated: str | None, reading: dict[str, Any]) -> None:
    found = read_money(cell)
    if not reading:
        assert found is None
        return
    assert found is not None
    said = asdict(found) | {"currency": meant(found.currency, stated)[0]}
    assert {
        name: value
        for name, value in said.items()
        if value is not None and name not in ("firm", "more", "plain")
    } == reading


@pytest.mark.parametrize("cell", NOT_UNDERSTOOD)
def test_what_is_not_understood_to_the_last_word_is_not_read(cell: str) -> None:
    assert read_money(cell) is None


LOCALES = {
    "en_GB": "GBP", "de_DE": "EUR", "fr_FR": "EUR", "it_IT": "EUR", "es_ES": "EUR", "nl_NL": "EUR",
    "sv_SE": "SEK",
    "de_CH": "CHF", "en_US": "USD", "da_DK": "DKK", "ja_JP": "JPY",
}  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.decimals(100, 9_999_999, places=2), st.sampled_from(sorted(LOCALES)))
def test_amounts_are_read_as_the_common_locale_data_write_them(amount: Decimal, locale: str) -> None:
    """Unicode CLDR number patterns, as babel carries them: what is formatted by them is read back."""
    currency = LOCALES[locale]
    shown = amount.quantize(Decimal(1)) if currency == "JPY" else amount
    for text in (format_currency(shown, currency, locale=locale), format_decimal(shown, locale=locale)):
        found = read_money(text)
        assert found is not None, text
        assert found.amount == shown, text
        assert meant(found.currency, currency) == (currency, False), text
