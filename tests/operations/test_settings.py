"""Settings: what they mean, there and back, and what is refused."""

from decimal import Decimal

import pytest

from pricing.errors import InspectionError, MarketError, PricingError
from pricing.operations.access import ROLES, allowed
from pricing.operations.bundled import DEMO_CATALOGUE
from pricing.operations.settings import (
    EXAMPLE_CHARGES,
    LONGEST_FILE,
    Settings,
    catalogue_of,
    charges_text,
    schedule_of_text,
)


def test_settings_come_back_from_their_texts() -> None:
    settings = Settings(
        "miles",
        "GBP",
        "DE",
        "catalogue",
        "charges",
        {"DE": {"paint": Decimal("61.50")}},
        {"everyone": ("read",)},
    )
    texts = {name: text for name, text in settings.texts().items() if text is not None}
    assert Settings.read(texts) == settings
    assert Settings.read({}) == Settings()


@pytest.mark.parametrize(
    "texts",
    [
        {"distance_unit": "leagues"},
        {"labour": "not json"},
        {"labour": '{"GB": {"paint": "-1"}}'},
        {"labour": '{"GB": {"magic": "1"}}'},
        {"roles": '{"nobody": ["read"]}'},
        {"roles": '{"a@b.invalid": ["owner"]}'},
        {"roles": "[]"},
        {"other_currency": "XXX1"},
    ],
)
def test_what_makes_no_sense_is_refused(texts: dict[str, str]) -> None:
    with pytest.raises(PricingError):
        Settings.read(texts)


def test_own_labour_rates_stand_in_for_the_catalogues() -> None:
    catalogue = catalogue_of(None)
    own = Settings(labour={"GB": {"paint": Decimal(77)}}).with_labour(catalogue)
    assert own.labour["GB", "paint"] == 77
    assert {k: v for k, v in own.labour.items() if k != ("GB", "paint")} == {
        k: v for k, v in catalogue.labour.items() if k != ("GB", "paint")
    }


def test_files_of_ones_own_are_read_bounded_and_named_without_their_folder() -> None:
    assert catalogue_of(DEMO_CATALOGUE.read_text(encoding="utf-8")) == catalogue_of(None)
    with pytest.raises(PricingError, match="at most"):
        catalogue_of("#" * (LONGEST_FILE + 1))
    with pytest.raises(InspectionError, match=r"^file\.toml"):
        catalogue_of("x = 1")
    assert schedule_of_text(None) is None
    example = schedule_of_text(EXAMPLE_CHARGES)
    assert example is not None and example.example
    assert schedule_of_text(charges_text(Settings())) is not None


@pytest.mark.parametrize("role", ROLES)
def test_a_role_allows_what_it_says_and_nothing_else(role: str) -> None:
    for act in ("read", "load", "appraise", "manage"):
        assert allowed("a@b.invalid", act, {"a@b.invalid": [role]}, []) == (act in ROLES[role])
    assert not allowed("c@b.invalid", "read", {"a@b.invalid": [role]}, [])
    assert not allowed("", "read", {"a@b.invalid": [role]}, [])


def test_an_unknown_role_opens_nothing() -> None:
    assert not allowed("a@b.invalid", "read", {"a@b.invalid": ["owner"]}, [])
    with pytest.raises(MarketError, match="a role is one of"):
        Settings(roles={"a@b.invalid": ("owner",)})
