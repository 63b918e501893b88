"""Tables as people draw them: under titles, several in a sheet, with rows of totals, of units and of remarks.

A grid is a sheet's or a file's cells as text, without a header. What is set aside is counted by its kind. A
mark for the same again takes the cell above it, and a heading over some of the rows becomes a column of
theirs.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import meanings, plain, plain_name
from pricing.intake.tables import drawn_rows
from pricing.intake.tables.drawn_rows import ROW, stripped
from pricing.intake.tables.layout import Parts

LOOKED_THROUGH: Final = 60
"""Rows at the top of a grid in which its first header is looked for."""

_UNIT: Final = re.compile(
    r"(?i)^[(\[]?(?:km|kms|miles?|mls|mil|mi|[£€$¥]|eur|gbp|usd|chf|sek|nok|dkk|kr|euro|pounds"
    r"|dd?[/.-]mm[/.-]yy(?:yy)?|mm[/.-]dd[/.-]yy(?:yy)?|tt[.]mm[.]jj(?:jj)?|jj[/]mm[/]aa(?:aa)?|yyyy|year|jahr"
    r"|y/n|yes/no|ja/nein|oui/non|text|code|number|nr|no|-|1-100|0-100|%)[)\]]?$"
)
Row = Sequence[str | None]

LINES_OVER: Final = 6
"""Rows over a header that are looked through for its title."""
_PART_OF: Final = re.compile(
    r"^(?:low|high|lower|upper|from|to|min|max|von|bis|unten|oben|bas|haut|basse|haute|da|a|de|hasta|van"
    r"|tot|lag|hog)$"
)


@dataclass(frozen=True)
class DrawnTable:
    """One table of a grid."""

    frame: pl.DataFrame
    """Its rows under its header, and ``row_number`` in the grid, counting from 1."""
    set_aside: Counter[str]
    """Rows that are none of its records, by kind: title, units, total, header, remark, heading, line."""


def header_row(rows: Sequence[Row]) -> int | None:
    """The place of the header among the first rows of a grid, or None where none looks like one.

    >>> header_row([["Results of the spring sale", None], ["Make", "Price"], ["Corvane", "4250"]])
    1
    """
    scored = [(_header_score(row), -place) for place, row in enumerate(rows[:LOOKED_THROUGH])]
    best, place = max(scored, default=(0.0, 0))
    if best <= 0:
        return None
    # The first row that is nearly as good: a header repeated on each printed page is one.
    return next(at for at, (score, _) in enumerate(scored) if score >= 0.9 * best)


def tables_in(grid: pl.DataFrame, header: int | None = None) -> list[DrawnTable]:
    """The tables of a grid; ``header`` is the place of the first header where it is known.

    >>> cells = [("Spring sale", None), ("Make", "Price"), ("Corvane", "4250"), ("Total", "4250")]
    >>> table = tables_in(pl.DataFrame(cells, schema=["a", "b"], orient="row"))[0]
    >>> table.frame.rows(), dict(table.set_aside)
    ([('Corvane', '4250', 3)], {'total': 1, 'title': 1})
    """
    rows: Sequence[Row] = grid.rows()
    first = header_row(rows) if header is None else header
    if first is None:
        first = next((place for place, row in enumerate(rows) if _filled(row)), 0)
    later = (place for place in range(first + 1, len(rows)) if _is_later_header(rows, first, place))
    starts = [first, *later]
    tables: list[DrawnTable] = []
    for start, end in zip(starts, [*starts[1:], len(rows)], strict=True):
        table = _table(grid, rows, start, end)
        if tables and _plain_row(rows[start]) == _plain_row(rows[first]):
            same = dict(zip(table.frame.columns, tables[0].frame.columns, strict=False))
            together = pl.concat([tables[0].frame, table.frame.rename(same)], how="diagonal")
            tables[0] = DrawnTable(together, tables[0].set_aside + table.set_aside + Counter(header=1))
        else:
            tables.append(table)
    titles = sum(1 for row in rows[:first] if _filled(row))
    tables[0] = DrawnTable(tables[0].frame, tables[0].set_aside + Counter(title=titles))
    return [table for table in tables if table.frame.height]


def parts_of(tables: Sequence[DrawnTable]) -> Parts:
    """Tables as a reader gives them."""
    total = sum(table.frame.height for table in tables)
    for table in tables:
        yield table.frame, total, table.set_aside


def grid_of(rows: Sequence[Row]) -> pl.DataFrame:
    """Rows of cells, some with fewer than others, as a grid.

    >>> grid_of([["a"], ["b", "c"]]).rows()
    [('a', None), ('b', 'c')]
    """
    width = max(map(len, rows), default=0)
    cells = [[*row, *[None] * (width - len(row))] for row in rows]
    return pl.DataFrame(cells, schema={f"cell {place}": pl.String for place in range(width)}, orient="row")


def unique_names(names: Sequence[str]) -> list[str]:
    """Names with repeated ones numbered, as polars does.

    >>> unique_names(["a", "b", "a", "a"])
    ['a', 'b', 'a_duplicated_0', 'a_duplicated_1']
    """
    seen: Counter[str] = Counter()
    unique = []
    for name in names:
        unique.append(name if not seen[name] else f"{name}_duplicated_{seen[name] - 1}")
        seen[name] += 1
    return unique


def _header_score(row: Row) -> float:
    """How like a header a row of cells is: known headings, each once, none of them long or a number."""
    cells = _texts(row)
    if len(cells) < 2:
        return 0.0
    known = (
        max(meanings(cell).values(), default=0.0) for cell in cells if len(cell) < 50 and not _number(cell)
    )
    hits = sum(likeness for likeness in known if likeness >= 0.75)
    numbers = sum(map(_number, cells))
    if hits < 2 or numbers > 0.2 * len(cells):
        return 0.0
    return hits - 0.5 * (len(cells) - hits) if hits < 3 else hits


def _number(cell: str) -> bool:
    return re.fullmatch(r"\W*\d[\d.,\s'/-]*\W*", cell) is not None


def _texts(row: Row) -> list[str]:
    """The cells of a row that hold something."""
    return [cell.strip() for cell in row if cell and cell.strip()]


def _filled(row: Row) -> int:
    return len(_texts(row))


def _plain_row(row: Row) -> list[str]:
    return [plain(cell or "") for cell in row]


def _is_later_header(rows: Sequence[Row], first: int, place: int) -> bool:
    """Whether a row is a further header below the first: the same again, or another table's below a gap."""
    row = rows[place]
    again = _filled(row) > 1 and _plain_row(row) == _plain_row(rows[first])
    return again or (_filled(rows[place - 1]) <= 1 and _header_score(row) >= 2.7)


def _table(grid: pl.DataFrame, rows: Sequence[Row], start: int, end: int) -> DrawnTable:
    counts: Counter[str] = Counter()
    names = [" ".join((cell or "").split()) for cell in rows[start]]
    if start and _filled(rows[start - 1]) > 1:
        names = _under_groups(names, rows[start - 1])
    first = start + 1
    if first < end and _is_units(rows[first]):
        names = [
            f"{name} ({unit.strip(' ()[]')})" if name and unit and unit.strip() not in ("-", "") else name
            for name, unit in zip(names, rows[first], strict=True)
        ]
        counts["units"] += 1
        first += 1
    frame = grid[first:end]
    filled = frame.select(stripped(name).is_not_null().any() for name in frame.columns).row(0)
    places = [place for place, name in enumerate(names) if name or filled[place]]
    headings = unique_names([plain_name(names[place] or f"column {place + 1}") for place in places])
    headings = [f"{name}_in_file" if name == ROW else name for name in headings]
    frame = frame.select(pl.nth(place).alias(name) for place, name in zip(places, headings, strict=True))
    frame = frame.with_columns(pl.int_range(first + 1, end + 1, dtype=pl.Int64, eager=True).alias(ROW))
    for kind, step in (
        ("line", drawn_rows.without_lines),
        (None, drawn_rows.same_again),
        (None, drawn_rows.without_blanks),
        ("heading", partial(drawn_rows.headings_over, title=_title(rows, start))),
        ("total", drawn_rows.without_sums),
    ):
        before = frame.height
        frame = step(frame, headings) if headings else frame
        if kind is not None:
            counts[kind] += before - frame.height
    frame, others = drawn_rows.set_aside(frame)
    return DrawnTable(_filled_down(frame, headings), +(counts + others))


def _title(rows: Sequence[Row], start: int) -> str:
    """What stands over the header of a table, in one line."""
    lines: list[str] = []
    for row in reversed(rows[max(0, start - LINES_OVER) : start]):
        if _filled(row) > 2:
            break
        lines.insert(0, ", ".join(_texts(row)))
    return ", ".join(filter(None, lines))


def _under_groups(names: list[str], above: Row) -> list[str]:
    """Headings such as low and high under the merged heading they belong to; where one stands above alone, as
    in two merged cells, that one."""
    group, grouped = "", []
    for name, over in zip(names, above, strict=False):
        own = " ".join((over or "").split())
        group = own or group
        grouped.append(f"{group} {name}" if group and _PART_OF.match(plain(name)) else name or own)
    return grouped + names[len(grouped) :]


def _is_units(row: Row) -> bool:
    cells = _texts(row)
    return bool(cells) and all(_UNIT.match(cell) for cell in cells)


def _filled_down(frame: pl.DataFrame, headings: list[str]) -> pl.DataFrame:
    """A make that stands once for the rows below it, as in merged cells, in each of them."""
    for name in headings:
        if meanings(name).get("make", 0.0) >= 0.95:
            cells = frame.select(stripped(name)).to_series()
            if cells.len() > 1 and cells[0] is not None and cells.null_count() >= 0.25 * cells.len():
                frame = frame.with_columns(cells.forward_fill().alias(name))
    return frame
