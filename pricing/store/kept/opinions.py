"""What people say of prices, kept in the market file: a table of its own, of which no function that reads
sales knows. A statement is withdrawn, never erased."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Final

import polars as pl

from pricing.car_names import Names
from pricing.errors import MarketError, OpinionError
from pricing.intake.names import FIELDS
from pricing.intake.tables.readers import read_whole
from pricing.money.prices import price_records
from pricing.opinions.statement import TYPES, RepeatedQuestion, checked, inversions, named, said_again
from pricing.store.audit import needed_reason, now, today_or, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import Opened, add_rows, frame, run, value
from pricing.store.kept.answers import keep_result
from pricing.store.records.names import under_settled_names
from pricing.store.records.terms import own_rates, stored_charges
from pricing.vocabulary import CONDITION_BANDS

PRICED: Final = {"low": "low_price", "middle": "middle_price", "high": "high_price"}
"""The ends of a span, and what they are all-in, in the market's base currency at the rate of their day."""


@dataclass(frozen=True)
class KeptOpinions:
    """What became of statements: how many were ``read``, ``kept``, known before; ``ids`` of those kept."""

    read: int
    kept: int
    known: int
    ids: tuple[str, ...]


class StoredStatements(Connected):
    """What people say of prices: ``Market.statements``."""

    def add(
        self, cells: pl.DataFrame, *, file: str | None = None, meant: bool = False, today: date | None = None
    ) -> KeptOpinions:
        """Keep statements, all or none; those that are kept already change nothing.

        Args:
            cells: text as people write it, or the types of ``statement.TYPES``.
            file: where they come from; None when typed.
            meant: the source was asked again and does mean that a better state fetches less.
            today: no statement is of a later day.

        Raises:
            TableError, OpinionError: see ``statement.checked``; a better state is said to fetch less, and it
                is not ``meant``; or a span has no all-in price in the market's currency.
        """
        stated, at = checked(cells, today_or(today)), now()
        with self._connect(write=True) as opened:
            stated = named(_spelt(opened, stated)).unique("opinion_id", keep="first", maintain_order=True)
            earlier = frame(opened, "SELECT * FROM opinions WHERE withdrawn_at IS NULL")
            earlier_ids = frame(opened, "SELECT opinion_id FROM opinions")
            new = stated.join(earlier_ids, on="opinion_id", how="anti", maintain_order="left")
            again = [] if meant else _new_inversions(earlier.select(new.columns), new)
            if again:
                raise OpinionError(f"{said_again(again)} If so, say that it is meant; nothing was kept.")
            unpriced = _priced(opened, new).filter(pl.col("unpriced").is_not_null())
            for row in unpriced.head(1).iter_rows(named=True):
                raise OpinionError(
                    f"what {row['source']} says of the {row['make']} {row['model']} cannot be brought to "
                    "all-in prices in the market's currency: "
                    f"{row['unpriced'].replace('_', ' ')}; nothing was kept"
                )
            if new.height:
                rows = new.select(
                    "opinion_id", *TYPES, file=pl.lit(file, dtype=pl.String), kept_at=pl.lit(at)
                )
                add_rows(opened, "opinions", rows)
                subject = file or ", ".join(new["source"].unique(maintain_order=True))
                write_audit(opened, at, "opinions", subject, {"statements": new["opinion_id"].to_list()})
            report = KeptOpinions(len(cells), new.height, len(cells) - new.height, tuple(new["opinion_id"]))
            keep_result(opened, self.idempotency, asdict(report))
        return report

    def load(self, files: Iterable[Path], *, meant: bool = False, today: date | None = None) -> KeptOpinions:
        """Keep the statements of files (csv, xlsx and whatever else sale records are read from), each whole
        or not at all; raises as :meth:`add` does, naming the file."""
        parts = []
        for file in files:
            cells = read_whole(file)
            try:
                parts.append(self.add(cells, file=file.name, meant=meant, today=today))
            except OpinionError as error:
                raise OpinionError(f"{file}: {error}") from None
        return KeptOpinions(
            sum(part.read for part in parts), sum(part.kept for part in parts),
            sum(part.known for part in parts), tuple(name for part in parts for name in part.ids),
        )  # fmt: skip

    def read(self, as_of: date | None = None, *, every: bool = False) -> pl.DataFrame:
        """The statements, oldest first, under settled names, with ``PRICED``; with ``every`` those withdrawn
        too. ``as_of`` keeps what was said up to that day."""
        with self._connect() as opened:
            statements = frame(
                opened,
                "SELECT * FROM opinions WHERE stated_on <= coalesce(?, DATE '9999-12-31') "
                "AND (? OR withdrawn_at IS NULL) ORDER BY stated_on, kept_at, source, make, model, variant, "
                "list_position(?, condition_band), condition_score, opinion_id",
                [as_of, every, list(CONDITION_BANDS)],
            )
            return _priced(opened, under_settled_names(opened, statements)).drop("unpriced")

    def withdraw(self, opinion_id: str, reason: str) -> str:
        """Withdraw the one statement whose name starts so; it is kept, and counts no more. Returns its name.
        Raises ``MarketError`` where there is no reason, or not exactly one such statement in force."""
        reason, at = needed_reason(reason, "withdrawing a statement"), now()
        with self._connect(write=True) as opened:
            meant = (
                "SELECT opinion_id FROM opinions WHERE starts_with(opinion_id, ?) AND withdrawn_at IS NULL"
            )
            names = run(opened, meant, [opinion_id])
            if len(names) != 1 or not opinion_id:
                raise MarketError(
                    f"{len(names)} statements in force have names that start with {opinion_id!r}"
                )
            ((name,),) = names
            withdrawn = "UPDATE opinions SET withdrawn_at = ?, withdrawn_for = ? WHERE opinion_id = ?"
            run(opened, withdrawn, [at, reason, name])
            write_audit(opened, at, "withdraw opinion", name, {"reason": reason})
            keep_result(opened, self.idempotency, {"opinion_id": name})
        return str(name)


def _new_inversions(earlier: pl.DataFrame, new: pl.DataFrame) -> list[RepeatedQuestion]:
    """Where a source says by new statements, as it did not before, that a better state fetches less."""
    before = {question.sentence for question in inversions(earlier)}
    return [question for question in inversions(pl.concat([earlier, new])) if question.sentence not in before]


def _spelt(opened: Opened, stated: pl.DataFrame) -> pl.DataFrame:
    """Makes, models and variants as the market spells them, where it knows them; others as they are."""
    columns = ", ".join(FIELDS)
    names = f"SELECT {columns} FROM records UNION ALL SELECT {columns} FROM opinions"  # noqa: S608
    known = Names.of(frame(opened, names))
    pairs = stated.select(FIELDS).unique(maintain_order=True)
    spelt = pl.DataFrame(
        [known.nearest((row[0], row[1], row[2])) for row in pairs.iter_rows()],
        schema=dict.fromkeys((f"spelt_{name}" for name in FIELDS), pl.String),
        orient="row",
    )
    return (
        stated.join(pairs.hstack(spelt), on=FIELDS, how="left", maintain_order="left", nulls_equal=True)
        .with_columns(pl.col(f"spelt_{name}").alias(name) for name in FIELDS)
        .select(stated.columns)
    )


def _priced(opened: Opened, statements: pl.DataFrame) -> pl.DataFrame:
    """Add ``PRICED``, and ``unpriced``, why there is none."""
    base = value(opened, "SELECT base_currency FROM market")
    blank = pl.lit(None, dtype=pl.Decimal(18, 3))
    rows = statements.with_row_index("row").select(
        "row", "source", "currency", "price_basis", *PRICED, event_date="stated_on",
        channel=pl.col("channel").fill_null("private"), outcome=pl.lit("sold"),
        premium=blank, highest_bid=blank, reserve=blank, low_estimate=blank,
    )  # fmt: skip
    long = rows.unpivot(
        list(PRICED), index=[name for name in rows.columns if name not in PRICED], variable_name="end",
        value_name="amount",
    ).drop_nulls("amount")  # fmt: skip
    priced = price_records(long, base, stored_charges(opened), own_rates(opened))
    wide = priced.group_by("row").agg(
        *(pl.col("price").filter(end=end).first().alias(name) for end, name in PRICED.items()),
        pl.col("unpriced").drop_nulls().first(),
    )
    return (
        statements.with_row_index("row").join(wide, on="row", how="left", maintain_order="left").drop("row")
    )
