"""The commands of intake, run as a person runs them."""

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from pricing.cli.main import app
from pricing.errors import PricingError
from pricing.store.market import Market
from tests.store.test_market import ROW, write

RUNNER = CliRunner()


def run(*arguments: str | Path, market: Path | None = None) -> str:
    """What a command prints; any error is raised."""
    given = [str(argument) for argument in arguments]
    where = [] if market is None else ["--market", str(market)]
    result: Result = RUNNER.invoke(app, [*given, *where], env={"COLUMNS": "200"})
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def market(tmp_path: Path) -> Path:
    """A market of one car asked for and sold, a misspelt make, and a broken row."""
    car = {"chassis_number": "CV/1234"}
    asking = {**car, "outcome": "asking", "price_basis": "asking", "event_date": "2024-04-01"}
    odd = [{"amount": str(5000 + place)} for place in range(4)] + [{"make": "Corvaine"}, {"amount": "-1"}]
    path = tmp_path / "market.duckdb"
    Market.open(path).load([write(tmp_path / "notes.csv", asking, car, *odd)])
    return path


def name_of(market: Path, make: str) -> str:
    """The record of a make."""
    sales = Market.open(market).sales()
    return str(sales.filter(sales["make"] == make)["record_id"][0])


def test_a_mapping_is_proposed_shown_and_written(tmp_path: Path) -> None:
    path = tmp_path / "hall.csv"
    path.write_text('Marque,Modell,Hammer\n=cmd,Six\x1b[2J,"£4,250"\n')
    shown = run("map", path, "--source", "The Hall")
    assert "First rows as they would land" in shown and "4250" in shown and "\x1b[2J" not in shown
    assert "To settle: [constants] country" in shown
    assert 'source = "The Hall"' in (tmp_path / "hall.csv.mapping.toml").read_text()
    with pytest.raises(PricingError, match="is there already"):
        run("map", path)
    assert "Written" not in run("map", path, "--no-write")


def test_names_are_listed_settled_and_forgotten(market: Path) -> None:
    assert "proposed" in run("names", market=market)
    assert "from now on" in run("names", "settle", "make", "corvaine", "Corvane", market=market)
    assert "settled" in run("names", market=market)
    assert "1 forgotten" in run("names", "forget", "make", "corvaine", market=market)
    assert "of its own" in run("names", "apart", "make", "Corvaine", market=market)
    with pytest.raises(PricingError, match="needs the name it stands for"):
        run("names", "settle", "make", "corvaine", market=market)
    with pytest.raises(PricingError, match="got 'merge'"):
        run("names", "merge", "make", "corvaine", market=market)


def test_batches_are_listed_and_undone(market: Path) -> None:
    assert "batch-0001" in run("batches", market=market)
    assert "7 records of batch-0001 are gone" in run("undo", "batch-0001", market=market)
    assert "undo" in run("batches", "--audit", market=market)


def test_quarantine_is_listed_and_exported(market: Path, tmp_path: Path) -> None:
    assert "amount_not_positive" in run("quarantine", market=market)
    assert "mend its rows" in run("quarantine", "--export", tmp_path / "mend", market=market)
    assert (tmp_path / "mend" / "01-notes.csv").exists()


def test_a_record_is_corrected_by_the_start_of_its_name(market: Path) -> None:
    name = name_of(market, "Corvaine")
    assert "make of" in run("correct", name[:12], "make=Corvane", "--reason", "a slip", market=market)
    assert set(Market.open(market).sales()["make"]) == {"Corvane"}
    with pytest.raises(PricingError, match="7 records have a name that starts with ''"):
        run("correct", "", "make=Corvane", "--reason", "a slip", market=market)


def test_double_records_are_listed_and_parted(market: Path) -> None:
    assert "listing that became a sale" in run("duplicates", market=market)
    front = str(Market.open(market).duplicates()["primary_id"][0])
    assert "1 links parted" in run("duplicates", "--part", front, market=market)
    assert "1 links hold again" in run("duplicates", "--rejoin", front, market=market)


def test_suspicions_are_found_and_settled(tmp_path: Path) -> None:
    rows = [{"chassis_number": "CV/1234", "odometer_km": "80000"}]
    rows.append({"chassis_number": "CV/1234", "odometer_km": "30000", "event_date": "2024-10-01"})
    path = tmp_path / "market.duckdb"
    Market.open(path).load([write(tmp_path / "notes.csv", *rows)])
    assert "odometer falls" in run("suspicions", market=path)
    name = str(Market.open(path).suspicions()["record_id"][0])
    settled = run("suspicions", "--settle", name, "--verdict", "a new instrument, papers seen", market=path)
    assert "1 settled" in settled
    assert "0 records to look at" in run("suspicions", market=path)


def test_own_rates_are_added(market: Path, tmp_path: Path) -> None:
    (tmp_path / "rates.csv").write_text("currency,rate_date,rate\nDEM,1990-01-01,1.95583\n")
    assert "1 rates added" in run("rates", tmp_path / "rates.csv", market=market)


def test_a_market_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    for command in ("batches", "quarantine", "names", "duplicates", "suspicions"):
        with pytest.raises(PricingError, match="no market file at"):
            run(command, market=tmp_path / "absent.duckdb")


def test_several_cells_are_corrected_at_once_as_people_write_them(market: Path) -> None:
    name = name_of(market, "Corvaine")
    cells = ("make=Corvane", "year='69", "amount=£4,750", "odometer-km=54k miles", "chassis_number=")
    assert "chassis_number of" in run("correct", name, *cells, "--reason", "the bill", market=market)
    sales = Market.open(market).sales(every_record=True)
    row = sales.filter(sales["record_id"] == name).row(0, named=True)
    assert [row[part] for part in ("make", "year", "odometer_km")] == ["Corvane", 1969, 86904.6]
    assert (row["amount"], row["currency"], row["chassis_number"]) == (4750, "GBP", None)
    for wrong, message in (("year", "typed as column=value"), ("year=1700", "year_out_of_range")):
        with pytest.raises(PricingError, match=message):
            run("correct", name, "make=Corvaine", wrong, "--reason", "a slip", market=market)
    assert Market.open(market).sales()["make"].unique().to_list() == ["Corvane"], "all or none"


def test_a_dry_run_leaves_the_market_as_it_is(tmp_path: Path) -> None:
    path = write(tmp_path / "notes.csv", ROW)
    assert "1 rows read: 1 accepted" in run("load", path, "--dry-run", market=tmp_path / "market.duckdb")
    assert Market.open(tmp_path / "market.duckdb").sales().is_empty()
