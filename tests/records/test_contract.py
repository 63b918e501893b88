"""The sale-record contract: each named rule, both ways."""

from datetime import date
from decimal import Decimal
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.errors import TableError
from pricing.records.contract import COLUMNS, REQUIRED, check

TODAY = date(2025, 6, 30)
GOOD: dict[str, Any] = {
    "record_id": "r1", "source": "list", "source_ref": "lot 1", "batch_id": "b1", "make": "Corvane", "model":
    "Six", "variant": None, "year": "1968", "chassis_number": "C/123", "body_style": "saloon", "drive_side":
    "right", "condition_band": "average", "condition_score": "60", "odometer_km": "81000", "options":
    "overdrive;tow_bar", "matching_numbers": "claimed", "history_file": "yes", "channel": "auction",
    "country": "GB", "outcome": "sold", "event_date": "2024-05-01", "amount": "4250", "currency": "GBP",
    "price_basis": "hammer", "premium": "637.50", "low_estimate": "3500", "high_estimate": "4500", "reserve":
    "3400", "highest_bid": None, "listed_on": "2024-04-01", "notes": "a, b",
}  # fmt: skip


def broken(**changes: Any) -> list[str]:
    """Names of the rules that the good row breaks once changed."""
    frame = pl.DataFrame([GOOD | changes], infer_schema_length=None, strict=False)
    rejected = check(frame, TODAY).rejected["broken_rules"].to_list()
    return rejected[0] if rejected else []


def test_a_good_row_is_accepted_with_the_contract_types() -> None:
    result = check(pl.DataFrame([GOOD]), TODAY)
    assert result.rejected.is_empty()
    row = result.accepted.row(0, named=True)
    assert tuple(row) == COLUMNS
    assert row["amount"] == Decimal("4250.000")
    assert row["options"] == ["overdrive", "tow_bar"]
    assert row["history_file"] is True
    assert row["event_date"] == date(2024, 5, 1)
    assert check(result.accepted, TODAY).accepted.equals(result.accepted)


@pytest.mark.parametrize(
    ("changes", "rules"),
    [
        ({"make": "  "}, ["make_missing"]),
        ({"year": "1968.5"}, ["year_unreadable"]),
        ({"year": "1884"}, ["year_out_of_range"]),
        ({"year": "2026"}, ["year_out_of_range"]),
        ({"drive_side": "middle"}, ["drive_side_unknown"]),
        ({"condition_band": "superb"}, ["condition_band_unknown"]),
        ({"condition_score": "101"}, ["condition_score_out_of_range"]),
        ({"condition_score": "75"}, ["condition_score_outside_band"]),
        ({"condition_score": "NaN"}, ["condition_score_unreadable"]),
        ({"odometer_km": float("inf")}, ["odometer_km_unreadable"]),
        ({"odometer_km": "-1"}, ["odometer_negative"]),
        ({"odometer_km": "2000001"}, ["odometer_absurd"]),
        ({"options": "overdrive;ejector_seat"}, ["option_unknown"]),
        ({"options": "tow_bar;tow_bar"}, ["option_repeated"]),
        ({"matching_numbers": "hoped"}, ["matching_numbers_unknown"]),
        ({"history_file": "perhaps"}, ["history_file_unreadable"]),
        ({"channel": "raffle"}, ["channel_unknown"]),
        ({"country": "UK"}, ["country_unknown"]),
        ({"outcome": "gone"}, ["outcome_unknown"]),
        ({"event_date": "2025-07-01"}, ["event_date_in_future"]),
        ({"event_date": "1944-12-31", "year": "1930", "listed_on": None}, ["event_date_too_early"]),
        ({"event_date": "01/05/2024"}, ["event_date_unreadable"]),
        ({"event_date": None}, ["event_date_missing"]),
        ({"amount": "0", "premium": None}, ["amount_not_positive"]),
        ({"amount": "-4250", "premium": None}, ["amount_not_positive"]),
        ({"amount": "9.99", "premium": None}, ["amount_absurd"]),
        ({"amount": "250000001"}, ["amount_absurd"]),
        ({"amount": "a lot", "outcome": "unsold"}, ["amount_unreadable"]),
        ({"amount": None}, ["sold_without_amount"]),
        ({"amount": None, "outcome": "asking", "price_basis": "asking"}, ["asking_without_amount"]),
        ({"currency": "GBX"}, ["currency_unknown"]),
        ({"currency": "XAU"}, ["currency_unknown"]),
        ({"price_basis": "guess"}, ["price_basis_unknown"]),
        ({"outcome": "asking"}, ["asking_outcome_needs_asking_basis"]),
        ({"price_basis": "asking"}, ["asking_basis_needs_asking_outcome"]),
        ({"premium": "-1"}, ["premium_negative"]),
        ({"premium": "4251"}, ["premium_above_amount"]),
        ({"low_estimate": "0"}, ["estimate_not_positive"]),
        ({"low_estimate": "5000"}, ["estimates_reversed"]),
        ({"reserve": "0"}, ["reserve_not_positive"]),
        ({"highest_bid": "0"}, ["highest_bid_not_positive"]),
        ({"listed_on": "2024-05-02"}, ["listed_after_event"]),
        ({"notes": "x" * 20_001}, ["text_too_long"]),
        ({"year": None, "amount": "x"}, ["amount_unreadable", "year_missing", "sold_without_amount"]),
    ],
)  # fmt: skip
def test_a_broken_rule_is_named(changes: dict[str, Any], rules: list[str]) -> None:
    assert sorted(broken(**changes)) == sorted(rules)


@pytest.mark.parametrize(
    "changes",
    [
        {"outcome": "withdrawn", "price_basis": "asking"},
        {"outcome": "unsold", "amount": None, "highest_bid": "3000"},
        {"condition_band": "top condition", "condition_score": "100"},
        {"condition_band": None},
        {"amount": "300000000", "currency": "JPY"},
        {"currency": "XAF"},
        {"options": None},
    ],
)
def test_what_looks_odd_but_is_right_is_kept(changes: dict[str, Any]) -> None:
    assert broken(**changes) == []


@pytest.mark.parametrize("name", REQUIRED)
def test_a_required_column_must_be_there(name: str) -> None:
    with pytest.raises(TableError, match=f"no column {name}"):
        check(pl.DataFrame([GOOD]).drop(name), TODAY)


def test_optional_columns_may_be_absent_and_others_are_ignored() -> None:
    frame = pl.DataFrame([GOOD]).select(*REQUIRED, "amount", pl.lit("blue").alias("colour"))
    row = check(frame, TODAY).accepted.row(0, named=True)
    assert row["options"] == [] and row["notes"] is None and "colour" not in row


CELLS = st.one_of(
    st.none(), st.text(max_size=8), st.integers(-10, 10**7).map(str), st.sampled_from(list(GOOD.values()))
)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.fixed_dictionaries(dict.fromkeys(COLUMNS, CELLS)), max_size=20))
def test_no_row_is_lost_or_doubled(rows: list[dict[str, str | None]]) -> None:
    frame = pl.DataFrame(rows, schema=dict.fromkeys(COLUMNS, pl.String))
    result = check(frame, TODAY)
    assert result.accepted.height + result.rejected.height == frame.height
    assert result.rejected["broken_rules"].list.len().min() in (None, *range(1, 60))
    assert result.rejected.drop("broken_rules").schema == frame.schema
    assert check(result.accepted, TODAY).accepted.equals(result.accepted)
