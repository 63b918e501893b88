"""What a piece of work changed in a market file: found by holding the file before against the file after, so
that no writer has to tell and none can forget."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pricing.store.connection import Opened, frame, quoted
from pricing.store.copying import ROWS_AT_ONCE, market_tables
from pricing.store.row_text import TableLayout, lines_query


@dataclass(frozen=True)
class TableChange:
    """What became of one table: the digests of the deleted rows, and the lines of the inserted."""

    layout: TableLayout
    deleted: pl.Series
    inserted: Callable[[], Iterable[pl.DataFrame]]
    """Frames of ``line`` and ``digest``; may be asked for again."""


def changes(opened: Opened) -> list[TableChange]:
    """What the transaction at hand changed. Rows alike are taken to have changed alike."""
    with opened.cursor() as before:  # sees the file as it was
        tables, earlier = market_tables(opened), market_tables(before)
        names = sorted(tables)
        now, then = _marks(opened, names, tables), _marks(before, names, earlier)
        inserted, deleted = (
            now.join(then, on=now.columns, how="anti"),
            then.join(now, on=now.columns, how="anti"),
        )
        touched = {*inserted["nth"].unique().to_list(), *deleted["nth"].unique().to_list()}
        made = []
        for nth, name in enumerate(names):
            layout, old = tables[name], earlier.get(name)
            if nth in touched or layout != old:
                added = _lines(opened, layout, inserted.filter(nth=nth))
                taken = added.clear() if old is None else _lines(before, old, deleted.filter(nth=nth))
                made.append(_net(layout, added, taken))
    return made


def whole(opened: Opened) -> list[TableChange]:
    """Every row of a market file, as what came into an empty one."""

    def lines(layout: TableLayout) -> Callable[[], Iterable[pl.DataFrame]]:
        return lambda: (
            pl.DataFrame(pl.from_arrow(batch))
            for batch in opened.sql(lines_query(layout)).to_arrow_reader(ROWS_AT_ONCE)
        )

    nothing = pl.Series(dtype=pl.String)
    return [TableChange(layout, nothing, lines(layout)) for layout in market_tables(opened).values()]


def _net(layout: TableLayout, inserted: pl.DataFrame, deleted: pl.DataFrame) -> TableChange:
    """A row taken out and put back as it was is no change."""
    if not deleted.is_empty():
        counts = (
            inserted.group_by("digest").len()
            .join(deleted.group_by("digest").len(), on="digest", how="full", coalesce=True)
            .filter(pl.col("len").ne_missing(pl.col("len_right")))
        )  # fmt: skip
        inserted = inserted.join(counts, on="digest", how="semi", maintain_order="left")
        deleted = deleted.join(counts, on="digest", how="semi")
    return TableChange(layout, deleted["digest"].unique(), lambda: inserted.iter_slices(ROWS_AT_ONCE))


def _marks(opened: Opened, names: Sequence[str], tables: Mapping[str, TableLayout]) -> pl.DataFrame:
    """Of every row of every table where it stands, and in a number what it holds."""
    rows = [
        f"SELECT {nth}::SMALLINT AS nth, rowid AS place, hash(*COLUMNS(*)) AS mark FROM {quoted(name)}"  # noqa: S608
        for nth, name in enumerate(names)
        if name in tables
    ]
    return frame(opened, " UNION ALL ".join(rows))


def _lines(opened: Opened, layout: TableLayout, rows: pl.DataFrame) -> pl.DataFrame:
    if rows.is_empty():
        return pl.DataFrame(schema={"line": pl.String, "digest": pl.String})
    return frame(opened, lines_query(layout, "WHERE rowid IN (SELECT place FROM wanted)"), wanted=rows)
