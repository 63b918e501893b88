"""One sale at a time: added by hand, taken out again, and nothing of it lost."""

import json
from datetime import date
from pathlib import Path

import pytest

from pricing.errors import MarketError
from pricing.store.connection import connection, run
from pricing.store.market import Market
from pricing.store.records.one_sale import add_sale, try_sale

TODAY = date(2025, 6, 30)
CELLS = {
    "make": "Corvane", "model": "Six", "year": "'68", "amount": "£4,250", "outcome": "sold",
    "price_basis": "all-in",
    "odometer_km": "54k miles", "condition_band": "gut", "chassis_number": "CV/1234",
}  # fmt: skip


def test_a_sale_is_added_as_people_write_it_and_seen_today(tmp_path: Path) -> None:
    added = add_sale(tmp_path / "market.duckdb", CELLS, today=TODAY)
    row = added.record.row(0, named=True)
    assert (row["year"], row["currency"], row["odometer_km"], row["condition_band"]) == (
        1968,
        "GBP",
        86904.6,
        "average",
    )
    assert (row["event_date"], row["source"], row["channel"]) == (TODAY, "notebook", None)
    assert added.doubles.is_empty()
    assert Market.open(tmp_path / "market.duckdb").base_currency == "GBP"


def test_its_double_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    add_sale(path, CELLS, today=TODAY)
    again = add_sale(path, CELLS | {"source": "the hall", "price_basis": "all-in"}, today=TODAY)
    assert again.doubles.height == 1
    with pytest.raises(MarketError, match="holds this sale already"):
        add_sale(path, CELLS, today=TODAY)


def test_its_double_is_told_before_it_is_added(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    assert try_sale(path, CELLS, today=TODAY).is_empty()
    assert not path.exists()
    added = add_sale(path, CELLS, today=TODAY)
    same = try_sale(path, CELLS | {"source": "the hall"}, today=TODAY)
    assert same["record_id"].to_list() == added.record["record_id"].to_list()
    assert Market.open(path).sales(every_record=True).height == 1, "nothing is kept of a trial"
    assert try_sale(path, CELLS | {"chassis_number": "CV/9876"}, today=TODAY).is_empty()


def test_nearly_the_same_entry_is_asked_about(tmp_path: Path) -> None:
    """One car, day and price, and odometers less than 2 % apart: perhaps one sale, which a person says."""
    path = tmp_path / "market.duckdb"
    unnumbered = {name: cell for name, cell in CELLS.items() if name != "chassis_number"}
    added = add_sale(path, unnumbered, today=TODAY)
    near = try_sale(path, unnumbered | {"odometer_km": "54,900 miles"}, today=TODAY)
    assert near["record_id"].to_list() == added.record["record_id"].to_list()
    for other in ({"odometer_km": "56,000 miles"}, {"odometer_km": "54,900 miles", "amount": "£4,300"}):
        assert try_sale(path, unnumbered | other, today=TODAY).is_empty()
    kept = add_sale(path, unnumbered | {"odometer_km": "54,900 miles"}, today=TODAY)
    assert kept.doubles.is_empty(), "asked about, and linked with nothing"


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ({"colour": "red"}, "a sale has no colour.*; it has: .*make"),
        ({"yaer": "1968"}, "no yaer; did you mean year"),
        ({"make": ""}, "no sale record yet: make missing"),
        ({"amount": "a lot"}, "amount unreadable"),
        ({"event_date": "2031-01-01"}, "event date in future"),
    ],
)
def test_what_is_no_sale_yet_is_said_and_nothing_is_kept(
    tmp_path: Path, cells: dict[str, str], message: str
) -> None:
    with pytest.raises(MarketError, match=message):
        add_sale(tmp_path / "market.duckdb", CELLS | cells, today=TODAY)
    assert not (tmp_path / "market.duckdb").exists()


def test_a_sale_taken_out_stays_out_and_what_it_was_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "market.duckdb"
    record = add_sale(path, CELLS, today=TODAY).record["record_id"][0]
    market = Market.open(path)
    with pytest.raises(MarketError, match="needs a reason"):
        market.remove(record, reason=" ")
    with pytest.raises(MarketError, match="holds no record"):
        market.remove("nobody", reason="entered twice")
    market.remove(record, reason="entered twice")
    assert market.sales(every_record=True).is_empty()
    with connection(path) as opened:
        ((old, reason),) = run(opened, "SELECT old, reason FROM corrections")
    assert json.loads(old)["amount"] == "4250.000" and reason == "entered twice"
    with pytest.raises(MarketError, match="holds this sale already"):
        add_sale(path, CELLS, today=TODAY)
    assert market.audit()["action"].to_list()[-1] == "remove"
