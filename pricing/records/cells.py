"""Cells of any type read as a wanted type, and the names of those that cannot be."""

from collections.abc import Collection, Mapping

import polars as pl

from pricing.clean_text import cleaned, cleaned_lines, is_no_text, is_odd
from pricing.vocabulary import FALSE, TRUE


def read_cells(
    frame: pl.DataFrame, types: Mapping[str, pl.DataType], *, lines: Collection[str] = ()
) -> pl.DataFrame:
    """Read every column of ``types`` from ``frame`` as its type; absent columns, blank cells and not-a-number
    are null.

    Text is read as plain numbers, ISO dates, yes/no, and lists parted by ``;``. It is cleaned of what shows
    nothing, and cannot be read where it holds what is no text (``clean_text``), but for columns of ``lines``.
    Added is ``unreadable``: for each row ``<column>_unreadable`` of the cells that say something which the
    type cannot hold.

    >>> cells = pl.DataFrame({"year": ["1968", "MCMLX", " "], "sold": ["yes", "no", "maybe"]})
    >>> read = read_cells(cells, {"year": pl.Int16(), "sold": pl.Boolean()})
    >>> read["year"].to_list(), read["sold"].to_list()
    ([1968, None, None], [True, False, None])
    >>> read["unreadable"].to_list()
    [[], ['year_unreadable'], ['sold_unreadable']]
    """
    words = pl.col(pl.Categorical, pl.Enum).cast(pl.String)
    frame = frame.select(name for name in types if name in frame.columns).with_columns(words)
    kinds = dict(frame.schema)
    odd = [name for name, of in kinds.items() if of == pl.String and is_odd(frame[name])]
    text = pl.col(pl.String)
    bare = (
        frame.lazy()
        .with_columns(text.str.strip_chars(), pl.col(pl.Float32, pl.Float64).fill_nan(None))
        .with_columns((cleaned_lines if name in lines else cleaned)(pl.col(name)) for name in odd)
    )
    stripped = bare.with_columns(pl.when(text != "").then(text)).collect()
    read = (
        stripped.lazy()
        .with_columns(
            (_as(kind, pl.col(name), kinds[name]) if name in kinds else pl.lit(None, dtype=kind)).alias(name)
            for name, kind in types.items()
        )
        .with_columns(
            pl.when(~is_no_text(pl.col(name))).then(name).alias(name)
            for name in odd
            if types[name] == pl.String and name not in lines
        )
        .select(*types)
        .collect()
    )
    lost = [
        (stripped[name].is_not_null() & read[name].is_null()).alias(f"{name}_unreadable")
        for name in kinds
        if stripped[name].null_count() < read[name].null_count()
    ]
    nothing = pl.lit([], dtype=pl.List(pl.String))
    if not lost:
        return read.with_columns(unreadable=nothing)
    names = pl.concat_list(pl.when(series.name).then(pl.lit(series.name)) for series in lost)
    return (
        read.with_columns(lost).with_columns(unreadable=names.list.drop_nulls()).select(*types, "unreadable")
    )


def raw_text(name: str, kind: pl.DataType) -> pl.Expr:
    """A column's cells of any type as text that loses nothing; lists of words are parted by ``;``.

    >>> frame = pl.DataFrame({"options": [["overdrive", "tow_bar"]], "seal": [b"\\x01\\xff"]})
    >>> frame.select(raw_text(name, kind) for name, kind in frame.schema.items()).row(0)
    ('overdrive;tow_bar', '01ff')
    """
    cell = pl.col(name)
    if kind == pl.List(pl.String):
        return cell.list.join(";")
    if kind == pl.Binary:
        return cell.bin.encode("hex")
    if kind == pl.Duration:
        return cell.dt.to_string()
    if kind.is_nested():
        return pl.struct(name).struct.json_encode().alias(name)
    return cell.cast(pl.String)


def _as(kind: pl.DataType, cell: pl.Expr, of: pl.DataType) -> pl.Expr:
    """A cell found in one type as another, null where it has no such value."""
    if of == kind:
        return pl.when(cell.is_finite()).then(cell) if kind == pl.Float64 else cell
    nothing, of_days = pl.lit(None, dtype=kind), of in (pl.Date, pl.Datetime)
    if not (of in (pl.String, pl.Boolean) or of.is_numeric() or of_days):
        return nothing
    if kind == pl.String:
        return cell.cast(pl.String)
    if kind == pl.List:
        words = pl.element().str.strip_chars()
        return cell.str.split(";").list.eval(words.filter(words != "")) if of == pl.String else nothing
    if kind == pl.Date:
        if of == pl.String:
            return cell.str.to_date("%Y-%m-%d", strict=False)
        return cell.cast(pl.Date) if of == pl.Datetime else nothing
    if kind == pl.Boolean and not of_days:
        word = cell.cast(pl.String).str.to_lowercase()
        return pl.when(word.is_in(TRUE)).then(True).when(word.is_in(FALSE)).then(False)
    if of_days or of == pl.Boolean:
        return nothing
    if isinstance(kind, pl.Decimal):
        return cell.cast(kind, strict=False)
    number = cell.cast(pl.Float64, strict=False)
    sound = number == number.floor() if kind.is_integer() else number.is_finite()
    return pl.when(sound).then(number).cast(kind, strict=False)
