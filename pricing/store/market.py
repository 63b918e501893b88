"""The market file: one DuckDB file with the records, their batches, the quarantine and the saved fits.

A connection lives as long as one question or one load, so that several processes can work on a market at
once.
"""

import json
from collections.abc import Iterable, Mapping
from datetime import date
from functools import partial
from html import escape
from pathlib import Path
from typing import Self

import polars as pl

from pricing.errors import MarketError
from pricing.intake.mappings.mapping import Mapping as Columns
from pricing.intake.written.cars import CarNames
from pricing.progress import Progress, untold
from pricing.store.audit import now, today_or, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import TIMEOUT_SECONDS, add_row, connection, next_name, value
from pricing.store.kept.answers import IdempotencyKey, KeptAnswers, keep_result
from pricing.store.kept.appraisals import Appraisals
from pricing.store.kept.cars import StoredCars
from pricing.store.kept.choices import Choices
from pricing.store.kept.opinions import StoredStatements
from pricing.store.kept.photographs import KeptPhotographs
from pricing.store.kept.profiles import Profiles
from pricing.store.kept.scores import StoredScores
from pricing.store.kept.tokens import Tokens
from pricing.store.market_paths import market_path
from pricing.store.opening import base_currency_of, create_file
from pricing.store.records import history, links, names, terms, waiting
from pricing.store.records.loading import LoadReport, load_files
from pricing.store.records.sales import digest, read_sales
from pricing.store.state import CHANGES_SEEN, StoredState, changes_a_fit_sees, keep_settings, read_state

Facts = dict[str, str | float | int]
CellValues = Mapping[str, str | None]
"""By column of the contract a cell as people write it, None for an empty one."""


class Market(Connected):
    """One market file, opened by ``Market.open``.

    What it keeps beside its records: ``tokens`` that let programs in; every revision of all ``appraisals``
    and the ``photographs`` they name; ``statements``, what people say of prices; ``choices`` about comparable
    sales; ``kept_cars`` of persons; ``profiles``, what a desk answers alike; the last ``scores`` of the price
    model; ``answers``, what came of writes under idempotency keys.

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

    def __init__(
        self, path: Path, base_currency: str, timeout: float, idempotency: IdempotencyKey | None = None
    ) -> None:
        """Use ``Market.open``."""
        super().__init__(partial(connection, path, timeout=timeout), idempotency)
        self.path, self.base_currency, self._timeout = path, base_currency, timeout
        self.tokens = Tokens(self._connect)
        self.appraisals = Appraisals(self._connect, idempotency)
        self.photographs = KeptPhotographs(self._connect)
        self.statements = StoredStatements(self._connect, idempotency)
        self.choices = Choices(self._connect)
        self.kept_cars = StoredCars(self._connect, idempotency)
        self.profiles = Profiles(self._connect)
        self.scores = StoredScores(self._connect)
        self.answers = KeptAnswers(path, self._connect)

    def __repr__(self) -> str:
        return f"Market at {self.path}, prices in {self.base_currency}"

    def _repr_html_(self) -> str:
        """The market with how many records and fits it holds and from when they are."""
        ((records, first, last, fits),) = self._rows(
            "SELECT count(*), min(event_date), max(event_date), (SELECT count(*) FROM fits) FROM records"
        )
        days = f" from {first} to {last}" if records else ""
        return f"<p>{escape(repr(self))}: {records:,} records{days}, {fits:,} fits</p>"

    @classmethod
    def open(
        cls,
        path: str | Path,
        *,
        base_currency: str = "EUR",
        create: bool = True,
        timeout: float = TIMEOUT_SECONDS,
    ) -> Self:
        """Open a market file; with ``create`` make it when absent, its prices in ``base_currency`` (ISO
        4217).

        The address of a PostgreSQL server, ``postgresql://user@host/database``, opens the market that the
        server keeps, through its local copy (``store.postgres.copy``).

        An existing market keeps the base currency it was made with. ``timeout``: seconds that any later call
        waits for another process that uses the file. Raises ``MarketError`` for a file of another kind.
        """
        path = market_path(path)
        if not path.exists():
            if not create:
                raise MarketError(
                    f"{path} does not exist; a market file comes into being by loading records into it"
                )
            create_file(path, base_currency)
        return cls(path, base_currency_of(path, timeout), timeout)

    def under(self, idempotency: IdempotencyKey) -> Self:
        """The same market, in which a load, taking one back, a fit or an appraisal keeps what came of it
        under a key: such a write then raises ``DoneMeanwhileError``, and changes nothing, where something was
        done under that key before.
        """
        return type(self)(self.path, self.base_currency, self._timeout, idempotency)

    def load(
        self,
        paths: Iterable[str | Path],
        *,
        mapping: Path | None = None,
        progress: Progress = untold,
        today: date | None = None,
        dry_run: bool = False,
        believe: bool = False,
    ) -> LoadReport:
        """Bring files in, as one batch: all of them or, after any error, none.

        ``mapping`` is a mapping file for all of them; without it each file's own is used,
        ``<file>.mapping.toml`` beside it, and a file without one must have the contract's columns.
        ``progress`` is called with a stage, rows done and rows in all. Events after ``today`` (now, by
        default) are rejected. Rows that the market has already, accepted or in quarantine, are known and
        change nothing. A ``dry_run`` reports what would happen and leaves the market as it was. Figures that
        can hardly be what they are said to be raise ``DoubtError`` with the evidence, unless ``believe``.

        Raises ``FileError``, ``TableError``, ``MappingError`` for a file, ``MarketError`` for the market.
        """
        return load_files(
            self._connect, [Path(path) for path in paths], mapping, self.base_currency, today_or(today),
            progress, keep=not dry_run, idempotency=self.idempotency, believe=believe,
        )  # fmt: skip

    def keep_settings(self, settings: Mapping[str, str | None]) -> None:
        """Keep settings in place of earlier ones; ``None`` forgets one. ``state().settings`` has them."""
        self._write(keep_settings, settings)

    def state(self, timeout: float | None = None) -> StoredState:
        """What is small of the market as it is now, read without a look at its records but for the day of the
        last sale. Raises ``MarketError`` when the file stays in use for ``timeout`` seconds."""
        seconds = self._timeout if timeout is None else timeout
        with connection(self.path, timeout=seconds) as opened:
            return read_state(opened)

    def sales(self, as_of: date | None = None, *, every_record: bool = False) -> pl.DataFrame:
        """The sales and offers, oldest first: the contract's columns and ``store.records.sales.DERIVED``.

        ``as_of`` keeps events up to that day, and what was known of them then. Of records linked as one sale
        only the best is given, unless ``every_record`` is asked for. Names are those settled in the alias
        table.
        """
        return self._ask(read_sales, as_of, every_record=every_record)

    def opinions(self, as_of: date | None = None) -> pl.DataFrame:
        """What people say, in force: see ``Statements.read``."""
        return self.statements.read(as_of)

    def quarantine(self) -> pl.DataFrame:
        """Rejected rows that wait to be mended: where each came from, what it broke, its cells as JSON."""
        return self._ask(waiting.quarantine)

    def export_quarantine(self, folder: str | Path) -> list[Path]:
        """Write the waiting rows to a folder, one CSV file a source, its mapping beside it, to be mended and
        loaded.

        Cells that a spreadsheet would run as a formula get an apostrophe in front; loading takes it away.
        """
        return self._ask(waiting.export_quarantine, Path(folder))

    def batches(self) -> pl.DataFrame:
        """Every load, oldest first, with what it read, accepted, rejected and knew already."""
        return self._frame(
            "SELECT batch_id, loaded_at, files, read, accepted, rejected, known, undone_at "
            "FROM batches ORDER BY length(batch_id), batch_id"
        )

    def undo(self, batch_id: str) -> int:
        """Take a batch back; returns how many records went. ``MarketError`` when there is none to undo."""
        with self._connect(write=True) as opened:
            deleted = history.undo(opened, batch_id)
            keep_result(opened, self.idempotency, {"batch_id": batch_id, "records": deleted})
            return deleted

    def correct(self, record_id: str, values: CellValues, *, reason: str, today: date | None = None) -> None:
        """Give cells of a record other values, as people write them; the old ones are kept, see
        ``corrections``. Raises ``MarketError`` when there is no such record or it would break a rule."""
        self._write(history.correct, record_id, values, reason, self.base_currency, today_or(today))

    def remove(self, record_id: str, *, reason: str) -> None:
        """Take a record out; what it was is kept among the corrections, and no load brings it back. Raises
        ``MarketError`` when there is no such record, or no reason."""
        self._write(history.remove, record_id, reason)

    def corrections(self, record_id: str) -> pl.DataFrame:
        """What was changed of a record, the oldest first: done_at, column, old, new, reason."""
        return self._frame(
            'SELECT done_at, "column", old, new, reason FROM corrections '
            "WHERE record_id = ? ORDER BY done_at",
            [record_id],
        )

    def audit(self) -> pl.DataFrame:
        """What was done to the market, oldest first: done_at, action, subject, detail (JSON)."""
        return self._frame("SELECT done_at, action, subject, detail FROM audit ORDER BY done_at")

    def duplicates(self) -> pl.DataFrame:
        """Links between records of one sale, with the rule, the primary record, and whether parted."""
        return self._frame(
            "SELECT links.record_id, other_id, rule, coalesce(front_id, links.record_id) AS primary_id, "
            "parted_at FROM links JOIN records USING (record_id) ORDER BY rule, links.record_id, other_id"
        )

    def unlink(self, record_id: str) -> int:
        """Take a record out of the sale it was linked to; returns how many links were parted."""
        return self._write(links.set_parted, record_id, now(), parted=True)

    def relink(self, record_id: str) -> int:
        """Take back ``unlink``; returns how many links hold again."""
        return self._write(links.set_parted, record_id, now(), parted=False)

    def names(self) -> pl.DataFrame:
        """Names that may be one (state ``proposed``) and those that were settled, the most records first."""
        return self._ask(names.list_names)

    def car_names(self) -> CarNames:
        """The names of the market's cars, by which whole cars in one cell are parted."""
        return CarNames.of(self._ask(names.known_cars))

    def kept_mappings(self) -> list[Columns]:
        """The mapping of each source that was loaded by one, the last of each."""
        return self._ask(terms.kept_mappings)

    def settle_name(
        self, field: str, typed: str, name: str, *, make: str | None = None, model: str | None = None
    ) -> None:
        """Say that a make, a model of a make, or a variant of a model, typed so, is ``name``.

        With ``name`` equal to ``typed`` it is a name of its own and is not proposed again.
        """
        self._write(names.settle_name, field, typed, name, make, model)

    def forget_name(self, field: str, typed: str) -> int:
        """Take back what was settled about a spelling; returns how many aliases went."""
        return self._write(names.forget_name, field, typed)

    def mark_suspicions(self, odd: pl.DataFrame) -> int:
        """Keep a list of odd records (record_id, reason, detail) for a person; returns how many are new."""
        return self._write(waiting.mark_suspicions, odd)

    def suspicions(self) -> pl.DataFrame:
        """Odd records that wait for a person, with the reason and the car."""
        return self._ask(waiting.suspicions)

    def settle_suspicion(self, record_id: str, verdict: str) -> int:
        """Write down what a person found out about an odd record; returns how many suspicions it settles."""
        return self._write(waiting.settle_suspicion, record_id, verdict)

    def add_rates(self, path: str | Path) -> int:
        """Add the user's own exchange rates from a CSV file: currency, rate_date, rate; returns how many.

        ``rate`` is what one unit of the base currency buys on that day and until the next rate of the
        currency.
        """
        return self._write(terms.add_rates, Path(path))

    def own_rates(self) -> pl.DataFrame:
        """The user's own exchange rates: currency, rate_date, rate (units for one of the base currency)."""
        return self._ask(terms.own_rates)

    def common_currency(self) -> str | None:
        """The currency of most records, the first in the alphabet of as many; None without records."""
        query = "SELECT currency FROM records GROUP BY ALL ORDER BY count(*) DESC, currency LIMIT 1"
        return self._ask(value, query)

    def rebase(self, currency: str) -> int:
        """Keep prices in another base currency (ISO 4217), each derived anew at the rate of its day; fits
        go, as they are of the old one. Returns how many records were priced; see ``records.terms``."""
        priced = self._write(terms.rebase, currency)
        self.base_currency = currency
        return priced

    def digest(self) -> str:
        """A fingerprint of the records and their prices: equal for markets that hold the same."""
        return self._ask(digest)

    def store_fit(self, payload: bytes, facts: Facts) -> str:
        """Keep a fitted model's bytes and the facts about it; returns the name it is kept under."""
        at = now()
        with self._connect(write=True) as opened:
            fit_id = next_name(opened, "fits", "fit")
            add_row(opened, "fits", fit_id=fit_id, fitted_at=at, facts=json.dumps(facts), payload=payload)
            write_audit(opened, at, "fit", fit_id, {**facts, CHANGES_SEEN: changes_a_fit_sees(opened)})
            keep_result(opened, self.idempotency, {"fit_id": fit_id})
        return fit_id

    def load_fit(self, fit_id: str | None = None) -> tuple[bytes, Facts]:
        """A kept model and its facts, the newest by default; ``MarketError`` when there is none."""
        rows = self._rows(
            "SELECT payload, facts FROM fits WHERE fit_id = coalesce(?, fit_id) "
            "ORDER BY length(fit_id) DESC, fit_id DESC LIMIT 1",
            [fit_id],
        )
        if not rows:
            named = "no fitted model" if fit_id is None else f"no fitted model {fit_id!r}"
            raise MarketError(f"{self.path} holds {named}; fit one first")
        payload, facts = rows[0]
        return bytes(payload), json.loads(facts)

    def fits(self) -> pl.DataFrame:
        """The kept models, oldest first: fit_id, fitted_at, facts (JSON)."""
        return self._frame("SELECT fit_id, fitted_at, facts FROM fits ORDER BY length(fit_id), fit_id")
