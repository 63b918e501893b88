"""Statements for tests: the bands of a modest, plentiful small saloon (common practice, no source), said of
an invented car."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.market import Market

COMMON_BANDS: Final = {
    "project": (None, "1000"),
    "solid restorable": ("1000", "2000"),
    "average": ("3000", "5000"),
    "top condition": ("8000", "10000"),
}
SAID: Final = {
    "source": "A. Rowe", "standing": "restores them", "stated_on": "2026-05-01", "make": "Corvane",
    "model": "Six", "currency": "EUR", "price_basis": "all-in", "holds": "eight in ten",
}  # fmt: skip


def cells(bands: Mapping[str, tuple[str | None, str | None]] = COMMON_BANDS, **said: Any) -> pl.DataFrame:
    """Statements as a person types them, one a band."""
    rows = [
        SAID | said | {"condition_band": band, "low": low, "high": high}
        for band, (low, high) in bands.items()
    ]
    return pl.DataFrame(rows, infer_schema_length=None).cast(pl.String)


def opinion_market(path: Path) -> Market:
    """A market that holds nothing but those statements."""
    market = Market.open(path)
    market.statements.add(cells())
    return market
