"""Second thoughts: dry runs, undone batches, corrected cells, mended quarantine, parted sales, settled
names."""

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest

from pricing.errors import FileError, MarketError, TableError
from pricing.store.market import Market
from tests.store.test_market import ROW, write

TODAY = date(2025, 6, 30)
CAR = {"chassis_number": "CV/1234", "model": "Six"}


@pytest.fixture
def market(tmp_path: Path) -> Market:
    """An empty market."""
    return Market.open(tmp_path / "market.duckdb")


def load(market: Market, folder: Path, *rows: dict[str, Any], name: str = "notes") -> Any:
    """Load rows from a file of that name."""
    return market.load([write(folder / f"{name}.csv", *rows)], today=TODAY)


def test_a_dry_run_says_what_would_happen_and_changes_nothing(market: Market, tmp_path: Path) -> None:
    path = write(tmp_path / "notes.csv", {}, {"amount": "-1"})
    would = market.load([path], today=TODAY, dry_run=True)
    assert market.batches().is_empty() and market.sales().is_empty() and market.audit().is_empty()
    (row,) = would.refused
    assert (row.row_number, row.rules) == (3, ("amount_not_positive",))
    assert market.load([path], today=TODAY) == replace(would, refused=())


def test_undo_takes_a_batch_back_and_only_that(market: Market, tmp_path: Path) -> None:
    load(market, tmp_path, CAR)
    before = market.digest()
    second = [{**CAR, "event_date": "2024-05-03"}, {"amount": "-1"}]
    report = load(market, tmp_path, *second, name="other")
    assert (report.linked, market.sales().height, market.quarantine().height) == (1, 1, 1)
    assert market.undo("batch-0002") == 1
    assert market.digest() == before
    assert market.duplicates().is_empty() and market.quarantine().is_empty()
    assert market.batches()["undone_at"].is_null().to_list() == [True, False]
    assert market.audit()["action"].to_list() == ["load", "load", "undo"]
    again = load(market, tmp_path, *second, name="other")
    assert (again.batch_id, again.accepted, again.rejected) == ("batch-0003", 1, 1)
    with pytest.raises(MarketError, match="was undone already"):
        market.undo("batch-0002")
    with pytest.raises(MarketError, match="no batch 'batch-0009'"):
        market.undo("batch-0009")


def corrections(market: Market) -> list[tuple[str, str, str, str]]:
    """What the market file keeps of corrections, oldest first."""
    with duckdb.connect(market.path, read_only=True) as opened:
        query = 'SELECT "column", old, new, reason FROM corrections ORDER BY done_at'
        return opened.execute(query).fetchall()


def test_a_correction_keeps_the_old_value_and_derives_the_price_anew(market: Market, tmp_path: Path) -> None:
    path = write(tmp_path / "notes.csv", {})
    market.load([path], today=TODAY)
    name = market.sales()["record_id"].item()
    market.correct(name, {"amount": "8500"}, reason="a slip of the pen", today=TODAY)
    market.correct(name, {"options": "overdrive; tow_bar"}, reason="seen", today=TODAY)
    sale = market.sales().row(0, named=True)
    assert str(sale["price"]) == "9944.08" and sale["options"] == ["overdrive", "tow_bar"]
    assert corrections(market) == [
        ("amount", "4250.000", "8500.000", "a slip of the pen"),
        ("options", "", "overdrive;tow_bar", "seen"),
    ]
    market.correct(name, {"amount": "€9,000", "event_date": "Mar 2019"}, reason="the bill", today=TODAY)
    sale = market.sales().row(0, named=True)
    assert (sale["amount"], sale["currency"], sale["date_precision"]) == (9000, "EUR", "month")
    assert set(market.corrections(name)["column"][2:]) == {
        "amount",
        "currency",
        "event_date",
        "date_precision",
    }
    assert market.load([path], today=TODAY).known == 1
    assert market.sales()["record_id"].item() == name


@pytest.mark.parametrize(
    ("column", "value", "reason", "message"),
    [
        ("amount", "-1", "why not", "amount = '-1' breaks amount_not_positive"),
        ("year", "MCMLX", "why not", "breaks year_unreadable"),
        ("make", None, "why not", "breaks make_missing"),
        ("price_basis", "net", "why not", None),
        ("currency", "DEM", "why not", "leaves no price: rate_unknown"),
        ("record_id", "x", "why not", "no column 'record_id' that can be corrected"),
        ("amount", "5000", " ", "needs a reason"),
    ],
)
def test_a_correction_that_breaks_a_rule_is_refused(
    market: Market, tmp_path: Path, column: str, value: str | None, reason: str, message: str | None
) -> None:
    load(market, tmp_path, {})
    name, before = market.sales()["record_id"].item(), market.digest()
    if message is None:  # a private seller's net is what the buyer paid
        market.correct(name, {column: value}, reason=reason, today=TODAY)
        return
    with pytest.raises(MarketError, match=message):
        market.correct(name, {column: value}, reason=reason, today=TODAY)
    assert market.digest() == before and corrections(market) == []
    with pytest.raises(MarketError, match="no record 'nobody'"):
        market.correct("nobody", {"year": "1968"}, reason="x")


def test_quarantine_goes_out_is_mended_and_comes_back(market: Market, tmp_path: Path) -> None:
    hostile = {"notes": '=HYPERLINK("http://x")', "make": "", "variant": "@SUM(1)"}
    load(market, tmp_path, {"amount": "-4250"}, hostile, {"year": "?"}, {})
    (path,) = market.export_quarantine(tmp_path / "mend")
    text = path.read_text()
    assert '"\'=HYPERLINK(""http://x"")"' in text and ",'@SUM(1)" in text and ",-4250," in text
    assert market.load([path], today=TODAY).known == 3
    mended = text.replace(",-4250,", ",4250.50,").replace(",?,", ",MCMLX,")
    path.write_text(mended)
    report = market.load([path], today=TODAY)
    assert (report.read, report.accepted, report.rejected, report.known) == (3, 1, 1, 1)
    assert report.by_rule == {"year_unreadable": 1}
    assert market.sales()["source"].unique().to_list() == ["notes"]
    waiting = market.quarantine()
    assert waiting.height == 2 and '"year":"MCMLX"' in "".join(waiting["raw"])
    assert "=HYPERLINK" in "".join(waiting["raw"]) and "'=HYPERLINK" not in "".join(waiting["raw"])
    market.undo(str(report.batch_id))
    assert market.quarantine().height == 3
    with pytest.raises(FileError, match="is not empty"):
        market.export_quarantine(tmp_path / "mend")


def test_quarantine_of_a_mapped_source_comes_with_its_mapping(market: Market, tmp_path: Path) -> None:
    path = write(tmp_path / "hall.csv", {"amount": "£0"})
    names = "".join(f'{name} = "{name}"\n' for name in ROW)
    (tmp_path / "hall.csv.mapping.toml").write_text(f'source = "The Hall"\n[columns]\n{names}')
    market.load([path], today=TODAY)
    (out,) = market.export_quarantine(tmp_path / "mend")
    out.write_text(out.read_text().replace("£0", '"£4,000"'))
    report = market.load([out], today=TODAY)
    assert (report.accepted, report.rejected) == (1, 0)
    assert market.quarantine().is_empty()
    assert market.sales()["source"].item() == "The Hall"


def test_records_of_one_sale_can_be_parted_and_joined_again(market: Market, tmp_path: Path) -> None:
    asking = {
        **CAR,
        "outcome": "asking",
        "price_basis": "asking",
        "event_date": "2024-04-01",
        "amount": "4900",
    }
    load(market, tmp_path, asking, CAR)
    link = market.duplicates().row(0, named=True)
    assert link["rule"] == "listing that became a sale"
    assert market.sales()["outcome"].to_list() == ["sold"]
    assert market.sales(every_record=True).height == 2
    assert market.sales(as_of=date(2024, 4, 15))["outcome"].to_list() == ["asking"]
    assert market.sales(as_of=date(2024, 5, 15))["outcome"].to_list() == ["sold"]
    assert market.unlink(link["other_id"]) == 1
    assert market.sales().height == 2
    load(market, tmp_path, {**CAR, "event_date": "2025-06-01", "outcome": "asking", "price_basis": "asking"})
    assert market.duplicates()["parted_at"].is_null().to_list() == [False]
    assert market.relink(link["record_id"]) == 1
    assert market.sales().height == 2
    with pytest.raises(MarketError, match="no record 'nobody'"):
        market.unlink("nobody")


def test_names_are_settled_and_forgotten(market: Market, tmp_path: Path) -> None:
    rows = [{"amount": str(5000 + place)} for place in range(5)]
    odd = [{"make": "Corvaine"}, {"make": "CORVANE"}, {"make": "Corvane", "model": "Siks"}]
    load(market, tmp_path, *rows, *odd)
    assert sorted(market.sales()["make"].unique()) == ["Corvaine", "Corvane"]
    proposed = market.names().filter(pl.col("state") == "proposed")
    assert proposed.select("field", "typed", "name").rows() == [("make", "corvaine", "Corvane")]
    market.settle_name("make", "Corvaine", "Corvane")
    market.settle_name("model", "siks", "Six", make="Corvane")
    assert market.sales().select("make", "model").unique().rows() == [("Corvane", "Six")]
    assert market.sales(every_record=True)["record_id"].n_unique() == 8
    assert market.forget_name("make", "corvaine") == 1
    market.settle_name("make", "Corvaine", "Corvaine")
    assert market.names().filter(pl.col("state") == "proposed").is_empty()
    assert "Corvaine" in market.sales()["make"].to_list()
    with pytest.raises(MarketError, match="one of make, model, variant"):
        market.settle_name("colour", "x", "y")
    with pytest.raises(MarketError, match="within which make"):
        market.settle_name("model", "x", "y")


def test_suspicions_wait_for_a_verdict_and_do_not_come_back(market: Market, tmp_path: Path) -> None:
    load(market, tmp_path, {})
    found = pl.DataFrame(
        {"record_id": [market.sales()["record_id"].item(), "nobody"], "reason": "odd", "detail": "x"}
    )
    assert market.mark_suspicions(found) == 1
    assert market.suspicions().select("reason", "make").rows() == [("odd", "Corvane")]
    assert market.settle_suspicion(found["record_id"][0], "confirmed by the seller") == 1
    assert market.mark_suspicions(found) == 0
    assert market.suspicions().is_empty()
    with pytest.raises(MarketError, match="no suspicion"):
        market.settle_suspicion("nobody", "x")
    with pytest.raises(MarketError, match="a few words"):
        market.settle_suspicion("nobody", " ")


def test_own_rates_let_in_what_had_no_rate(market: Market, tmp_path: Path) -> None:
    old = {"currency": "DEM", "event_date": "1990-06-01", "amount": "19558.30"}
    assert load(market, tmp_path, old).by_rule == {"rate_unknown": 1}
    (tmp_path / "rates.csv").write_text("currency,rate_date,rate\nDEM,1990-01-01,1.95583\n")
    assert market.add_rates(tmp_path / "rates.csv") == 1
    report = load(market, tmp_path, old)
    assert (report.accepted, report.rejected, report.known) == (1, 0, 0)
    assert str(market.sales()["price"].item()) == "10000.00"
    assert market.quarantine().is_empty()
    (tmp_path / "rates.csv").write_text("currency,rate_date,rate\nDEM,1990-01-01,-1\n")
    with pytest.raises(TableError, match="row 2: a rate has"):
        market.add_rates(tmp_path / "rates.csv")
    (tmp_path / "rates.csv").write_text("currency,rate\nDEM,1\n")
    with pytest.raises(TableError, match="no column rate_date"):
        market.add_rates(tmp_path / "rates.csv")


HOSTILE = [
    "'); DROP TABLE records; --",
    '"; DELETE FROM records',
    "$1",
    "{batch}",
    "<script>alert(1)</script>",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_that_means_harm_is_text(market: Market, tmp_path: Path, text: str) -> None:
    words = {"make": text, "model": text, "variant": text, "chassis_number": text, "notes": text}
    load(market, tmp_path, {**words, "source": text, "source_ref": text}, {**words, "amount": text})
    sale = market.sales().row(0, named=True)
    assert {sale[name] for name in (*words, "source", "source_ref")} == {text}
    market.settle_name("make", text, text)
    market.correct(sale["record_id"], {"notes": text * 2}, reason=text, today=TODAY)
    market.export_quarantine(tmp_path / "mend")
    assert market.sales()["notes"].item() == text * 2
    assert market.quarantine().height == 1
