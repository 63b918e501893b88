"""Buyer's premium and seller's commission: worked sums, and exact ways back."""

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import data_demo
from pricing.errors import FileError, MoneyError
from pricing.money.charges import Charge, Tier, read_charge, read_schedule

UNIT = {"JPY": 1000, "GBP": 10, "KWD": 1}


@st.composite
def charges(draw: st.DrawFn, highest: str) -> Charge:
    """A schedule of one to four tiers."""
    ends = sorted(draw(st.sets(st.integers(1, 10**7), max_size=3)))
    rates = st.decimals(0, highest, places=4)
    tiers = tuple(Tier(draw(rates), None if end is None else Decimal(end)) for end in (*ends, None))
    tax, minimum = draw(st.decimals(0, "0.5", places=4)), Decimal(draw(st.integers(0, 500)))
    return Charge(
        "hall", "premium", date(2020, 1, 1), draw(st.sampled_from(sorted(UNIT))), tiers, tax, minimum
    )


def values(expression: Any, numbers: list[int]) -> list[int]:
    """An expression over thousandths, evaluated."""
    frame = pl.DataFrame({"number": pl.Series(numbers, dtype=pl.Int128)})
    return frame.select(expression(pl.col("number"))).to_series().to_list()


HAMMERS = st.lists(st.integers(0, 10**9), min_size=1, max_size=50)


@settings(max_examples=20)
@given(charges("0.99"), HAMMERS)
def test_hammer_to_all_in_and_back_is_exact(charge: Charge, units: list[int]) -> None:
    hammers = [unit * UNIT[charge.currency] for unit in units]
    assert values(charge.hammer_of_all_in, values(charge.all_in, hammers)) == hammers


@settings(max_examples=20)
@given(charges("0.5"), HAMMERS)
def test_net_to_hammer_and_back_is_exact(charge: Charge, units: list[int]) -> None:
    hammers = [unit * UNIT[charge.currency] for unit in units]
    nets = values(charge.net, hammers)
    again = values(charge.hammer_of_net, nets)
    assert values(charge.net, again) == nets
    assert all(found <= hammer for found, hammer in zip(again, hammers, strict=True))


@settings(max_examples=20)
@given(charges("0.99"), HAMMERS)
def test_an_amount_that_no_hammer_price_comes_to_gives_the_one_below(
    charge: Charge, amounts: list[int]
) -> None:
    unit = UNIT[charge.currency]
    for amount, hammer in zip(amounts, values(charge.hammer_of_all_in, amounts), strict=True):
        least = values(charge.all_in, [0])[0]
        if amount < least:
            assert hammer is None
            continue
        low, high = values(charge.all_in, [hammer, hammer + unit])
        assert low <= amount < high


def test_sums_by_hand() -> None:
    charge = Charge(
        "hall", "premium", date(2020, 1, 1), "GBP", (Tier(Decimal("0.15")),), Decimal("0.2"), Decimal(150)
    )
    assert values(charge.on, [500_000]) == [180_000]  # the minimum of 150 and a fifth of it in tax
    assert values(charge.on, [1_000_030]) == [180_000]  # 150.0045 -> 150.00, tax 30.00
    assert values(charge.on, [10_000_100]) == [1_800_020]  # 1,500.015 -> 1,500.02, tax 300.004 -> 300.00


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"tiers": ()}, "tiers must rise"),
        ({"tiers": (Tier(Decimal("0.1"), Decimal(5)),)}, "without up_to"),
        (
            {"tiers": (Tier(Decimal("0.1"), Decimal(5)), Tier(Decimal("0.1"), Decimal(5)), Tier(Decimal(0)))},
            "rise",
        ),
        ({"tiers": (Tier(Decimal(15)),)}, "0.15 for 15%"),
        ({"tax": Decimal("0.12345678")}, "six decimals"),
        ({"currency": "GBX"}, "'GBX'"),
        ({"kind": "gift"}, "premium, commission"),
    ],
)
def test_a_schedule_that_makes_no_sense_is_refused(change: dict[str, Any], message: str) -> None:
    good = {"source": "hall", "kind": "premium", "valid_from": date(2020, 1, 1), "currency": "GBP"}
    with pytest.raises(MoneyError, match=message):
        Charge(**good | {"tiers": (Tier(Decimal("0.1")),)} | change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "table", [{}, {"from": "2020"}, {"from": date(2020, 1, 1), "tiers": [{"rate": "x"}]}]
)
def test_a_table_that_is_no_schedule_is_refused(table: dict[str, Any]) -> None:
    with pytest.raises(MoneyError):
        read_charge({"source": "hall", "kind": "premium"} | table)


SCHEDULE = """
name = "hall rates"
notice = "for their form"
example = true
[[charge]]
source = "auction"
kind = "premium"
from = 2025-01-01
until = 2025-06-30
currency = "EUR"
tiers = [{ rate = 0.1 }]
[[charge]]
source = "auction"
kind = "premium"
from = 2025-08-01
currency = "EUR"
tiers = [{ rate = 0.12 }]
"""


def test_a_schedule_file_is_in_force_on_its_days_and_a_gap_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "rates.toml"
    path.write_text(SCHEDULE, encoding="utf-8")
    schedule = read_schedule(path)
    assert (schedule.name, schedule.notice, schedule.example) == ("hall rates", "for their form", True)
    early = schedule.in_force("auction", "premium", date(2025, 6, 30), "EUR")
    late = schedule.in_force("auction", "premium", date(2030, 1, 1), "EUR")
    assert early is not None and late is not None
    assert (early.tiers[0].rate, late.tiers[0].rate) == (Decimal("0.1"), Decimal("0.12"))
    assert schedule.in_force("auction", "commission", date(2025, 1, 1), "EUR") is None
    assert schedule.in_force("dealer", "premium", date(2025, 1, 1), "EUR") is None
    for day in (date(2024, 12, 31), date(2025, 7, 1), date(2025, 7, 31)):
        with pytest.raises(
            MoneyError, match=f"hall rates: no premium of 'auction' is in force on {day}; they run"
        ):
            schedule.in_force("auction", "premium", day, "EUR")
    with pytest.raises(MoneyError, match="is in EUR, the price in GBP; give a schedule in GBP"):
        schedule.in_force("auction", "premium", date(2025, 1, 1), "GBP")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("[[charge]]", "[[charges]]"), "charge is missing"),
        (("until = 2025-06-30", "until = 2024-06-30"), "ends on 2024-06-30, before it begins"),
        (("until = 2025-06-30", 'until = "soon"'), "until should be a valid date.*; got 'soon'"),
        (('kind = "premium"', 'kind = "tip"'), "the kind of a charge is one of premium"),
        (("rate = 0.1 ", "rate = 15 "), "0.15 for 15%"),
        (("from = 2025-01-01", "starts = 2025-01-01"), "premium of 'auction': from is missing"),
    ],
)
def test_a_schedule_file_that_makes_no_sense_is_refused(
    tmp_path: Path, change: tuple[str, str], message: str
) -> None:
    path = tmp_path / "rates.toml"
    path.write_text(SCHEDULE.replace(*change), encoding="utf-8")
    with pytest.raises(MoneyError, match=message):
        read_schedule(path)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"= 3", b"[[charge"])
def test_a_file_that_is_no_schedule_is_refused_in_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "rates.toml"
    path.write_bytes(content)
    for wanted in (path, tmp_path, tmp_path / "none.toml"):
        with pytest.raises(FileError, match="cannot be read") as caught:
            read_schedule(wanted)
        assert "\n" not in str(caught.value)


def test_the_charges_that_ship_are_marked_as_examples_with_their_date() -> None:
    schedule = read_schedule(Path(data_demo.__file__).parent / "example_charges.toml")
    assert schedule.example
    assert "Example figures, invented" in schedule.notice
    assert "2026" in schedule.name
