"""Sentences say the facts with basis, currency and date, and never promise what the facts do not hold."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pricing.decisions.valuation import Valuation, value_car
from pricing.words import sentences
from pricing.words.language.reader import day_words, rounded
from tests.cars import car_of
from tests.known_market import KnownMarket, KnownModel


def valued(asking: int | None = None, **said: Any) -> Valuation:
    car = {"make": "Corvane", "model": "Six", "year": 1965, "condition_band": "average", **said}
    price = None if asking is None else Decimal(asking)
    return value_car(KnownMarket(), KnownModel(), car_of(KnownMarket(), car), asking=price)


def test_range_says_coverage_basis_currency_and_date() -> None:
    assert sentences.range_sentence(valued()) == (
        "Of 100 cars like this one, 80 should sell between EUR 5,810 and EUR 11,000, and half below "
        "EUR 8,000. These are all-in prices in EUR at 30 June 2026."
    )


def test_a_refusal_says_why() -> None:
    words = sentences.range_sentence(valued(year=1901))
    assert words == "No range can be given: nothing like it is on record."
    assert "cannot be placed" in sentences.standing_sentence(valued(9000, year=1901))


@pytest.mark.parametrize(
    ("asking", "words"),
    [
        (9000, "is about what like cars fetch: about 68 in 100"),
        (4000, "is well below what like cars fetch"),
        (20000, "is well above what like cars fetch"),
        (100000, "more than 99 in 100"),
        (1000, "fewer than 1 in 100"),
    ],
)
def test_standing_says_where_the_asking_price_falls(asking: int, words: str) -> None:
    assert words in sentences.standing_sentence(valued(asking))


def test_evidence_counts_sales_unsold_lots_and_advertisements() -> None:
    assert sentences.evidence_sentence(valued()) == (
        "20 Corvane Six sold between 3 February 2021 and 3 December 2025, 2 offered without a buyer and "
        "1 advertised without a sale known. Evidence depth: 20 sales."
    )


@given(st.decimals(1, 10**9, places=2))
@example(Decimal("1054.51"))  # rounded to whole units first, it came out as 1,060
def test_rounding_keeps_three_figures_and_errs_by_half_a_per_cent_at_most(amount: Decimal) -> None:
    shown = rounded(amount)
    assert abs(shown - amount) <= max(Decimal("0.5"), amount * Decimal("0.005"))
    assert len(str(shown).rstrip("0")) <= 3


def test_no_sentence_vouches_for_the_car() -> None:
    said = " ".join(
        [
            sentences.CAUTION,
            *(say(valued(9000)) for say in (sentences.range_sentence, sentences.standing_sentence)),
        ]
    ).lower()
    assert "safe" not in said and "roadworthy" not in said
    assert "not an appraisal" in said


def test_days_are_said_in_words() -> None:
    assert day_words(date(2026, 1, 9)) == "9 January 2026"
