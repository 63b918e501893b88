"""Tables: each row once, every insert by the names of its columns, and no table made anywhere else."""

import ast
import gzip
import shutil
from datetime import date
from decimal import Decimal
from pathlib import Path

import duckdb
import pytest

from pricing.store.kept.appraisals import Draft
from pricing.store.market import Market
from pricing.store.schema import TABLES
from pricing.untrusted.photographs import ReadPhotograph
from tests.opinion_market import cells
from tests.store.test_market import write

STORE = Path(__file__).parents[2] / "pricing/store"


@pytest.fixture(scope="module")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("filled") / "market.duckdb"
    path.write_bytes(gzip.decompress(Path(__file__).with_name("market_version_2.duckdb.gz").read_bytes()))
    market = Market.open(path, create=False)
    market.statements.add(cells())
    car_id = market.kept_cars.keep("green", {"make": "Corvane"})
    market.kept_cars.note_price(car_id, Decimal(4650), "EUR", date(2026, 5, 1))
    market.kept_cars.add_photo(car_id, b"seen")
    shot = ReadPhotograph("d" * 64, b"seen", b"shown", "JPEG", 4, 3, None, ("place",))
    market.appraisals.keep([Draft("{}", None, None, "A. Clerk", "seen", photographs=[shot])])
    market.profiles.keep("valuer", "desk", "{}")
    return path


@pytest.fixture
def filled(filled_once: Path, tmp_path: Path) -> Market:
    """A market with rows in every table."""
    return Market.open(shutil.copy(filled_once, tmp_path / "market.duckdb"), create=False)


@pytest.mark.parametrize("name", [name for name, table in TABLES.items() if table.key])
def test_no_row_is_there_twice(filled: Market, name: str) -> None:
    with duckdb.connect(str(filled.path)) as opened:
        assert opened.execute(f"SELECT count(*) FROM {name}").fetchall() != [(0,)]  # noqa: S608
        with pytest.raises(duckdb.ConstraintException, match="Duplicate key"):
            opened.execute(f"INSERT INTO {name} SELECT * FROM {name}")  # noqa: S608


def test_what_a_row_must_hold_it_holds(filled: Market) -> None:
    with duckdb.connect(str(filled.path)) as opened:
        for column in ("record_id", "make", "event_date", "file"):
            with pytest.raises(duckdb.ConstraintException, match="NOT NULL"):
                opened.execute(f"UPDATE records SET {column} = NULL")  # noqa: S608


def test_a_load_keeps_every_record_once(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    file = write(tmp_path / "notes.csv", {}, {}, {"amount": "4700"}, {"amount": "-1"}, {"amount": "-1"})
    assert market.load([file, file]).accepted == 2
    assert market.load([file]).known == 5
    more = write(tmp_path / "more.csv", {}, *({"amount": f"{5000 + nth}"} for nth in range(40)))
    market.load([more])
    with duckdb.connect(str(market.path)) as opened:
        for name in ("records", "quarantine"):
            key = TABLES[name].key[0]
            total, kinds = opened.execute(f"SELECT count(*), count(DISTINCT {key}) FROM {name}").fetchall()[0]  # noqa: S608
            assert total == kinds > 0
            with pytest.raises(duckdb.ConstraintException):
                opened.execute(f"INSERT INTO {name} SELECT * FROM {name}")  # noqa: S608


def test_a_column_more_breaks_no_write(filled: Market, tmp_path: Path) -> None:
    with duckdb.connect(str(filled.path)) as opened:
        opened.execute("DROP INDEX records_key; DROP INDEX quarantine_key")
        for name in TABLES:
            opened.execute(f"ALTER TABLE {name} ADD COLUMN added_later VARCHAR")
        opened.execute("CREATE UNIQUE INDEX records_key ON records (record_id)")
        opened.execute("CREATE UNIQUE INDEX quarantine_key ON quarantine (quarantine_id)")
    assert filled.load([write(tmp_path / "notes.csv", {}, {"amount": "-1"})]).accepted == 1
    record = filled.sales()["record_id"][0]
    filled.correct(record, {"year": "1967"}, reason="seen on the plate", today=date(2026, 6, 30))
    filled.settle_name("make", "Corvan", "Corvane")
    (tmp_path / "rates.csv").write_text("currency,rate_date,rate\nGBP,2025-01-01,0.8\nGBP,2024-07-01,0.9\n")
    assert filled.add_rates(tmp_path / "rates.csv") == 2 and filled.own_rates().height == 3
    assert filled.store_fit(b"three", {"rows": 5}) == "fit-0003"
    filled.keep_settings({"country": "SE"})
    filled.choices.keep("my car", [(record, "drop", None, None, "a wreck")])
    filled.scores.keep("fit-0003", "state", {}, b"scores")
    filled.tokens.new("another desk", "read")
    draft = Draft("{}", "{}", "d9", "A. Valuer", "entered", changes=[("a", "", "b")])
    assert filled.appraisals.keep([draft]) == [("appraisal-0003", 1)]


def test_tables_are_made_in_one_place() -> None:
    """The server's own tables and the note that a local copy keeps are no tables of a market."""
    others = {"schema.py", "row_text.py", "server.py", "transaction_lock.py", "turn.py", "copy.py"}
    texts = {path.name: path.read_text(encoding="utf-8") for path in STORE.rglob("*.py")}
    assert {name for name, text in texts.items() if "CREATE TABLE" in text} <= others
    assert not [name for name, text in texts.items() if "CatalogException" in text and name != "opening.py"]
    assert not [name for name, text in texts.items() if "CREATE TABLE IF NOT EXISTS" in text]


def test_every_insert_names_its_columns() -> None:
    for path in STORE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Constant)
                and isinstance(node.value, str)
                and "INSERT INTO " in node.value
            ):
                for part in node.value.split("INSERT INTO ")[1:]:
                    table = part.split()[0] if part.strip() else ""
                    named = part.removeprefix(table).lstrip().startswith(("(", "BY NAME"))
                    assert not table or named or table in ("pricing.version", "notes"), (path.name, part)
