"""One sale, one record: each rule that links, what must stay apart, and the demo market's known
duplicates."""

from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest

import data_demo
from pricing.intake.duplicates import choose_primary_records, find_links, with_keys
from pricing.store.market import Market

CAR: dict[str, Any] = {
    "make": "Corvane", "model": "Six", "variant": None, "year": 1968, "chassis_number": "CV/1234-5",
    "body_style": None, "drive_side": None, "condition_band": None, "condition_score": None,
    "odometer_km": 81_000.0, "matching_numbers": None, "history_file": None, "premium": None,
    "low_estimate": None, "high_estimate": None, "reserve": None, "highest_bid": None, "listed_on": None,
    "source": "hall", "channel": "auction", "country": "GB", "outcome": "sold",
    "event_date": date(2024, 5, 1), "amount": 4000.0, "currency": "GBP", "price": 5500.0,
}  # fmt: skip
ASKING = {"outcome": "asking", "channel": "dealer", "price": 6000.0, "amount": 5000.0}
UNSOLD = {"outcome": "unsold", "price": None, "amount": None}


def keyed(*changes: dict[str, Any]) -> pl.DataFrame:
    """Records of the car, named a, b, c."""
    rows = [CAR | {"record_id": "abcdef"[place]} | change for place, change in enumerate(changes)]
    text = dict.fromkeys(
        ("variant", "body_style", "drive_side", "condition_band", "chassis_number"), pl.String
    )
    return with_keys(pl.DataFrame(rows, infer_schema_length=None, schema_overrides=text))


def rules(*changes: dict[str, Any]) -> list[str]:
    """The rules that link records."""
    return find_links(keyed(*changes))["rule"].to_list()


def days(count: int) -> dict[str, Any]:
    """An event some days later."""
    return {"event_date": date.fromordinal(CAR["event_date"].toordinal() + count)}


@pytest.mark.parametrize(
    ("first", "second", "rule"),
    [
        ({}, {"chassis_number": "cv12345", "variant": "de luxe"}, "same lot"),
        ({}, {"make": "Corvaine", "odometer_km": None}, "same lot"),
        (UNSOLD, UNSOLD, "same lot"),
        ({}, {"source": "other", "amount": 4600.0, **days(3)}, "same sale in two sources"),
        (
            {},
            {"source": "other", "price": 5000.0},
            "same sale in two sources",
        ),  # the hammer price taken for all-in
        (
            {},
            {"source": "other", "chassis_number": None, "odometer_km": 81_000.4},
            "same sale in two sources",
        ),
        (ASKING, days(40) | {"channel": "dealer"}, "listing that became a sale"),
        (ASKING, {"source": "other"}, "listing that became a sale"),
        ({**ASKING, "outcome": "withdrawn"}, days(100), "listing that became a sale"),
        (ASKING, {**ASKING, **days(60), "price": 5500.0, "amount": 4600.0}, "listed again"),
        (UNSOLD, days(120), "offered again"),
        (UNSOLD, {**UNSOLD, **days(30)}, "offered again"),
        (UNSOLD, {**ASKING, **days(30)}, "offered again"),
        ({**UNSOLD, "chassis_number": None}, {**days(30), "chassis_number": None}, "offered again"),
    ],
)
def test_one_offer_or_one_that_followed_another_is_one_sale(
    first: dict[str, Any], second: dict[str, Any], rule: str
) -> None:
    assert rules(first, second) == [rule]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({}, days(30)),  # sold again
        ({}, {**ASKING, **days(30)}),  # bought to be sold on
        (UNSOLD, days(400)),
        ({}, {"source": "other", "price": 7000.0, "amount": 5100.0}),
        ({}, {"model": "Four", "make": "Dunmere"}),  # two makers share a number
        ({}, {"year": 1972}),
        ({"chassis_number": "12"}, {"chassis_number": "12", "odometer_km": 5.0}),
        ({"chassis_number": None}, {"odometer_km": 81_002.0}),
        ({"chassis_number": None, "odometer_km": None}, {"chassis_number": None, "odometer_km": None}),
        ({"chassis_number": None, "variant": "saloon"}, {"variant": "coupe"}),
        ({}, {"chassis_number": "CV/9999"}),
    ],
)
def test_two_sales_stay_two(first: dict[str, Any], second: dict[str, Any]) -> None:
    assert rules(first, second) == []


def test_the_best_record_is_in_front_of_the_whole_chain() -> None:
    records = keyed(
        ASKING, {**ASKING, **days(50)}, days(90), {**days(90), "source": "other", "variant": "de luxe"}
    )
    fronts = choose_primary_records(records, find_links(records))
    assert dict(fronts.rows()) == dict.fromkeys("abcd", "d")


def test_without_links_nothing_is_behind() -> None:
    assert choose_primary_records(keyed({}), find_links(keyed({}))).is_empty()


def pairs(groups: pl.DataFrame, by: str) -> set[tuple[str, str]]:
    """Pairs of records of one group."""
    other = groups.rename({"record_id": "other"})
    joined = groups.join(other, on=by).filter(pl.col("record_id") < pl.col("other"))
    return set(joined.select("record_id", "other").rows())


def test_precision_and_recall_on_the_demo_market(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "demo.duckdb")
    for file in data_demo.files():  # one by one, as files come in
        report = market.load([file], today=date(2026, 11, 1))
        assert report.read == report.accepted + report.rejected + report.known
    links = market.duplicates().filter(pl.col("parted_at").is_null())
    records = market.sales(every_record=True)
    truth = pl.read_parquet(Path(data_demo.__file__).parent / "truth" / "records.parquet")
    known = records.join(truth, on="source_ref").select("record_id", "sale")
    behind = pl.concat(
        [links.select("record_id", "primary_id"), links.select(record_id="other_id", primary_id="primary_id")]
    )
    groups = pl.concat([behind, behind.select(record_id="primary_id", primary_id="primary_id")]).unique()
    found, true = pairs(groups, "primary_id"), pairs(known, "sale")
    precision, recall = len(found & true) / len(found), len(found & true) / len(true)
    print(f"duplicates of the demo market: precision {precision:.3f}, recall {recall:.3f}, {len(true)} known")
    assert precision >= 0.98
    assert recall >= 0.98
    assert market.sales().height == records.height - len(
        {name for name, front in groups.rows() if name != front}
    )
