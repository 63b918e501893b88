"""``buy``, ``sell`` and ``value`` with amounts that carry a currency, as they are typed."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pricing.cli.main import app
from pricing.condition.assessment import assess
from pricing.condition.inspection_files import save
from pricing.decisions.typed_amounts import Typed, typed_amount
from pricing.errors import DecisionError, MoneyError, PricingError
from pricing.store.market import Market
from tests.condition.walks import walk
from tests.small_market import common_car


@pytest.fixture(scope="module")
def car(small_market: Market) -> list[str]:
    found = common_car(small_market)
    return [
        "--make", found["make"], "--model", found["model"], "--year", str(found["year"]), "--condition-band",
        found["condition_band"],
    ]  # fmt: skip


def run(market: Market, *words: Any) -> str:
    result = CliRunner().invoke(
        app, [*map(str, words), "--market", str(market.path)], catch_exceptions=False, env={"COLUMNS": "160"}
    )
    assert result.exit_code == 0, result.output
    return result.output


def test_buy_prints_limits_costs_and_cautions_and_writes_the_sheet(
    small_market: Market, car: list[str], tmp_path: Path
) -> None:
    sheet, chart = tmp_path / "sheet.html", tmp_path / "limits.json"
    text = run(
        small_market, "buy", *car, "--channel", "auction", "--certainty", 0.7, "--charges", "example",
        "--asking", 5000, "--sheet", sheet, "--chart", chart,
    )  # fmt: skip
    for words in (
        "what like cars fetch", "Walk away above: ", "buyer's premium", "highest hammer price",
        "licensed workshop", "it comes to EUR",
    ):  # fmt: skip
        assert words in text
    assert "example rate in force from 2026-01-01" in text
    assert sheet.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert json.loads(chart.read_text())["layer"]


def test_sell_prints_channels_reserve_and_ladder(small_market: Market, car: list[str]) -> None:
    text = run(
        small_market, "sell", *car, "--keep-value", 2000, "--charges", "example", "--paper", "history file=50"
    )
    for words in ("expect EUR", "Auction: of what", "ladder (private)", "history file", "what must be told"):
        assert words in text


def test_facts_as_json(small_market: Market, car: list[str]) -> None:
    bought = json.loads(
        run(small_market, "buy", *car, "--certainty", 0.6, "--asking", "GBP 3000", "--json").split("\n", 0)[0]
    )
    assert bought["conversion"]["currency"] == "GBP"
    sold = json.loads(run(small_market, "sell", *car, "--json"))
    assert {found["channel"] for found in sold["channels"]} == {"auction", "dealer", "private"}
    left = [float(found["left"]) for found in sold["channels"]]
    assert left == sorted(left, reverse=True)


def test_value_takes_an_amount_in_another_currency_and_an_inspection(
    small_market: Market, car: list[str], tmp_path: Path
) -> None:
    euros = json.loads(run(small_market, "value", *car, "--asking", "4000", "--json"))
    pounds = json.loads(run(small_market, "value", *car, "--asking", "4000 GBP", "--json"))
    assert float(pounds["asking"]) > float(euros["asking"])
    path = tmp_path / "car.json"
    found = walk(state="worn")
    from dataclasses import replace

    save(replace(found, car={}), path)
    seen = json.loads(run(small_market, "value", *car[:-2], "--inspection", path, "--json"))
    assert seen["car"]["condition_band"] == assess(found).band


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["buy", "--certainty", 0.7], "no asking price"),
        (["buy", "--certainty", 0.7, "--asking", "dear"], "the asking price is not an amount: got 'dear'"),
        (["buy", "--certainty", 0.7, "--asking", 4000, "--currency", "ATS"], "no rate from ATS to EUR"),
        (
            ["buy", "--certainty", 0.7, "--asking", "GBP 400", "--transport", "EUR 5"],
            "one currency; got EUR, GBP",
        ),
        (
            ["buy", "--certainty", 0.7, "--asking", 4000, "--charges", "none.toml"],
            "none.toml cannot be read: it does not exist",
        ),
        (["sell", "--reserve", 5000, "--high-estimate", 4000], "above the high estimate of 4000"),
        (["sell", "--paper", "service book=3"], "no such paper: got 'service book=3'"),
        (["sell", "--charges", "example", "--as-of", "2099-01-01", "--currency", "GBP"], "the price in GBP"),
        (["value", "--asking", "XYZ 100"], "'XYZ' is not an ISO 4217 code"),
    ],
)
def test_a_slip_is_one_clear_sentence(
    small_market: Market, car: list[str], words: list[Any], message: str
) -> None:
    command, *rest = map(str, words)
    with pytest.raises(PricingError, match=message) as caught:
        run(small_market, command, *car, *rest)
    assert "\n" not in str(caught.value)


def test_amounts_as_they_are_typed() -> None:
    for text in ("GBP 12500", "12500 gbp", "gbp12500"):
        typed = typed_amount(text, "reserve")
        assert typed is not None and (int(typed.amount), typed.currency) == (12500, "GBP")
    for text, amount, currency in (
        ("£4,500", "4500", "GBP"), ("£ 4 500.50", "4500.50", "GBP"), ("12k", "12000", None),
        ("€12.5k", "12500", "EUR"), ("4,500", "4500", None), ("US$ 900", "900", "USD"), ("-5", "-5", None),
        ("CHF 12'500", "12500", "CHF"), ("4500.-", "4500", None), ("45 000 SEK", "45000", "SEK"),
    ):  # fmt: skip
        assert typed_amount(text, "reserve") == Typed(Decimal(amount), currency)
    for text in ("$900", "kr 900", "900 kr"):
        with pytest.raises(DecisionError, match="does not say which currency"):
            typed_amount(text, "reserve")
    for text in (
        "",
        "GBP",
        "GBP 5 EUR",
        "£5 EUR",
        "1,2,3",
        "inf",
        "nan",
        "1e4",
        "5" * 3 + "x",
        "\x00",
        "£",
        "--5",
    ):
        with pytest.raises((DecisionError, MoneyError), match="the reserve is not an amount"):
            typed_amount(text, "reserve")
