"""Cells of every type read as every type of the contract: nothing fails, nothing is lost unnamed."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

import polars as pl
import pytest

from pricing.records.cells import read_cells

FOUND = [
    pl.Series("cell", ["12", " ", None]),
    pl.Series("cell", [12, None]),
    pl.Series("cell", [12.5, float("nan"), float("inf"), None]),
    pl.Series("cell", [True, None]),
    pl.Series("cell", [date(2024, 5, 1), None]),
    pl.Series("cell", [datetime(2024, 5, 1, 12, tzinfo=UTC), None]),
    pl.Series("cell", [time(12), None]),
    pl.Series("cell", [timedelta(1), None]),
    pl.Series("cell", [Decimal("1.25"), Decimal(10**30), None]),
    pl.Series("cell", [b"12", None]),
    pl.Series("cell", [["12"], None]),
    pl.Series("cell", [{"a": 1}, None]),
    pl.Series("cell", ["12", None], dtype=pl.Categorical),
    pl.Series("cell", [None, None]),
]
KINDS = [
    pl.String(),
    pl.Int16(),
    pl.Float64(),
    pl.Boolean(),
    pl.Date(),
    pl.Decimal(18, 3),
    pl.List(pl.String()),
]


@pytest.mark.parametrize("kind", KINDS, ids=str)
@pytest.mark.parametrize("found", FOUND, ids=lambda series: str(series.dtype))
def test_any_type_is_read_as_any_other_or_named(found: pl.Series, kind: pl.DataType) -> None:
    read = read_cells(found.to_frame(), {"cell": kind})
    assert read.height == found.len() and read.schema["cell"] == kind
    for value, got, lost in zip(
        found.to_list(), read["cell"].to_list(), read["unreadable"].to_list(), strict=True
    ):
        blank = value is None or value == " " or value != value
        assert blank or (got is None) == (lost == ["cell_unreadable"])
        assert not blank or got is None


def test_values_survive_the_change_of_type() -> None:
    frame = pl.DataFrame(
        {"year": [1968.0, 1968.5], "options": ["a; b", ";"], "day": [datetime(2024, 5, 1, 9), None]}
    )
    read = read_cells(frame, {"year": pl.Int16(), "options": pl.List(pl.String()), "day": pl.Date()})
    assert read["year"].to_list() == [1968, None]
    assert read["options"].to_list() == [["a", "b"], []]
    assert read["day"].to_list() == [date(2024, 5, 1), None]
