"""Parquet files: metadata looked at first, long texts counted before they are written out, types that a frame
can hold."""

from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Final

import polars as pl
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet

from pricing.errors import FileError
from pricing.intake.tables.layout import Layout, Parts, numbered
from pricing.untrusted.limits import Limits

BATCH_ROWS: Final = 50_000
"""Rows read at a time, on one thread: a compact file of a million sales then stays within the memory that its
size allows, which threads that read ahead do not."""

DEEPEST: Final = 20
"""Types within types."""

EPOCH: Final = date(1970, 1, 1)
_UNITS: Final = {"ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}


def read_parquet(path: Path, layout: Layout, limits: Limits) -> Parts:
    """The rows of a parquet file, part by part, and how many there are in all."""
    with pa.OSFile(str(path)) as opened:
        metadata = pa.parquet.ParquetFile(opened).metadata
        if metadata.num_rows == 0:
            raise FileError(f"{path} holds no rows")
        schema = metadata.schema.to_arrow_schema()
        if len(schema) > limits.read_columns:
            raise FileError(
                f"{path} has {len(schema):,} columns and may have at most {limits.read_columns:,}"
            )
        for column in schema:
            if max(depth for _, depth in _types(column.type)) > DEEPEST:
                raise FileError(f"{path}: {column.name[:40]!r} is nested deeper than {DEEPEST} types")
        texts = [column.name for column in schema if _is_text(column.type)]
        file = pa.parquet.ParquetFile(opened, read_dictionary=texts, pre_buffer=False)
        done, out, most = 0, 0, limits.bytes_out(path.stat().st_size)
        for batch in _batches(file):
            batch.validate(full=True)  # text that is no UTF-8, codes without a text
            out += sum(
                _coded_bytes(path, *named, limits) for named in zip(batch.schema.names, batch, strict=True)
            )
            if out > most:
                raise FileError(f"{path}: its texts come to more than {most:,} bytes, far more than its size")
            frame = pl.from_arrow(
                pa.record_batch([_plain(column) for column in batch], names=batch.schema.names)
            )
            if isinstance(frame, pl.DataFrame):
                frame = numbered(frame.with_columns(_days_in_range(frame)), done + 1)
                yield frame, metadata.num_rows, Counter()
                done += frame.height


def _batches(file: pa.parquet.ParquetFile) -> Iterator[pa.RecordBatch]:
    """Every batch of a file, a reader for each group of rows, as it keeps all the dictionaries it has read;
    small groups together, of which a file may have as many as rows."""
    groups, rows, last = list[int](), 0, file.metadata.num_row_groups - 1
    for group in range(last + 1):
        groups.append(group)
        rows += file.metadata.row_group(group).num_rows
        if rows < BATCH_ROWS and group < last:
            continue
        batches = file.iter_batches(batch_size=BATCH_ROWS, row_groups=groups, use_threads=False)
        if len(groups) == 1:
            yield from batches
        else:
            yield from pa.Table.from_batches(batches).combine_chunks().to_batches()
        groups, rows = [], 0


def _coded_bytes(path: Path, name: str, column: pa.Array, limits: Limits) -> int:
    """Bytes that a column's coded texts come to once each is written out, told from their dictionary."""
    if _is_list(column.type):
        column = column.flatten()
    if not pa.types.is_dictionary(column.type):
        if any(pa.types.is_dictionary(kind) for kind, _ in _types(column.type)):
            raise FileError(f"{path}: {name[:40]!r} holds coded texts inside of structures; write them out")
        return 0
    if not _is_text(column.type.value_type):
        return 0
    lengths = pc.binary_length(column.dictionary)
    longest = pc.max(lengths).as_py()
    if longest is not None and longest > limits.read_cell:
        raise FileError(
            f"{path}: {name[:40]!r} has a cell of {longest:,} bytes and may have at most {limits.read_cell:,}"
        )
    total = pc.sum(pc.cast(pc.take(lengths, column.indices), pa.int64())).as_py()
    return 0 if total is None else int(total)


def _plain(column: pa.Array) -> pa.Array:
    """A column as a type that a frame can hold: codes written out, decimals of over 38 digits as text."""
    if isinstance(column, pa.ExtensionArray):
        column = column.storage
    if pa.types.is_dictionary(column.type):
        return column.dictionary_decode()
    if _is_list(column.type) and pa.types.is_dictionary(column.type.value_type):
        return pc.cast(column, pa.large_list(column.type.value_type.value_type))
    if pa.types.is_decimal256(column.type):
        return pc.cast(column, pa.string())
    if pa.types.is_nested(column.type) and any(_unsayable(kind) for kind, _ in _types(column.type)):
        return pa.array([_sayable(value) for value in column.to_pylist()])
    return column


def _unsayable(kind: pa.DataType) -> bool:
    """What JSON, in which a row waits in quarantine, has no words for."""
    return bool(pa.types.is_map(kind) or pa.types.is_binary(kind) or pa.types.is_large_binary(kind))


def _sayable(value: object) -> object:
    """Maps as lists of their keys and values, bytes in hexadecimal, what stands in them likewise."""
    if isinstance(value, dict):
        return {name: _sayable(inner) for name, inner in value.items()}
    if isinstance(value, tuple):
        return {"key": _sayable(value[0]), "value": _sayable(value[1])}
    if isinstance(value, list):
        return [_sayable(inner) for inner in value]
    return value.hex() if isinstance(value, bytes) else value


def _days_in_range(frame: pl.DataFrame) -> list[pl.Series]:
    """Columns of dates of which some lie outside the years 1 to 9999, as text that says so."""
    in_range = []
    first, last = (date.min - EPOCH).days, (date.max - EPOCH).days
    for column in frame.select(pl.selectors.date() | pl.selectors.datetime()):
        unit = getattr(column.dtype, "time_unit", None)
        days = column.to_physical().cast(pl.Int64)
        days = days if unit is None else days // (86_400 * _UNITS[unit])
        outside = ~days.is_between(first, last)
        if outside.any():
            within = column.set(outside, None).cast(pl.String)
            far = "day " + days.cast(pl.String) + " from 1970-01-01"
            in_range.append(within.zip_with(~outside.fill_null(value=False), far).alias(column.name))
    return in_range


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _is_list(kind: pa.DataType) -> bool:
    return bool(pa.types.is_list(kind) or pa.types.is_large_list(kind))


def _types(kind: pa.DataType, depth: int = 1) -> Iterator[tuple[pa.DataType, int]]:
    """A type and those within it, each with how deep it stands."""
    yield kind, depth
    for place in range(kind.num_fields):
        yield from _types(kind.field(place).type, depth + 1)
