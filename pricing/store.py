"""The market file: one DuckDB file with the records, their batches, the quarantine and the saved fits.

A connection lives as long as one question or one load, so that several processes can work on a market at
once.
"""

import hashlib
import json
from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing import store_tables
from pricing.errors import MarketError
from pricing.records import COLUMNS
from pricing.store_connection import PATIENCE_SECONDS, connection, frame, run
from pricing.store_loading import LoadReport, Progress, load_files

DERIVED: Final = ("price", "lower_price", "upper_price")
"""Columns of ``Market.sales`` beside the contract's: all-in, in the market's base currency at the event
date."""

Facts = dict[str, str | float | int]


class Market:
    """One market file, opened by ``Market.open``.

    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> notes = Path(folder.name) / "notes.csv"
    >>> _ = notes.write_text(
    ...     "make,model,year,channel,country,outcome,event_date,amount,currency,price_basis\\n"
    ...     "Corvane,Six,1968,private,GB,sold,2024-05-01,4250,GBP,all-in\\n"
    ...     "Corvane,Six,1968,private,GB,sold,2024-05-02,-1,GBP,all-in\\n"
    ... )
    >>> market = Market.open(Path(folder.name) / "market.duckdb")
    >>> report = market.load([notes])
    >>> report.read, report.accepted, report.rejected, report.known, report.by_rule
    (2, 1, 1, 0, {'amount_not_positive': 1})
    >>> market.sales()["price"].to_list()
    [Decimal('4972.04')]
    >>> market.load([notes]).known
    2
    >>> folder.cleanup()
    """

    def __init__(self, path: Path, base_currency: str, patience: float) -> None:
        """Use ``Market.open``."""
        self.path = path
        self.base_currency = base_currency
        self._patience = patience

    @classmethod
    def open(
        cls,
        path: str | Path,
        *,
        base_currency: str = "EUR",
        create: bool = True,
        patience: float = PATIENCE_SECONDS,
    ) -> "Market":
        """Open a market file; with ``create`` make it when absent, its prices in ``base_currency`` (ISO
        4217).

        An existing market keeps the base currency it was made with. ``patience``: seconds that any later call
        waits for another process that uses the file. Raises ``MarketError`` for a file of another kind.
        """
        path = Path(path)
        if not path.exists():
            if not create:
                raise MarketError(
                    f"{path} does not exist; a market file comes into being by loading records into it"
                )
            store_tables.create(path, base_currency)
        return cls(path, store_tables.base_currency_of(path, patience), patience)

    def load(
        self,
        paths: Iterable[str | Path],
        *,
        mapping: Path | None = None,
        progress: Progress | None = None,
        today: date | None = None,
    ) -> LoadReport:
        """Bring files in, as one batch: all of them or, after any error, none.

        ``mapping`` is a mapping file for all of them; without it each file's own is used,
        ``<file>.mapping.toml`` beside it, and a file without one must have the contract's columns.
        ``progress`` is called with a stage, rows done and rows in all. Events after ``today`` (now, by
        default) are rejected. Rows that the market has already, accepted or in quarantine, are known and
        change nothing.

        Raises ``FileError``, ``TableError``, ``MappingError`` for a file, ``MarketError`` for the market.
        """
        day = datetime.now(UTC).date() if today is None else today
        return load_files(
            self.path,
            [Path(path) for path in paths],
            mapping,
            self.base_currency,
            day,
            progress,
            self._patience,
        )

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        """The records, oldest first: the contract's columns and ``DERIVED``; events up to ``as_of`` only."""
        return self._frame(
            f"SELECT {', '.join((*COLUMNS, *DERIVED))} FROM records "  # noqa: S608 - fixed names
            "WHERE event_date <= coalesce(?, DATE '9999-12-31') ORDER BY event_date, record_id",
            [as_of],
        )

    def quarantine(self) -> pl.DataFrame:
        """Rejected rows that wait to be mended: where each came from, the rules it broke, its cells as
        JSON."""
        return self._frame(
            "SELECT quarantine_id, batch_id, source, file, row_number, broken_rules, raw FROM quarantine "
            "WHERE settled_by IS NULL ORDER BY file, row_number, quarantine_id"
        )

    def batches(self) -> pl.DataFrame:
        """Every load, oldest first, with what it read, accepted, rejected and knew already."""
        return self._frame("SELECT * FROM batches ORDER BY batch_id")

    def digest(self) -> str:
        """A fingerprint of the records and their prices: equal for markets that hold the same."""
        (text,) = self._row(
            "SELECT string_agg(concat_ws('|', record_id, price, lower_price, upper_price), ';' "
            "ORDER BY record_id) FROM records"
        )
        return hashlib.sha256(str(text).encode()).hexdigest()

    def store_fit(self, payload: bytes, facts: Facts) -> str:
        """Keep a fitted model's bytes and the facts about it; returns the name it is kept under."""
        at = datetime.now(UTC).replace(tzinfo=None)
        with connection(self.path, write=True, patience=self._patience) as opened:
            count = run(opened, "SELECT count(*) + 1 FROM fits")[0][0]
            fit_id = f"fit-{count:04d}"
            run(opened, "INSERT INTO fits VALUES (?, ?, ?, ?)", [fit_id, at, json.dumps(facts), payload])
            run(opened, "INSERT INTO audit VALUES (?, 'fit', ?, ?)", [at, fit_id, json.dumps(facts)])
        return fit_id

    def load_fit(self, fit_id: str | None = None) -> tuple[bytes, Facts]:
        """A kept model and its facts, the newest by default; ``MarketError`` when there is none."""
        with connection(self.path, patience=self._patience) as opened:
            rows = run(
                opened,
                "SELECT payload, facts FROM fits WHERE fit_id = coalesce(?, fit_id) "
                "ORDER BY fit_id DESC LIMIT 1",
                [fit_id],
            )
        if not rows:
            named = "no fitted model" if fit_id is None else f"no fitted model {fit_id!r}"
            raise MarketError(f"{self.path} holds {named}; fit one first")
        payload, facts = rows[0]
        return bytes(payload), json.loads(facts)

    def fits(self) -> pl.DataFrame:
        """The kept models, oldest first: fit_id, fitted_at, facts (JSON)."""
        return self._frame("SELECT fit_id, fitted_at, facts FROM fits ORDER BY fit_id")

    def _frame(self, query: str, values: list[Any] | None = None) -> pl.DataFrame:
        with connection(self.path, patience=self._patience) as opened:
            return frame(opened, query, values)

    def _row(self, query: str, values: list[Any] | None = None) -> tuple[Any, ...]:
        with connection(self.path, patience=self._patience) as opened:
            return tuple(run(opened, query, values)[0])
