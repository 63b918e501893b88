"""Market files of earlier versions brought up to this one, a copy of each kept beside it.

Every table that a file lacks is made, and every other takes the shape that the schema gives it: columns by
their names, of rows with one key the first. What a version changed beside the shape stands in ``READ_AS``.
"""

import tempfile
from pathlib import Path
from typing import Final

import duckdb

from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connection import Opened, connection, file_connection, make_one_file, quoted, run
from pricing.store.copying import copy_tables
from pricing.store.place import is_copy
from pricing.store.row_text import layouts
from pricing.store.schema import TABLES, VERSION, create_missing_keys, create_table, drop_key

EARLIER: Final = tuple(str(number) for number in range(1, int(VERSION)))

READ_AS: Final = {
    "evidence_choices": (
        "SELECT * REPLACE (max(made_at - to_microseconds(nth)) OVER "
        "(PARTITION BY subject ORDER BY nth ROWS UNBOUNDED PRECEDING) + to_microseconds(nth) AS made_at) "
        "FROM (SELECT *, row_number() OVER (PARTITION BY subject ORDER BY made_at, rowid) AS nth "
        "FROM {earlier})"
    )
}
"""Tables whose rows are not taken as they are. Choices about a subject that were kept together had one time
up to version 2; since then each has its own, a microsecond after the one before."""

_RESHAPED: Final = "reshaped_rows"


def upgrade(path: Path, timeout: float) -> None:
    """Bring a market file of an earlier version up to this one, all of it or nothing; it is kept as it was
    beside it, under the name ``<name>.version-<number>.duckdb``, unless it is the local copy of a server's
    market.

    Another process that asks for the same waits, and finds it done. Raises ``MarketError``, and leaves the
    file as it is, when a row of it does not hold what every row must.
    """
    with connection(path, write=True, timeout=timeout) as opened:
        ((version,),) = run(opened, "SELECT version FROM market")
        if version not in EARLIER:
            return
        copy = path.with_name(f"{path.stem}.version-{version}{path.suffix}")
        if not is_copy(path) and not copy.exists():
            _keep(opened, copy, timeout)
        _reshape(opened)
        run(opened, "UPDATE market SET version = ?", [VERSION])
        write_audit(opened, now(), "upgrade", VERSION, {"from": version, "kept": copy.name})


def _reshape(opened: Opened) -> None:
    """Give every table the shape of the schema, in the transaction at hand."""
    before = layouts(opened)
    for name, table in TABLES.items():
        if name not in before:
            create_table(opened, name, name)
            continue
        drop_key(opened, name)
        create_table(opened, name, _RESHAPED)
        had = {column for column, _ in before[name].columns}
        shape = layouts(opened)[_RESHAPED].columns
        columns = ", ".join(quoted(column) for column, _ in shape if column in had)
        source = READ_AS.get(name, "SELECT *, rowid AS nth FROM {earlier}").format(earlier=name)
        same = f"PARTITION BY {', '.join(table.key)} ORDER BY nth"
        first = f"QUALIFY row_number() OVER ({same}) = 1" if table.key else ""
        taken = f"INSERT INTO {_RESHAPED} ({columns}) SELECT {columns} FROM ({source}) {first}"  # noqa: S608
        try:
            run(opened, taken)
        except duckdb.ConstraintException as error:
            raise MarketError(
                f"a market file of an earlier version cannot be brought up to version {VERSION}, and is "
                f"unchanged: {str(error).replace(_RESHAPED, name)}"
            ) from None
        run(opened, f"DROP TABLE {name}")
        run(opened, f"ALTER TABLE {_RESHAPED} RENAME TO {name}")
    create_missing_keys(opened, TABLES)


def _keep(opened: Opened, copy: Path, timeout: float) -> None:
    """Write every table as it is into another file, whole or not at all."""
    with tempfile.TemporaryDirectory(dir=copy.parent, prefix=".kept-market-") as folder:
        part = Path(folder) / copy.name
        with file_connection(part, write=True, timeout=timeout) as target:
            copy_tables(opened, target, lambda rows: None)
        make_one_file(part)
        part.replace(copy)
