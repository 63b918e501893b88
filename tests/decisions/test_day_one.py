"""Day-one cost: lines that add up to the smallest unit, and the way back from a limit."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.decisions.amounts import Range
from pricing.decisions.buy.day_one import LINES, DayOneTerms, cost_lines, open_lines
from pricing.errors import DecisionError, MoneyError
from pricing.money.charges import Charge, Tier

START = date(2026, 1, 1)


def charge(kind: str, rate: str, currency: str = "EUR", minimum: int = 0, tax: str = "0") -> Charge:
    return Charge(
        "hall", kind, START, currency, (Tier(Decimal(rate)),), tax=Decimal(tax), minimum=Decimal(minimum)
    )


@st.composite
def terms(draw: st.DrawFn) -> DayOneTerms:
    currency = draw(st.sampled_from(["EUR", "JPY", "KWD"]))
    amounts = st.none() | st.decimals(0, 5000, places=2)

    def some(kind: str) -> Charge | None:
        rates = st.decimals("0", "0.4", places=4)
        ends = sorted(draw(st.sets(st.integers(1, 10**5), max_size=2)))
        tiers = tuple(Tier(draw(rates), None if end is None else Decimal(end)) for end in (*ends, None))
        tax = draw(st.decimals("0", "0.3", places=3))
        made = Charge("x", kind, START, currency, tiers, tax=tax, minimum=Decimal(draw(st.integers(0, 300))))
        return draw(st.none() | st.just(made))

    return DayOneTerms(
        currency, some("premium"), draw(amounts), some("import duty"), some("import tax"), draw(amounts),
        repairs_counted=draw(st.booleans()),
    )  # fmt: skip


PRICES = st.decimals(1, 200_000, places=2)


@settings(max_examples=60)
@given(terms(), st.lists(PRICES, min_size=1, max_size=20))
def test_the_lines_add_up_to_the_smallest_unit(stated: DayOneTerms, prices: list[Decimal]) -> None:
    for row in stated.lines(prices).iter_rows(named=True):
        paid = [row[name] for name in LINES if row[name] is not None]
        assert sum(paid) == row["total"]
        repairs = row["repairs"] or Decimal(0)
        assert row["counted"] == row["total"] - (0 if stated.repairs_counted else repairs)
        assert row["all_in"] == row["price"] + (row["premium"] or 0)


@settings(max_examples=40)
@given(terms(), PRICES)
def test_the_highest_price_stays_within_the_limit_and_one_unit_more_does_not(
    stated: DayOneTerms, limit: Decimal
) -> None:
    found = stated.highest_price(limit)
    unit = {"EUR": Decimal("0.01"), "JPY": Decimal(1), "KWD": Decimal("0.001")}[stated.currency]
    if found is None:
        assert stated.lines([Decimal(0)])["counted"][0] > limit
        return
    assert stated.lines([found])["counted"][0] <= limit
    assert stated.lines([found + unit])["counted"][0] > limit


def test_sums_by_hand() -> None:
    stated = DayOneTerms(
        "EUR",
        premium=charge("premium", "0.15", tax="0.2"),
        transport=Decimal(400),
        duty=charge("import duty", "0.10"),
        tax=charge("import tax", "0.20"),
        repairs=Decimal(250),
    )
    row = stated.lines([Decimal(10_000)]).row(0, named=True)
    # premium 1,500 and a fifth; duty on 12,200; tax on 13,420
    assert [row[name] for name in LINES] == [10000, 1800, 400, 1220, 2684, 250]
    assert row["total"] == 16354


def test_nothing_is_invented_for_an_empty_line() -> None:
    lines = cost_lines(DayOneTerms("EUR"), Decimal(900))
    for end in ("low", "mid", "high"):
        assert lines[end].to_list() == [Decimal(900), None, None, None, None, None]
    assert lines["source"].to_list() == ["stated", *["left empty"] * 5]
    assert cost_lines(DayOneTerms("EUR"), None).is_empty()
    assert open_lines(DayOneTerms("EUR"), auction=True, imported=False, repairs_known=False) == (
        "premium",
        "transport",
        "repairs",
    )
    assert "import tax" in open_lines(DayOneTerms("EUR"), auction=False, imported=True, repairs_known=True)


def test_repairs_found_stand_as_a_range() -> None:
    found = Range(Decimal(500), Decimal(800), Decimal(1500))
    lines = cost_lines(DayOneTerms("EUR", repairs_counted=False), Decimal(900), None, found)
    row = lines.filter(lines["line"] == "repairs").row(0, named=True)
    assert (row["low"], row["mid"], row["high"], row["counted"]) == (500, 800, 1500, False)


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(MoneyError, match="transport absurd: got -1, expected 0 to 250,000,000"):
        DayOneTerms("EUR", transport=Decimal(-1))
    with pytest.raises(MoneyError, match="first repairs absurd: got NaN"):
        DayOneTerms("EUR", repairs=Decimal("NaN"))
    with pytest.raises(DecisionError, match="charge of that kind in EUR; got premium in GBP"):
        DayOneTerms("EUR", premium=charge("premium", "0.1", "GBP"))
    with pytest.raises(MoneyError, match="'EUX'"):
        DayOneTerms("EUX")
