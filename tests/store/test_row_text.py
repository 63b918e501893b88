"""Rows as text for PostgreSQL: every value that a market file can hold comes back as it was."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import duckdb
import polars as pl
import psycopg
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.errors import MarketError
from pricing.store.connection import run
from pricing.store.row_text import (
    copy_text,
    delete,
    insert,
    layouts,
    lines_query,
    read_lines,
    selected,
)
from pricing.store.schema import create_tables
from tests.postgres_server import PostgresServer

STATEMENT = (
    "CREATE TABLE things (words VARCHAR, small SMALLINT, whole INTEGER, large BIGINT, share DOUBLE, "
    '"column" BOOLEAN, "day" DATE, moment TIMESTAMP, bytes BLOB, options VARCHAR[], price DECIMAL(18, 3))'
)
with duckdb.connect() as _made:
    run(_made, STATEMENT)
    THINGS = layouts(_made)["things"]
TEXTS = st.text(
    st.characters(codec="utf-8", exclude_characters="\0") | st.sampled_from("\\\t\n\r\v\f\b\"'{},N"),
    max_size=8,
)
ROWS = st.tuples(
    *(
        st.none() | values
        for values in (
            st.lists(TEXTS | st.sampled_from(["\0", "\ue000", "0", "1"])).map("".join),
            st.integers(-(2**15), 2**15 - 1),
            st.integers(-(2**31), 2**31 - 1),
            st.integers(-(2**63), 2**63 - 1),
            st.floats(allow_nan=False),
            st.booleans(),
            st.dates(),
            st.datetimes(),
            st.binary(max_size=8),
            st.lists(st.none() | TEXTS, max_size=3),
            st.decimals(-(10**14), 10**14, places=3),
        )
    )
)


@pytest.fixture(scope="module")
def session(postgres: PostgresServer) -> Iterator[psycopg.Connection[Any]]:
    """A session with a server that has the table ``things``, with the settings of the store's sessions."""
    options = "-c datestyle=ISO -c bytea_output=hex"
    with psycopg.connect(postgres.database(), options=options, autocommit=True) as session:
        columns = ", ".join(f'"{name}" {kind}' for name, kind in THINGS.server_columns)
        session.execute(f"CREATE TABLE things ({columns}, row_digest uuid, entry bigint)".encode())
        yield session


@pytest.fixture(scope="module")
def opened() -> Iterator[duckdb.DuckDBPyConnection]:
    """A database that has the table ``things``."""
    with duckdb.connect() as opened:
        run(opened, STATEMENT)
        yield opened


def fill(opened: duckdb.DuckDBPyConnection, rows: Sequence[Sequence[Any]]) -> None:
    run(opened, "DELETE FROM things")
    if rows:
        opened.executemany(f"INSERT INTO things VALUES ({', '.join('?' * 11)})", rows)  # noqa: S608


def through_the_server(session: psycopg.Connection[Any], opened: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The rows of ``things``, copied to the server and back, as texts; they are there again afterwards."""
    session.execute("TRUNCATE things")
    with session.cursor() as cursor:
        with cursor.copy("COPY things FROM STDIN") as copy:
            copy.write(copy_text(opened.sql(lines_query(THINGS)).pl(), 7))
        with cursor.copy(f"COPY (SELECT {selected(THINGS)} FROM things) TO STDOUT".encode()) as copy:  # noqa: S608
            texts = read_lines([bytes(line) for line in copy], THINGS)
    run(opened, "DELETE FROM things")
    assert insert(opened, THINGS, texts).is_empty(), "each matches its digest"
    return texts


@settings(max_examples=20)
@given(rows=st.lists(ROWS, max_size=8))
def test_rows_come_back_as_they_were(
    session: psycopg.Connection[Any], opened: duckdb.DuckDBPyConnection, rows: list[tuple[Any, ...]]
) -> None:
    fill(opened, rows)
    everything = (
        f"SELECT t, l.digest FROM things AS t POSITIONAL JOIN ({lines_query(THINGS)}) AS l ORDER BY ALL"  # noqa: S608
    )
    before = run(opened, everything)
    texts = through_the_server(session, opened)
    assert run(opened, everything) == before
    assert delete(opened, THINGS, texts)
    assert run(opened, "FROM things") == []
    assert delete(opened, THINGS, texts) == (not rows)


def test_the_server_holds_real_values(
    session: psycopg.Connection[Any], opened: duckdb.DuckDBPyConnection
) -> None:
    moment = datetime(2024, 5, 1, 12, 30, 0, 5)
    row = ("a\tb\\N", 1968, -1, 2**40, 0.1, True, date(2024, 5, 1), moment, b"\0\\x",
           ["overdrive", 'a "b", {c}', None, ""], Decimal("4972.040"))  # fmt: skip
    fill(opened, [row])
    through_the_server(session, opened)
    held = session.execute("SELECT * FROM things").fetchone()
    assert held is not None and held[:-2] == row and held[-1] == 7


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf"), 5e-324, -0.0])
def test_odd_numbers_come_back(
    session: psycopg.Connection[Any], opened: duckdb.DuckDBPyConnection, number: float
) -> None:
    fill(opened, [(None,) * 4 + (number,) + (None,) * 6])
    through_the_server(session, opened)
    assert repr(run(opened, "SELECT share FROM things")) == repr([(number,)])


def test_the_character_nul_is_kept_in_texts_and_refused_in_lists(
    session: psycopg.Connection[Any], opened: duckdb.DuckDBPyConnection
) -> None:
    fill(opened, [("a\0b\ue0000",) + (None,) * 10])
    through_the_server(session, opened)
    assert run(opened, "SELECT words FROM things") == [("a\0b\ue0000",)]
    fill(opened, [(None,) * 9 + (["a\0b"], None)])
    with pytest.raises(MarketError, match="character NUL"):
        through_the_server(session, opened)


def test_a_digest_outlives_a_new_column() -> None:
    with duckdb.connect() as opened:
        opened.execute(STATEMENT).fetchall()
        opened.execute("INSERT INTO things (words) VALUES ('overdrive')").fetchall()
        before = opened.sql(lines_query(layouts(opened)["things"])).fetchall()[0]
        opened.execute("ALTER TABLE things ADD COLUMN remark VARCHAR").fetchall()
        after = opened.sql(lines_query(layouts(opened)["things"])).fetchall()[0]
    assert before[1] == after[1] and before[0] != after[0]


def test_every_table_of_a_market_has_columns_that_a_server_keeps() -> None:
    with duckdb.connect() as opened:
        create_tables(opened)
        kinds = {kind for layout in layouts(opened).values() for _, kind in layout.server_columns}
        assert {"text", "text[]", "bytea", "numeric(18,2)", "date"} <= kinds
        opened.execute("CREATE TABLE odd (thing STRUCT(a INTEGER))").fetchall()
        with pytest.raises(MarketError, match="column thing of table odd is of type STRUCT"):
            _ = layouts(opened)["odd"].server_columns
