"""Rows of a server that do not match the digest that they were written with: changed by other means than a
program of ours, and no evidence."""

import json
import logging
from dataclasses import replace
from typing import Final

import polars as pl

from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connection import Opened, add_row, quoted, value
from pricing.store.postgres.changes import TableChange
from pricing.store.row_text import DIGEST, TableLayout

Altered = dict[str, tuple[TableLayout, pl.DataFrame]]
"""By table: its layout, and the rows as texts with the digest that each was written with."""

RULE: Final = "changed_on_the_server"
"""What stands in quarantine for the rule that such a record broke."""

MANY: Final = 20
"""Rows of a table from which, when they are most of it, nobody's hand is the likely cause."""

_NAMED: Final = 5
_LOG: Final = logging.getLogger("pricing.store")


def refuse_many(opened: Opened, altered: Altered, shown: str) -> None:
    """Refuse a market most of whose rows do not match, or that has lost what it says of itself. Raises
    ``MarketError`` where they are more than half of a table, and not just a few; or the row of ``market``."""
    for table, (_, rows) in altered.items():
        sound = value(opened, f"SELECT count(*) FROM {quoted(table)}")  # noqa: S608
        if table == "market" or (rows.height > MANY and rows.height > sound):
            raise MarketError(
                f"{shown}: {rows.height:,} of {sound + rows.height:,} rows of market.{table} are not as they "
                "were written; nothing was changed: bring the market back from a backup"
            )


def note_altered(opened: Opened, altered: Altered) -> None:
    """Say in the audit and the log which rows were set aside, and put records into quarantine."""
    at = now()
    for table, (layout, rows) in altered.items():
        cells = rows.drop(DIGEST)
        key = layout.columns[0][0]
        named = ", ".join(str(name) for name in cells[key].head(_NAMED))
        more = "" if rows.height <= _NAMED else f" and {rows.height - _NAMED} more"
        _LOG.warning(
            "market.%s: %s of %s%s was changed on the server by other means and is set aside",
            table, key, named, more,
        )  # fmt: skip
        detail = {"rows": rows.height, "digests": rows[DIGEST].to_list()[:1000]}
        write_audit(opened, at, "set aside", f"market.{table}: {key} {named}{more}", detail)
        if table == "records":
            for digest, row in zip(rows[DIGEST], cells.iter_rows(named=True), strict=True):
                raw = {name: text for name, text in row.items() if text is not None}
                add_row(
                    opened, "quarantine", quarantine_id=digest[:10], batch_id=row["batch_id"] or "",
                    source=row["source"] or "", file=row["file"] or "", row_number=0, raw=json.dumps(raw),
                    broken_rules=[RULE],
                )  # fmt: skip


def without(changes: list[TableChange], altered: Altered) -> list[TableChange]:
    """Changes that take these rows out as well."""
    by_table = {change.layout.table: change for change in changes}
    for table, (layout, rows) in altered.items():
        change = by_table.get(table, TableChange(layout, rows[DIGEST].clear(), list))
        by_table[table] = replace(change, deleted=pl.concat([change.deleted, rows[DIGEST]]).unique())
    return list(by_table.values())
