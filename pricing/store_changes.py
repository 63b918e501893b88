"""What a piece of work changed in a market file: found by holding the file before against the file after, so
that no writer has to tell and none can forget."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import duckdb
import polars as pl

from pricing.store_connection import frame
from pricing.store_server_text import TableLayout, layouts, lines_query

ROWS_AT_ONCE: Final = 100_000

COPIED: Final = "copied_entry"
"""The table of a local copy that says how far it goes; it is no part of the market."""


@dataclass(frozen=True)
class Change:
    """What became of one table: the digests of the rows that went, and the lines of those that came."""

    layout: TableLayout
    gone: pl.Series
    came: Callable[[], Iterable[pl.DataFrame]]
    """Frames of ``line`` and ``digest``; may be asked for again."""


def changes(opened: duckdb.DuckDBPyConnection) -> list[Change]:
    """What the transaction at hand changed. Rows alike are taken to have changed alike."""
    with opened.cursor() as before:  # sees the file as it was
        earlier = layouts(before)
        found = [
            _change(opened, before, layout, earlier.get(name)) for name, layout in layouts(opened).items()
        ]
    return [change for change in found if change is not None]


def whole(opened: duckdb.DuckDBPyConnection) -> list[Change]:
    """Every row of a market file, as what came into an empty one."""

    def lines(layout: TableLayout) -> Callable[[], Iterable[pl.DataFrame]]:
        return lambda: (
            pl.DataFrame(pl.from_arrow(batch))
            for batch in opened.sql(lines_query(layout)).to_arrow_reader(ROWS_AT_ONCE)
        )

    nothing = pl.Series(dtype=pl.String)
    return [
        Change(layout, nothing, lines(layout)) for name, layout in layouts(opened).items() if name != COPIED
    ]


def _change(
    opened: duckdb.DuckDBPyConnection,
    before: duckdb.DuckDBPyConnection,
    layout: TableLayout,
    earlier: TableLayout | None,
) -> Change | None:
    if layout.table == COPIED:
        return None
    now = _marks(opened, layout)
    then = now.clear() if earlier is None else _marks(before, earlier)
    came = _lines(opened, layout, now.join(then, on=now.columns, how="anti"))
    gone = came.clear()
    if earlier is not None:
        gone = _lines(before, earlier, then.join(now, on=now.columns, how="anti"))
    if not gone.is_empty():
        # A row taken out and put back as it was is no change.
        counts = (
            came.group_by("digest").len()
            .join(gone.group_by("digest").len(), on="digest", how="full", coalesce=True)
            .filter(pl.col("len").ne_missing(pl.col("len_right")))
        )  # fmt: skip
        came = came.join(counts, on="digest", how="semi", maintain_order="left")
        gone = gone.join(counts, on="digest", how="semi")
    if came.is_empty() and gone.is_empty() and layout == earlier:
        return None
    return Change(layout, gone["digest"].unique(), lambda: came.iter_slices(ROWS_AT_ONCE))


def _marks(opened: duckdb.DuckDBPyConnection, layout: TableLayout) -> pl.DataFrame:
    """Where each row stands and what it holds, in a number."""
    return frame(opened, f'SELECT rowid AS place, hash(*COLUMNS(*)) AS mark FROM "{layout.table}"')  # noqa: S608


def _lines(opened: duckdb.DuckDBPyConnection, layout: TableLayout, rows: pl.DataFrame) -> pl.DataFrame:
    if rows.is_empty():
        return pl.DataFrame(schema={"line": pl.String, "digest": pl.String})
    opened.register("wanted", rows)
    found = frame(opened, lines_query(layout, "WHERE rowid IN (SELECT place FROM wanted)"))
    opened.unregister("wanted")
    return found
