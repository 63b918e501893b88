"""Tables as people draw them: under titles, several in a sheet, with rows of totals, of units and of remarks.

A grid is a sheet's or a file's cells as text, without a header. What is set aside is counted by its kind. A
mark for the same again takes the cell above it, and a heading over some of the rows becomes a column of
theirs.
"""

import re
from collections import Counter
from dataclasses import dataclass
from typing import Final

import polars as pl

from pricing.intake.mappings.headings import meanings, plain, plain_name
from pricing.intake.tables.drawn_rows import (
    ROW,
    headings_over,
    same_again,
    set_aside,
    without_lines,
    without_sums,
)

LOOKED_THROUGH: Final = 60
"""Rows at the top of a grid in which its first header is looked for."""

_UNIT: Final = re.compile(
    r"(?i)^[(\[]?(?:km|kms|miles?|mls|mil|mi|[£€$¥]|eur|gbp|usd|chf|sek|nok|dkk|kr|euro|pounds"
    r"|dd?[/.-]mm[/.-]yy(?:yy)?"
    r"|mm[/.-]dd[/.-]yy(?:yy)?|tt[.]mm[.]jj(?:jj)?|jj[/]mm[/]aa(?:aa)?|yyyy|year|jahr|y/n|yes/no|ja/nein"
    r"|oui/non|text|code"
    r"|number|nr|no|-|1-100|0-100|%)[)\]]?$"
)
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


def header_row(rows: list[list[str | None]]) -> int | None:
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
    rows = [list(row) for row in grid.iter_rows()]
    first = header_row(rows) if header is None else header
    if first is None:
        first = next((place for place, row in enumerate(rows) if _filled(row)), 0)
    starts = [first, *_later_headers(rows, first)]
    tables: list[DrawnTable] = []
    for start, end in zip(starts, [*starts[1:], len(rows)], strict=True):
        same = tables and [plain(cell or "") for cell in rows[start]] == [
            plain(cell or "") for cell in rows[starts[0]]
        ]
        table = _table(grid, rows, start, end)
        if not same:
            tables.append(table)
            continue
        frame = table.frame.rename(dict(zip(table.frame.columns, tables[0].frame.columns, strict=False)))
        together = pl.concat([tables[0].frame, frame], how="diagonal")
        tables[0] = DrawnTable(together, tables[0].set_aside + table.set_aside + Counter({"header": 1}))
    if tables and first:
        titles = sum(1 for row in rows[:first] if _filled(row))
        tables[0] = DrawnTable(tables[0].frame, tables[0].set_aside + Counter({"title": titles}))
    return [table for table in tables if table.frame.height]


def _header_score(row: list[str | None]) -> float:
    """How like a header a row of cells is: known headings, each once, none of them long or a number."""
    cells = [cell.strip() for cell in row if cell and cell.strip()]
    if len(cells) < 2:
        return 0.0
    known = [
        max(meanings(cell).values(), default=0.0) for cell in cells if len(cell) < 50 and not _number(cell)
    ]
    hits = sum(likeness for likeness in known if likeness >= 0.75)
    numbers = sum(map(_number, cells))
    if hits < 2 or numbers > 0.2 * len(cells):
        return 0.0
    return hits - 0.5 * (len(cells) - hits) if hits < 3 else hits


def _number(cell: str) -> bool:
    return re.fullmatch(r"\W*\d[\d.,\s'/-]*\W*", cell) is not None


def _filled(row: list[str | None]) -> int:
    return sum(1 for cell in row if cell and cell.strip())


def _later_headers(rows: list[list[str | None]], first: int) -> list[int]:
    """Places of further headers below the first: the same again, or another table's below a gap."""
    headers = []
    own = [plain(cell or "") for cell in rows[first]]
    for place in range(first + 1, len(rows)):
        row = rows[place]
        if not row or _filled(row) < 2:
            continue
        if [plain(cell or "") for cell in row] == own:
            headers.append(place)
        elif _filled(rows[place - 1]) <= 1 and _header_score(row) >= 2.7:
            headers.append(place)
    return headers


def _table(grid: pl.DataFrame, rows: list[list[str | None]], start: int, end: int) -> DrawnTable:
    told: Counter[str] = Counter()
    names = [" ".join((cell or "").split()) for cell in rows[start]]
    above = rows[start - 1] if start else []
    if above and _filled(above) > 1:
        names = _under_groups(names, above)
    first = start + 1
    if first < end and _is_units(rows[first]):
        names = [
            f"{name} ({unit.strip(' ()[]')})" if name and unit and unit.strip() not in ("-", "") else name
            for name, unit in zip(names, rows[first], strict=True)
        ]
        told["units"] += 1
        first += 1
    frame = grid[first:end].with_columns(pl.int_range(first + 1, end + 1, dtype=pl.Int64).alias(ROW))
    cells = frame.columns[:-1]
    held = [
        name for name in cells if frame[name].str.strip_chars().replace("", None).null_count() < frame.height
    ]
    places = [place for place, name in enumerate(cells) if names[place] or name in held]
    headings = _unique([plain_name(names[place] or f"column {place + 1}") for place in places])
    headings = [f"{name}_in_file" if name == ROW else name for name in headings]
    frame = frame.select(
        *(pl.col(cells[place]).alias(heading) for place, heading in zip(places, headings, strict=True)), ROW
    )
    frame, drawn = without_lines(frame, headings)
    told["line"] += drawn
    frame = same_again(frame, headings)
    blank = pl.all_horizontal(pl.col(name).str.strip_chars().replace("", None).is_null() for name in headings)
    frame = frame.filter(~blank) if headings else frame
    frame, over = headings_over(frame, headings, _title(rows, start))
    told["heading"] += over
    frame, sums = without_sums(frame, headings)
    told["total"] += sums
    frame, others = set_aside(frame)
    return DrawnTable(_filled_down(frame, headings), +(told + others))


def _title(rows: list[list[str | None]], start: int) -> str:
    """What stands over the header of a table, in one line."""
    lines: list[str] = []
    for row in reversed(rows[max(0, start - LINES_OVER) : start]):
        if _filled(row) > 2:
            break
        lines.insert(0, ", ".join(cell.strip() for cell in row if cell and cell.strip()))
    return ", ".join(filter(None, lines))


def _under_groups(names: list[str], above: list[str | None]) -> list[str]:
    """Headings such as low and high under the merged heading they belong to; where one stands above alone, as
    in two merged cells, that one."""
    group, found = "", []
    for name, over in zip(names, above, strict=False):
        own = " ".join((over or "").split())
        group = own or group
        found.append(f"{group} {name}" if group and _PART_OF.match(plain(name)) else name or own)
    return found + names[len(found) :]


def _is_units(row: list[str | None]) -> bool:
    cells = [cell.strip() for cell in row if cell and cell.strip()]
    return bool(cells) and all(_UNIT.match(cell) for cell in cells)


def _filled_down(frame: pl.DataFrame, headings: list[str]) -> pl.DataFrame:
    """A make that stands once for the rows below it, as in merged cells, in each of them."""
    for name in headings:
        if meanings(name).get("make", 0.0) >= 0.95:
            cells = frame[name].str.strip_chars().replace("", None)
            if cells.len() > 1 and cells[0] is not None and cells.null_count() >= 0.25 * cells.len():
                frame = frame.with_columns(cells.forward_fill().alias(name))
    return frame


def _unique(names: list[str]) -> list[str]:
    """Names with repeated ones numbered."""
    seen: Counter[str] = Counter()
    unique = []
    for name in names:
        unique.append(name if not seen[name] else f"{name}_duplicated_{seen[name] - 1}")
        seen[name] += 1
    return unique
