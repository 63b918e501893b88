"""Market files of earlier versions brought up to this one, step by step, a copy of each kept beside it."""

import tempfile
from pathlib import Path
from typing import Final

import duckdb
import polars as pl

from pricing.store.audit import now, write_audit
from pricing.store.connection import connection, file_connection, run
from pricing.store.place import is_copy
from pricing.store.row_text import layouts, quoted

SERVICE_TABLES: Final = """
CREATE TABLE tokens (
    token_id VARCHAR, name VARCHAR, role VARCHAR, digest VARCHAR, made_at TIMESTAMP, expires_at TIMESTAMP,
    revoked_at TIMESTAMP
);
CREATE TABLE answers (key VARCHAR, request VARCHAR, status INTEGER, content VARCHAR, made_at TIMESTAMP);
"""
"""For programs that ask over the network: what lets them in, and what their writes were answered."""

STEPS: Final = (SERVICE_TABLES,)
"""What makes each version out of the one before, the first step version 2 out of version 1. Only ever added
to: a file of any earlier version goes through all that it has not been through."""

VERSION: Final = str(len(STEPS) + 1)
"""Of the files that this program writes."""

ROWS_AT_ONCE: Final = 100_000

EARLIER: Final = tuple(str(number) for number in range(1, len(STEPS) + 1))


def upgrade(path: Path, patience: float) -> None:
    """Bring a market file of an earlier version up to this one, all of it or nothing; it is kept as it was
    beside it, under the name ``<name>.version-<number>.duckdb``, unless it is the local copy of a server's
    market.

    Another process that asks for the same waits, and finds it done.
    """
    with connection(path, write=True, patience=patience) as opened:
        ((version,),) = run(opened, "SELECT version FROM market")
        if version not in EARLIER:
            return
        kept = path.with_name(f"{path.stem}.version-{version}{path.suffix}")
        if not is_copy(path) and not kept.exists():
            _keep(opened, kept, patience)
        for step in STEPS[int(version) - 1 :]:
            run(opened, step)
        run(opened, "UPDATE market SET version = ?", [VERSION])
        write_audit(opened, now(), "upgrade", VERSION, {"from": version, "kept": kept.name})


def _keep(opened: duckdb.DuckDBPyConnection, kept: Path, patience: float) -> None:
    """Write every table as it is into another file, whole or not at all."""
    with tempfile.TemporaryDirectory(dir=kept.parent, prefix=".kept-market-") as folder:
        part = Path(folder) / kept.name
        with file_connection(part, write=True, patience=patience) as target:
            for name, layout in layouts(opened).items():
                run(target, layout.statement)
                for batch in opened.table(name).to_arrow_reader(ROWS_AT_ONCE):
                    target.register("rows_kept", pl.from_arrow(batch))
                    run(target, f"INSERT INTO {quoted(name)} SELECT * FROM rows_kept")  # noqa: S608
                    target.unregister("rows_kept")
        part.replace(kept)
