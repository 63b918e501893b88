"""The market file: loads that account for every row, two processes at once, and files that are no good."""

import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pricing.errors import FileError, MappingError, MarketError, PricingError, TableError
from pricing.records.contract import COLUMNS
from pricing.store.market import Market
from pricing.store.records.sales import DERIVED

TODAY = date(2025, 6, 30)
ROW: dict[str, Any] = {
    "make": "Corvane",
    "model": "Six",
    "year": "1968",
    "channel": "private",
    "country": "GB",
    "outcome": "sold",
    "event_date": "2024-05-01",
    "amount": "4250",
    "currency": "GBP",
    "price_basis": "all-in",
}


@pytest.fixture
def market(tmp_path: Path) -> Market:
    """An empty market."""
    return Market.open(tmp_path / "market.duckdb")


def write(path: Path, *rows: dict[str, Any]) -> Path:
    """A CSV file of the contract's columns."""
    pl.DataFrame([ROW | row for row in rows], infer_schema_length=None).write_csv(path)
    return path


def loaded(market: Market, path: Path, **more: Any) -> tuple[int, int, int, int]:
    """Load one file: rows read, accepted, rejected, known."""
    report = market.load([path], today=TODAY, **more)
    return report.read, report.accepted, report.rejected, report.known


def test_every_row_is_a_record_or_in_quarantine_and_known_the_second_time(
    market: Market, tmp_path: Path
) -> None:
    rows = write(tmp_path / "notes.csv", {}, {"amount": "5000"}, {"amount": "-1"}, {"make": ""}, {})
    assert loaded(market, rows) == (5, 2, 2, 1)
    before = market.digest()
    report = market.load([rows], today=TODAY)
    assert (report.read, report.known, report.batch_id) == (5, 5, None)
    assert market.digest() == before
    assert market.batches().select("read", "accepted", "rejected", "known").rows() == [(5, 2, 2, 1)]
    sales = market.sales()
    assert sales.columns == [*COLUMNS, *DERIVED]
    assert sales["source"].unique().to_list() == ["notes"]
    assert sales["batch_id"].unique().to_list() == ["batch-0001"]
    quarantine = market.quarantine()
    assert quarantine["row_number"].to_list() == [4, 5]
    assert quarantine["broken_rules"].to_list() == [["amount_not_positive"], ["make_missing"]]
    assert '"amount":"-1"' in quarantine["raw"][0]


def test_only_the_rows_that_are_new_come_in(market: Market, tmp_path: Path) -> None:
    loaded(market, write(tmp_path / "notes.csv", {}))
    assert loaded(market, write(tmp_path / "notes.csv", {"amount": "7000"}, {})) == (2, 1, 0, 1)
    assert market.batches()["batch_id"].to_list() == ["batch-0001", "batch-0002"]


def test_as_of_hides_later_sales(market: Market, tmp_path: Path) -> None:
    loaded(market, write(tmp_path / "notes.csv", {}, {"event_date": "2024-06-01"}))
    assert market.sales(as_of=date(2024, 5, 31)).height == 1
    assert market.sales().height == 2


def test_a_load_of_several_files_is_all_or_nothing(market: Market, tmp_path: Path) -> None:
    good = write(tmp_path / "good.csv", {})
    (tmp_path / "bad.csv").write_text("make\nCorvane\n")
    with pytest.raises(TableError, match=r"bad.csv: the table has no column model, year"):
        market.load([good, tmp_path / "bad.csv"], today=TODAY)
    assert market.sales().is_empty() and market.batches().is_empty()


def test_hammer_prices_need_the_premium_of_the_source(market: Market, tmp_path: Path) -> None:
    lot = {"channel": "auction", "price_basis": "hammer", "amount": "10000"}
    rows = write(tmp_path / "hall.csv", lot)
    assert market.load([rows], today=TODAY).by_rule == {"premium_unknown": 1}
    names = "".join(f'{name} = "{name}"\n' for name in ROW)
    schedule = '[[premium]]\nfrom = 2020-01-01\ncurrency = "GBP"\ntax = 0.20\ntiers = [{ rate = 0.15 }]\n'
    mapping = tmp_path / "hall.csv.mapping.toml"
    mapping.write_text(f'source = "hall"\n[columns]\n{names}{schedule}')
    report = market.load([rows], today=TODAY)
    assert (report.accepted, report.rejected, report.known) == (1, 0, 0)
    assert market.quarantine().is_empty()
    assert str(market.sales()["price"].item()) == "13804.72"  # 11,800 GBP at 0.85478 to the euro


def test_a_premium_that_ended_is_kept_with_its_last_day(market: Market, tmp_path: Path) -> None:
    """Kept in the market and in its mapping alike: a later load prices nothing by it."""
    lot = {"channel": "auction", "price_basis": "hammer", "amount": "10000"}
    names = "".join(f'{name} = "{name}"\n' for name in ROW)
    schedule = '[[premium]]\nfrom = 2020-01-01\nuntil = {}\ncurrency = "GBP"\ntiers = [{{ rate = 0.15 }}]\n'
    rows, day = write(tmp_path / "hall.csv", lot), date.fromisoformat(ROW["event_date"])
    mapping = tmp_path / "hall.csv.mapping.toml"
    mapping.write_text(f'source = "hall"\n[columns]\n{names}{schedule.format(day)}')
    assert market.load([rows], today=TODAY).accepted == 1
    (kept,) = market.kept_mappings()
    assert [charge.valid_until for charge in kept.charges] == [day]
    after = {**lot, "event_date": str(day + timedelta(days=1)), "source_ref": "9"}
    later = write(tmp_path / "later.csv", after)
    (tmp_path / "later.csv.mapping.toml").write_text(f'source = "hall"\n[columns]\n{names}')
    assert market.load([later], today=TODAY).by_rule == {"premium_unknown": 1}


def test_unsold_lots_bound_the_price(market: Market, tmp_path: Path) -> None:
    lot = {
        "outcome": "unsold",
        "amount": None,
        "price_basis": "hammer",
        "highest_bid": "900",
        "reserve": "1000",
    }
    loaded(market, write(tmp_path / "notes.csv", {**lot, "low_estimate": "1100"}))
    price, lower, upper = market.sales().select(DERIVED).row(0)
    assert price is None and str(lower) == "1052.90" and str(upper) == "1169.89"


def text(content: str | bytes) -> Callable[[Path], Path]:
    """A maker of a file ``bad.csv`` with that content."""

    def make(folder: Path) -> Path:
        path = folder / "bad.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return make


def truncated_workbook(folder: Path) -> Path:
    """A workbook cut in half."""
    pl.DataFrame([ROW]).write_excel(folder / "bad.xlsx")
    whole = (folder / "bad.xlsx").read_bytes()
    (folder / "bad.xlsx").write_bytes(whole[: len(whole) // 2])
    return folder / "bad.xlsx"


def odd_name(folder: Path) -> Path:
    """A file of a kind that is not read."""
    (folder / "bad.docx").write_text("x")
    return folder / "bad.docx"


@pytest.mark.parametrize(
    ("make", "error", "message"),
    [
        (text(""), FileError, "is empty"),
        (text("\n\n"), FileError, "bad.csv"),
        (text("make,model\n"), FileError, "has a header and no rows"),
        (text("make;model\nCorvane;Six\n"), TableError, "no column year"),
        (text(b"\x89PNG\r\n\x1a\n\0\0\0"), FileError, "not a text file"),
        (lambda folder: folder, FileError, "is a folder"),
        (lambda folder: folder / "absent.csv", FileError, "does not exist"),
        (truncated_workbook, FileError, "not a readable workbook"),
        (odd_name, FileError, "of no kind that can be read"),
    ],
)
def test_a_file_that_is_no_good_is_one_line(
    market: Market, tmp_path: Path, make: Callable[[Path], Path], error: type[PricingError], message: str
) -> None:
    with pytest.raises(error, match=message) as caught:
        market.load([make(tmp_path)], today=TODAY)
    assert "\n" not in str(caught.value)
    assert market.sales().is_empty()


def test_latin_1_and_utf_16_are_found_out_and_a_wrong_statement_is_refused(
    market: Market, tmp_path: Path
) -> None:
    content = ",".join(ROW) + "\n" + ",".join((ROW | {"model": "Élan"}).values()) + "\n"
    for place, encoding in enumerate(("latin-1", "utf-16", "utf-8-sig")):
        (tmp_path / f"notes{place}.csv").write_bytes(content.encode(encoding))
        assert loaded(market, tmp_path / f"notes{place}.csv") == (1, 1, 0, 0)
    assert market.sales()["model"].unique().to_list() == ["Élan"]
    columns = "".join(f'{name} = "{name}"\n' for name in ROW)
    (tmp_path / "m.toml").write_text(f'source = "x"\nencoding = "utf-8"\n[columns]\n{columns}')
    with pytest.raises(FileError, match="not utf-8 text"):
        market.load([tmp_path / "notes0.csv"], mapping=tmp_path / "m.toml", today=TODAY)


def test_a_mapping_that_does_not_fit_says_so(market: Market, tmp_path: Path) -> None:
    rows = write(tmp_path / "notes.csv", {})
    (tmp_path / "notes.csv.mapping.toml").write_text('source = "notes"\n[columns]\nmake = "Marque"\n')
    with pytest.raises(MappingError, match="names columns that the table does not have: Marque"):
        market.load([rows], today=TODAY)


def test_lines_with_too_many_cells_are_kept_apart(market: Market, tmp_path: Path) -> None:
    path = write(tmp_path / "notes.csv", {}, {"amount": "5000"})
    path.write_text(path.read_text() + ",".join(ROW.values()) + ',surplus,"more"\n' + 'a "stray" quote\n')
    assert loaded(market, path) == (4, 2, 2, 0)
    assert market.quarantine()["broken_rules"].to_list()[0] == ["cells_beyond_header"]
    assert "surplus,more" in market.quarantine()["raw"][0]


def test_files_of_another_kind_are_refused(tmp_path: Path) -> None:
    (tmp_path / "text.duckdb").write_text("hello" * 1000)
    with pytest.raises(MarketError, match="no DuckDB database"):
        Market.open(tmp_path / "text.duckdb")
    with duckdb.connect(str(tmp_path / "other.duckdb")) as other:
        other.execute("CREATE TABLE market (kind INTEGER)").fetchall()
    with pytest.raises(MarketError, match="of another kind"):
        Market.open(tmp_path / "other.duckdb")
    with pytest.raises(MarketError, match="no such folder"):
        Market.open(tmp_path / "nowhere" / "market.duckdb")
    with pytest.raises(MarketError, match="does not exist"):
        Market.open(tmp_path / "absent.duckdb", create=False)
    with pytest.raises(MarketError):
        Market.open(tmp_path)


def test_the_base_currency_is_the_market_s_own(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb", base_currency="GBP")
    loaded(market, write(tmp_path / "notes.csv", {}))
    again = Market.open(tmp_path / "market.duckdb")
    assert again.base_currency == "GBP"
    assert str(again.sales()["price"].item()) == "4250.00"


def test_fits_are_kept_and_the_newest_comes_first(market: Market) -> None:
    with pytest.raises(MarketError, match="no fitted model; fit one first"):
        market.load_fit()
    assert market.store_fit(b"\0one", {"rows": 1}) == "fit-0001"
    assert market.store_fit(b"two", {"rows": 2}) == "fit-0002"
    assert market.load_fit() == (b"two", {"rows": 2})
    assert market.load_fit("fit-0001") == (b"\0one", {"rows": 1})
    assert market.fits()["fit_id"].to_list() == ["fit-0001", "fit-0002"]
    with pytest.raises(MarketError, match="no fitted model 'fit-0009'"):
        market.load_fit("fit-0009")


def test_progress_ends_where_the_rows_end(market: Market, tmp_path: Path) -> None:
    seen: list[tuple[str, int, int]] = []
    loaded(market, write(tmp_path / "notes.csv", {}, {}), progress=lambda *call: seen.append(call))
    assert seen == [("read", 2, 2), ("store", 2, 2)]


HOLDER = """
import sys, time, duckdb
with duckdb.connect(sys.argv[1]) as held:
    print("held", flush=True)
    time.sleep(float(sys.argv[2]))
"""


@contextmanager
def held(path: Path, seconds: float) -> Iterator[None]:
    """Another process has the file open for writing, for some seconds."""
    command = [sys.executable, "-c", HOLDER, str(path), str(seconds)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None and process.stdout.readline() == "held\n"
        try:
            yield
        finally:
            process.kill()


def test_a_second_process_waits_for_the_first(market: Market, tmp_path: Path) -> None:
    with held(market.path, 0.5):
        assert loaded(market, write(tmp_path / "notes.csv", {})) == (1, 1, 0, 0)


def test_patience_ends_with_one_clear_line(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb", timeout=0.2)
    with held(market.path, 600):
        with pytest.raises(MarketError, match="is in use by another process") as caught:
            market.sales()
        assert "\n" not in str(caught.value)


def test_threads_of_one_process_read_and_load_at_once(market: Market, tmp_path: Path) -> None:
    errors: list[Exception] = []
    stop = threading.Event()

    def read() -> None:
        while not stop.is_set():
            try:
                assert market.sales().height % 3 == 0
            except Exception as error:  # noqa: BLE001
                errors.append(error)
                return

    readers = [threading.Thread(target=read) for _ in range(4)]
    for reader in readers:
        reader.start()
    for load in range(5):
        rows = [{"amount": str(1000 + 10 * load + place)} for place in range(3)]
        assert loaded(market, write(tmp_path / "notes.csv", *rows)) == (3, 3, 0, 0)
    stop.set()
    for reader in readers:
        reader.join()
    assert errors == []


CELLS = st.one_of(
    st.none(), st.text(st.characters(codec="utf-8"), max_size=6), st.sampled_from(list(ROW.values()))
)
ROWS = st.lists(
    st.fixed_dictionaries({name: st.just(value) | CELLS for name, value in ROW.items()}), max_size=30
)


@settings(
    max_examples=6,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(ROWS)
def test_read_is_accepted_and_rejected_and_known(tmp_path: Path, rows: list[dict[str, str | None]]) -> None:
    path = tmp_path / "market.duckdb"
    path.unlink(missing_ok=True)
    market = Market.open(path)
    frame = pl.DataFrame([*rows, *rows[:3], ROW], schema=dict.fromkeys(ROW, pl.String))
    frame.write_parquet(tmp_path / "rows.parquet")
    wanted = frame.filter(~pl.all_horizontal(pl.all().is_null())).height
    report = market.load([tmp_path / "rows.parquet"], today=TODAY)
    assert report.read == report.accepted + report.rejected + report.known == wanted
    assert (market.sales().height, market.quarantine().height) == (report.accepted, report.rejected)
    again = market.load([tmp_path / "rows.parquet"], today=TODAY)
    assert (again.read, again.known) == (wanted, wanted)
