"""A market on a server: every program sees the same through its own copy, whatever was done where."""

import logging
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import polars as pl
import psycopg
import pytest

from pricing.errors import MarketError, ServerAwayError
from pricing.store.connection import connection, run
from pricing.store.copying import market_tables
from pricing.store.kept.appraisals import Draft
from pricing.store.market import Market
from pricing.store.postgres import copy as store_copy
from pricing.untrusted.photographs import ReadPhotograph
from tests.postgres_server import PostgresServer
from tests.store.test_market import TODAY, write

_BYTES = b"\xff\xd8\xff\0\\N\n\t"
SHOT = ReadPhotograph(
    sha256(_BYTES).hexdigest(), _BYTES, b"\t\0", "JPEG", 4, 3, None, ("place", 'it\'s, "so"')
)


CAR = {"chassis_number": "CX1968"}


def contents(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table of a market, through the door that all questions take."""
    with connection(path) as opened:
        return {
            table: run(opened, f'SELECT * FROM "{table}" ORDER BY ALL')  # noqa: S608
            for table in market_tables(opened)
        }


def rows(folder: Path, *cells: dict[str, Any]) -> Path:
    """A file of records."""
    return write(folder / "notes.csv", *cells)


@pytest.mark.soak
def test_what_one_desk_does_the_other_sees(desk: Callable[[str], Market], tmp_path: Path) -> None:
    here, there = desk("here"), desk("there")
    assert here.path != there.path
    first = rows(
        tmp_path, CAR | {"amount": "4000"}, CAR | {"amount": "4000", "channel": "dealer"}, {"amount": "-1"}
    )
    (tmp_path / "rates.csv").write_text("currency,rate_date,rate\nGBP,2024-01-01,0.8\n")
    record = ""

    def correct(market: Market) -> None:
        market.correct(record, {"year": "1967"}, reason="seen on the plate", today=TODAY)

    steps: list[Callable[[Market], Any]] = [
        lambda market: market.load([first], today=TODAY),
        lambda market: market.load([rows(tmp_path, CAR | {"amount": "4500"})], today=TODAY),
        correct,
        lambda market: market.unlink(record),
        lambda market: market.relink(record),
        lambda market: market.settle_name("make", "Corvan", "Corvane"),
        lambda market: market.forget_name("make", "Corvan"),
        lambda market: market.add_rates(tmp_path / "rates.csv"),
        lambda market: market.mark_suspicions(
            pl.DataFrame({"record_id": [record], "reason": ["odd"], "detail": ["a\tb\\n\n'\"ü"]})
        ),
        lambda market: market.settle_suspicion(record, "\\N"),
        lambda market: market.store_fit(b"\0\\N\n\xff", {"rows": 3}),
        lambda market: market.keep_settings({"country": "IE", "nothing": None}),
        lambda market: market.keep_settings({"country": "\0"}),
        lambda market: market.choices.keep("car", [(record, "leave out", None, -0.1, "another car")]),
        lambda market: market.appraisals.keep(
            [Draft("{}", '{"a": "\\n"}', "d1", "anna", "first", photographs=[SHOT])]
        ),
        lambda market: market.undo("batch-0002"),
        lambda market: market.load([rows(tmp_path, CAR | {"amount": "4500"})], today=TODAY),
    ]
    after = contents(here.path)
    for number, step in enumerate(steps):
        writer, reader = (here, there) if number % 2 == 0 else (there, here)
        step(writer)
        before, after = after, contents(writer.path)
        assert after != before, f"step {number} changed nothing"
        assert contents(reader.path) == after, f"after step {number}"
        record = record or reader.duplicates()["record_id"][0]
    assert there.load_fit() == (b"\0\\N\n\xff", {"rows": 3})
    assert here.state().settings == {"country": "\0"}
    assert here.appraisals.revision("appraisal-0001").evidence == '{"a": "\\n"}'
    assert here.photographs.original(SHOT.digest) == SHOT.content
    assert there.photographs.shown([SHOT.digest]) == {SHOT.digest: SHOT.shown}
    assert here.state() == there.state()
    late = desk("late")
    assert contents(late.path) == after
    assert late.digest() == there.digest() == here.digest()


def test_the_numbers_are_those_of_a_market_file(desk: Callable[[str], Market], small_market: Market) -> None:
    shared, sales = desk("here"), small_market.path.with_suffix(".parquet")
    report = shared.load([sales])
    assert (report.accepted, report.linked) == (small_market.sales(every_record=True).height, report.linked)
    assert shared.digest() == small_market.digest()
    assert shared.sales().equals(small_market.sales())


def test_records_and_batches_are_tables_of_the_server(
    desk: Callable[[str], Market], tmp_path: Path, address: str
) -> None:
    market = desk("here")
    market.load([rows(tmp_path, {"amount": "4000"}, {"amount": "5000"})], today=TODAY)
    market.load([rows(tmp_path, {"amount": "6000"})], today=TODAY)
    market.undo("batch-0001")
    with psycopg.connect(address) as session:
        standing = session.execute(
            "SELECT batch_id, price, options FROM market.records WHERE until_entry IS NULL"
        ).fetchall()
        undone = session.execute(
            "SELECT amount FROM market.records WHERE batch_id = 'batch-0001' AND until_entry IS NOT NULL "
            "ORDER BY amount"
        ).fetchall()
        batches = session.execute(
            "SELECT batch_id, accepted, undone_at IS NOT NULL FROM market.batches WHERE until_entry IS NULL "
            "ORDER BY batch_id"
        ).fetchall()
        # The market as it stood after the first load, which nothing that came later has erased.
        then = session.execute(
            "SELECT count(*) FROM market.records WHERE since_entry <= 2 AND coalesce(until_entry, 9) > 2"
        ).fetchall()
    (sale,) = market.sales().rows(named=True)
    assert standing == [("batch-0002", sale["price"], [])]
    assert [int(amount) for (amount,) in undone] == [4000, 5000]
    assert batches == [("batch-0001", 2, True), ("batch-0002", 1, False)]
    assert then == [(2,)]


def test_a_dry_run_and_a_failed_write_leave_server_and_copies_as_they_were(
    desk: Callable[[str], Market], tmp_path: Path, address: str
) -> None:
    here, there = desk("here"), desk("there")
    there.load([rows(tmp_path, {"amount": "1000"})], today=TODAY)
    report = here.load([rows(tmp_path, {}, {"amount": "1000"})], today=TODAY, dry_run=True)
    assert (report.accepted, report.known) == (1, 1)
    with pytest.raises(MarketError, match="no batch 'batch-0007'"):
        here.undo("batch-0007")
    with pytest.raises(ZeroDivisionError), connection(here.path, write=True) as opened:
        run(opened, "DELETE FROM records")
        raise ZeroDivisionError
    with psycopg.connect(address) as session:
        assert session.execute("SELECT count(*) FROM pricing.entries").fetchone() == (2,)
    assert here.sales().height == there.sales().height == 1


@pytest.mark.soak
def test_a_copy_that_was_deleted_comes_back(desk: Callable[[str], Market], tmp_path: Path) -> None:
    market = desk("here")
    market.load([rows(tmp_path, {})], today=TODAY)
    before = market.digest()
    market.path.unlink()
    assert market.digest() == before
    market.path.unlink()
    assert market.load([rows(tmp_path, {}, {"amount": "4000"})], today=TODAY).accepted == 1
    shutil.rmtree(market.path.parent)
    assert market.sales().height == 2
    shutil.rmtree(tmp_path / "here")
    assert market.undo("batch-0002") == 1
    assert desk("there").digest() == market.digest() == before


@pytest.mark.soak
def test_a_copy_knows_its_server_in_a_process_that_is_given_its_path_alone(
    desk: Callable[[str], Market], tmp_path: Path
) -> None:
    here, there = desk("here"), desk("there")
    program = (
        "import sys; from pathlib import Path; from datetime import date; "
        "from pricing.store.market import Market; "
        "Market.open(Path(sys.argv[1])).load([sys.argv[2]], today=date(2025, 6, 30))"
    )
    words: list[str | Path] = [sys.executable, "-c", program, here.path, rows(tmp_path, {})]
    subprocess.run(words, check=True, env=os.environ | {"PRICING_COPIES": str(here.path.parents[1])})
    assert there.sales().height == 1


@pytest.fixture
def stopped(postgres: PostgresServer, desk: Callable[[str], Market], tmp_path: Path) -> Iterator[Market]:
    """A market whose server was stopped."""
    market = desk("here")
    market.load([rows(tmp_path, {})], today=TODAY)
    postgres.stop()
    yield market
    postgres.start()


def test_while_the_server_is_away_reading_goes_on_and_writing_is_refused(
    stopped: Market,
    desk: Callable[[str], Market],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr("pricing.store.postgres.transaction_lock.AWAY_SECONDS", 0.2)
    with caplog.at_level(logging.WARNING):
        assert stopped.sales().height == 1
        assert desk("here").batches().height == 1
    assert len(caplog.records) == 1 and "answers are from the local copy" in caplog.text
    with pytest.raises(ServerAwayError, match="cannot be reached") as caught:
        stopped.load([rows(tmp_path, {"amount": "4000"})], today=TODAY)
    assert "\n" not in str(caught.value)
    with pytest.raises(ServerAwayError, match="cannot be reached"):
        desk("without a copy")


@pytest.mark.soak
def test_a_server_that_was_restored_to_an_earlier_state_is_believed(
    postgres: PostgresServer,
    desk: Callable[[str], Market],
    tmp_path: Path,
    address: str,
    caplog: pytest.LogCaptureFixture,
) -> None:
    here, there = desk("here"), desk("there")
    here.load([rows(tmp_path, {})], today=TODAY)
    assert there.sales().height == 1
    name = address.split("/")[3].split("?")[0]
    store_copy.server_of(here.path).sessions.close()
    store_copy.server_of(there.path).sessions.close()
    postgres.do(f"CREATE DATABASE kept TEMPLATE {name}")
    here.load([rows(tmp_path, {"amount": "4000"}, {"amount": "5000"})], today=TODAY)
    store_copy.server_of(here.path).sessions.close()
    postgres.do(f"DROP DATABASE {name} WITH (FORCE)")
    postgres.do(f"ALTER DATABASE kept RENAME TO {name}")
    there.load([rows(tmp_path, {"amount": "6000"})], today=TODAY)
    with caplog.at_level(logging.WARNING):
        assert here.sales().height == 2
    assert "made anew" in caplog.text
    assert contents(here.path) == contents(there.path)
    store_copy.server_of(here.path).sessions.close()
    store_copy.server_of(there.path).sessions.close()
    postgres.do(f"DROP DATABASE {name} WITH (FORCE)")
    postgres.do(f"CREATE DATABASE {name}")
    with pytest.raises(MarketError, match="keeps no market.*copy"):
        here.sales()


@pytest.mark.soak
def test_a_table_with_a_new_column_reaches_every_copy(desk: Callable[[str], Market], tmp_path: Path) -> None:
    here, there = desk("here"), desk("there")
    here.load([rows(tmp_path, {}, {"amount": "-1"})], today=TODAY)
    assert there.sales().height == 1
    with connection(here.path, write=True) as opened:
        run(opened, "ALTER TABLE batches ADD COLUMN remark VARCHAR")
    with connection(there.path, write=True) as opened:
        run(opened, "UPDATE batches SET remark = 'checked'")
    assert contents(here.path) == contents(there.path)
    with connection(here.path) as opened:
        assert run(opened, "SELECT remark FROM batches") == [("checked",)]
    assert there.undo("batch-0001") == 1
    assert contents(here.path) == contents(there.path) == contents(desk("late").path)


def test_a_statement_that_does_more_than_make_its_table_is_refused(
    desk: Callable[[str], Market], address: str
) -> None:
    desk("here")
    with psycopg.connect(address) as session:
        session.execute(
            "UPDATE pricing.layouts SET statement = statement || '; DROP TABLE market' WHERE name = 'fits'"
        )
    with pytest.raises(MarketError, match="does not make it"):
        desk("there")


def test_what_was_changed_by_hand_is_named_and_set_aside_for_every_copy_alike(
    desk: Callable[[str], Market], tmp_path: Path, address: str, caplog: pytest.LogCaptureFixture
) -> None:
    here, there = desk("here"), desk("there")
    amounts = [{"amount": str(4000 + 100 * place)} for place in range(8)]
    here.load([rows(tmp_path, *amounts)], today=TODAY)
    before = contents(there.path)
    changes = (
        "UPDATE market.records SET amount = 1 WHERE amount = 4000",
        "UPDATE market.records SET amount = 'NaN' WHERE amount = 4100",
        "UPDATE market.records SET event_date = '0044-03-15 BC' WHERE amount = 4200",
        "UPDATE market.records SET options = ARRAY['overdrive'] WHERE amount = 4300",
        "INSERT INTO market.own_rates (currency, rate_date, rate, row_digest, since_entry) "
        "VALUES ('GBP', '2024-01-01', 9, gen_random_uuid(), 2)",
    )
    with psycopg.connect(address) as session:
        for statement in changes:
            session.execute(statement.encode())
    assert contents(there.path) == before, "a copy that is up to date has what was written"
    with caplog.at_level(logging.WARNING):
        late = desk("late")
        found = contents(late.path)
    assert "market.records: record_id" in caplog.text and "set aside" in caplog.text
    assert contents(here.path) == contents(there.path) == found == contents(desk("later").path)
    assert late.sales().height == 4 and late.own_rates().is_empty()
    waiting = late.quarantine()
    assert waiting.height == 4 and waiting["broken_rules"].explode().unique().to_list() == [
        "changed_on_the_server"
    ]
    audit = late.audit().filter(action="set aside")["subject"].to_list()
    assert len(audit) == 2 and any("own_rates" in line for line in audit)
    assert there.load([rows(tmp_path, *amounts)], today=TODAY).accepted == 4, "the file brings them back"
    assert late.sales().height == 8
    assert contents(here.path) == contents(there.path) == contents(late.path) == contents(desk("new").path)


@pytest.mark.soak
def test_a_market_most_of_which_is_not_as_it_was_written_is_refused(
    desk: Callable[[str], Market], tmp_path: Path, address: str
) -> None:
    here = desk("here")
    here.load([rows(tmp_path, *({"amount": str(4000 + place)} for place in range(50)))], today=TODAY)
    with psycopg.connect(address) as session:
        session.execute("UPDATE market.records SET amount = amount + 1")
    with pytest.raises(MarketError, match=r"50 of 50 rows of market\.records are not as they were written"):
        desk("late").sales()
    assert here.sales().height == 50
