"""The settings: kept in the market file, for whoever may."""

from decimal import Decimal

import pytest
from streamlit.testing.v1 import AppTest

from dashboards import caches, people
from pricing.operations.bundled import DEMO_CATALOGUE
from pricing.operations.settings import EXAMPLE_CHARGES, Settings, catalogue_in_force, catalogue_of
from pricing.store.market import Market
from tests.dashboards.pages import a_page, press, said


@pytest.fixture
def page(market: Market) -> AppTest:
    return a_page("setting").run()


def kept(market: Market) -> Settings:
    return Settings.read(market.state().settings)


def test_it_says_which_market_is_in_use(page: AppTest, market: Market) -> None:
    assert not page.exception
    assert f"market.duckdb, your own market: {market.sales().height:,} records" in said(page)
    assert market.state().settings == {}


def test_units_and_a_second_currency_are_kept_on_a_press(page: AppTest, market: Market) -> None:
    page.selectbox[0].select("miles")
    page.selectbox[1].select("GBP")
    assert kept(market) == Settings()
    press(page, "Keep units and currency")
    assert not page.exception
    assert kept(market) == Settings(distance_unit="miles", other_currency="GBP")
    assert "The settings are kept." in said(page)


def test_labour_rates_are_kept_and_reckoned_with(page: AppTest, market: Market) -> None:
    page.selectbox(key="settings_country").select("DE").run()
    (welding,) = [field for field in page.text_input if field.label.startswith("Welding")]
    welding.set_value("99,50")
    press(page, "Keep these rates and this country")
    assert not page.exception
    state = caches.snapshot()
    assert state is not None
    assert kept(market).country == "DE"
    assert catalogue_in_force(state).labour["DE", "welding"] == Decimal("99.50")
    untouched = catalogue_of(None).labour["GB", "welding"]
    assert catalogue_in_force(state).labour["GB", "welding"] == untouched


def test_a_catalogue_of_ones_own_comes_into_force_or_is_refused_with_a_sentence(
    page: AppTest, market: Market
) -> None:
    text = DEMO_CATALOGUE.read_text(encoding="utf-8").replace("demo repair catalogue", "my own figures")
    page.file_uploader[0].set_value(("mine.toml", b"[catalogue]\nname = 1", "application/toml")).run()
    press(page, "Use this catalogue")
    assert "catalogue.name should be a text; got" in said(page).replace("\\", "")
    assert kept(market).catalogue is None
    page.file_uploader[0].set_value(("mine.toml", text.encode(), "application/toml")).run()
    press(page, "Use this catalogue")
    assert kept(market).catalogue == text
    assert "your own figures" in said(page)


def test_a_schedule_of_charges_comes_into_force(page: AppTest, market: Market) -> None:
    press(page, "Use the example rates")
    assert not page.exception
    assert kept(market).charges == EXAMPLE_CHARGES
    assert "In use:" in said(page)
    press(page, "Use no schedule")
    assert kept(market).charges is None


def sign_in(monkeypatch: pytest.MonkeyPatch, person: str) -> None:
    monkeypatch.setattr(people, "signing_in", lambda: "a secret")
    monkeypatch.setattr(people, "person", lambda: person)


@pytest.mark.parametrize(
    ("role", "writes"), [("read", False), ("load", False), ("appraise", False), ("manage", True)]
)
def test_only_whoever_manages_changes_settings(
    market: Market, monkeypatch: pytest.MonkeyPatch, role: str, writes: bool
) -> None:
    market.keep_settings(Settings(roles={"ann@mill.invalid": (role,)}).texts())
    sign_in(monkeypatch, "ann@mill.invalid")
    page = a_page("setting").run()
    assert not page.exception
    buttons = [button for button in page.button if button.label == "Keep units and currency"]
    assert [button.disabled for button in buttons] == [not writes]
    assert bool([button for button in page.button if button.label == "Keep people and roles"]) == writes


@pytest.mark.parametrize(("role", "loads"), [("read", False), ("load", True), ("appraise", False)])
def test_only_whoever_loads_brings_records_in_or_takes_them_back(
    market: Market, monkeypatch: pytest.MonkeyPatch, role: str, loads: bool
) -> None:
    market.keep_settings(Settings(roles={"everyone": (role,)}).texts())
    sign_in(monkeypatch, "bob@mill.invalid")
    page = a_page("records").run()
    assert not page.exception
    assert bool(page.file_uploader) == loads
    assert bool([box for box in page.selectbox if box.label == "Batch to take back"]) == loads
    assert ("for the role load" in said(page)) != loads


def test_a_manager_named_at_the_start_is_never_locked_out(
    market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    sign_in(monkeypatch, "ann@mill.invalid")
    assert not people.may("read")
    monkeypatch.setenv("PRICING_MANAGERS", "bob@mill.invalid,Ann@mill.invalid")
    assert people.may("manage")
