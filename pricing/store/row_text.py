"""Rows of a market file as the text that PostgreSQL copies in and out, for any table.

The form is that of ``COPY`` (PostgreSQL manual, "COPY", file format "text"): a line a row, tabs between,
``\\N`` for null, a backslash before what would be mistaken. DuckDB writes the lines, so that a row costs no
Python.
"""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import polars as pl

from pricing.errors import MarketError
from pricing.store.connection import Opened, frame, quoted, run, value

_SERVER_TYPES: Final = {
    "VARCHAR": "text",
    "SMALLINT": "smallint",
    "INTEGER": "integer",
    "BIGINT": "bigint",
    "DOUBLE": "double precision",
    "BOOLEAN": "boolean",
    "DATE": "date",
    "TIMESTAMP": "timestamp",
    "BLOB": "bytea",
    "VARCHAR[]": "text[]",
}
"""DuckDB's types that a market file uses, as PostgreSQL's."""

_ESCAPED: Final = {
    "\\b": "\b", "\\f": "\f", "\\n": "\n", "\\r": "\r", "\\t": "\t", "\\v": "\v", "\\\\": "\\",
}  # fmt: skip

_MARK: Final = "\ue000"
"""In front of what PostgreSQL's text cannot hold: the character NUL goes there as the mark and 0, the mark
itself, which Unicode leaves to private use, as the mark and 1."""


@dataclass(frozen=True)
class TableLayout:
    """A table: the statement that makes it in a market file, and its columns' names and DuckDB types."""

    table: str
    statement: str
    columns: tuple[tuple[str, str], ...]

    @property
    def server_columns(self) -> list[tuple[str, str]]:
        """Columns' names and PostgreSQL types. Raises ``MarketError`` for a type that has none."""
        columns = []
        for name, kind in self.columns:
            of_server = _SERVER_TYPES.get(kind, kind.replace("DECIMAL(", "numeric("))
            if of_server == kind:
                where = f"column {name} of table {self.table}"
                raise MarketError(f"{where} is of type {kind}, which no server keeps")
            columns.append((name, of_server))
        return columns


def layouts(opened: Opened) -> dict[str, TableLayout]:
    """Every table of a market file."""
    columns: dict[str, list[tuple[str, str]]] = {}
    for table, name, kind in run(
        opened,
        "SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE NOT internal "
        "AND database_name = current_database() ORDER BY table_name, column_index",
    ):
        columns.setdefault(table, []).append((name, kind))
    statements = run(
        opened,
        "SELECT table_name, sql FROM duckdb_tables() WHERE database_name = current_database() "
        "ORDER BY table_name",
    )
    return {table: TableLayout(table, statement, tuple(columns[table])) for table, statement in statements}


def lines_query(layout: TableLayout, rows: str = "") -> str:
    """A query that gives rows as ``line`` and the line's ``digest``; ``rows`` is a WHERE clause.

    The digest leaves out what is null, so that a column added later changes none.

    >>> import duckdb
    >>> with duckdb.connect() as opened:
    ...     _ = opened.execute("CREATE TABLE notes (words VARCHAR, year SMALLINT)")
    ...     _ = opened.execute("INSERT INTO notes VALUES ('two' || chr(10) || 'lines', 1968), ('', NULL)")
    ...     opened.sql(lines_query(layouts(opened)["notes"])).pl()["line"].to_list()
    ['two\\\\nlines\\t1968', '\\t\\\\N']
    """
    texts = ", ".join(f"{_as_text(name, kind)} AS {quoted(name)}" for name, kind in layout.columns)
    cells = ", ".join(f"coalesce({quoted(name)}, '\\N')" for name, _ in layout.columns)
    named = ", ".join(f"'{name}=' || {quoted(name)}" for name, _ in layout.columns)
    return (
        f"SELECT concat_ws(chr(9), {cells}) AS line, md5(concat_ws(chr(9), {named})) AS digest "  # noqa: S608
        f"FROM (SELECT {texts} FROM {quoted(layout.table)} {rows})"
    )


def copy_text(lines: pl.DataFrame, entry: int) -> bytes:
    """Lines and digests, with the number of the entry they come with, as ``COPY`` takes them. Raises
    ``MarketError`` for a list with a text that holds the character NUL, which PostgreSQL does not keep."""
    if lines["line"].str.contains("\0", literal=True).any():
        raise MarketError("a list holds a text with the character NUL, which a server cannot keep")
    written = io.BytesIO()
    lines.select("line", "digest", entry=pl.lit(entry)).write_csv(
        written, include_header=False, separator="\t", quote_style="never"
    )
    return written.getvalue()


DIGEST: Final = "row_digest"
"""The server's column with the digest of each row, as the program that wrote it found it."""


def selected(layout: TableLayout) -> str:
    """What to select of the server's table, so that ``read_lines`` can read it."""
    columns = [
        f"to_json({quoted(name)})" if kind == "VARCHAR[]" else quoted(name) for name, kind in layout.columns
    ]
    return ", ".join([*columns, f"replace({DIGEST}::text, '-', '')"])


def read_lines(lines: Iterable[bytes | bytearray | memoryview], layout: TableLayout) -> pl.DataFrame:
    """Lines that ``COPY`` gave, as texts with their ``row_digest``; ``insert`` and ``delete`` take them."""
    texts = {name: pl.String() for name, _ in layout.columns} | {DIGEST: pl.String()}
    # A first column that is never empty keeps the reader from skipping a row of one empty cell.
    content = b"-\t".join((b"", *lines))
    if not content:
        return pl.DataFrame(schema=texts)
    read = pl.read_csv(
        content,
        separator="\t",
        has_header=False,
        quote_char=None,
        schema={"-": pl.String(), **texts},
        null_values=["\\N"],
        empty_string_is_null=False,
    ).drop("-")
    escaped = read.select(pl.all().str.contains("\\", literal=True).any()).row(0)
    odd = [name for name, is_odd in zip(read.columns, escaped, strict=True) if is_odd]
    words = [name for name, kind in layout.columns if kind == "VARCHAR"]
    read = read.with_columns(pl.col(odd).str.replace_many(_ESCAPED))
    return read.with_columns(pl.col(words).str.replace_many({f"{_MARK}0": "\0", f"{_MARK}1": _MARK}))


def insert(opened: Opened, layout: TableLayout, texts: pl.DataFrame) -> pl.DataFrame:
    """Add rows, given as texts, to a table; gives those that do not match their digest and are left out."""
    cells = ", ".join(f"'{name}=' || {_as_text(name, kind)}" for name, kind in layout.columns)
    places = frame(
        opened,
        f'SELECT "#place" FROM (SELECT {_typed(layout)}, "#place", {DIGEST} AS "#digest" FROM texts) '  # noqa: S608
        f'WHERE "#digest" IS DISTINCT FROM md5(concat_ws(chr(9), {cells})) ORDER BY "#place"',
        texts=texts.with_row_index("#place"),
    )["#place"]
    other = texts[places]
    if not other.is_empty():
        texts = texts.with_row_index("#place").filter(~pl.col("#place").is_in(places.implode()))
    names = ", ".join(quoted(name) for name, _ in layout.columns)
    statement = f"INSERT INTO {quoted(layout.table)} ({names}) SELECT {_typed(layout)} FROM texts"  # noqa: S608
    run(opened, statement, texts=texts)
    return other


def delete(opened: Opened, layout: TableLayout, texts: pl.DataFrame) -> bool:
    """Take rows, given as texts, out of a table; whether they were all there. Rows alike go together."""
    columns = [quoted(name) for name, _ in layout.columns]
    same = " AND ".join(f"rows.{name} IS NOT DISTINCT FROM deleted.{name}" for name in columns)
    deleted = value(
        opened,
        f"DELETE FROM {quoted(layout.table)} AS rows USING (SELECT {_typed(layout)} FROM texts) AS deleted "  # noqa: S608
        f"WHERE {same}",
        texts=texts,
    )
    return int(deleted) >= texts.height


def _typed(layout: TableLayout) -> str:
    casts = {
        "VARCHAR": '"{}"',
        "BLOB": 'TRY(unhex(substr("{}", 3)))',
        "VARCHAR[]": 'from_json("{}", \'["VARCHAR"]\')',
    }  # what is no such value is null, and does not match its digest
    return ", ".join(
        casts.get(kind, f'TRY_CAST("{{}}" AS {kind})').format(name) + f" AS {quoted(name)}"
        for name, kind in layout.columns
    )


def _as_text(name: str, kind: str) -> str:
    """A column as the text of ``COPY``; null stays null."""
    column = quoted(name)
    if kind == "VARCHAR":
        mark = f"chr({ord(_MARK)})"
        return _escaped(f"replace(replace({column}, {mark}, {mark} || '1'), chr(0), {mark} || '0')")
    if kind == "BLOB":
        return f"'\\\\x' || lower(hex({column}))"
    if kind == "VARCHAR[]":
        inner = "coalesce('\"' || replace(replace(cell, '\\', '\\\\'), '\"', '\\\"') || '\"', 'NULL')"
        cells = f"list_aggregate(list_transform({column}, lambda cell: {inner}), 'string_agg', ',')"
        array = _escaped(f"'{{' || coalesce({cells}, '') || '}}'")
        return f"CASE WHEN {column} IS NOT NULL THEN {array} END"
    return f"CAST({column} AS VARCHAR)"


def _escaped(text: str) -> str:
    replaced = f"replace({text}, '\\', '\\\\')"
    for code, letter in ((9, "t"), (10, "n"), (13, "r")):
        replaced = f"replace({replaced}, chr({code}), '\\{letter}')"
    return replaced
