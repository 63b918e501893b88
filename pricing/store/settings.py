"""Settings of a market, kept in its file: texts under names, the last one said in force."""

from collections.abc import Mapping
from pathlib import Path

import duckdb

from pricing.store.audit import now, write_audit
from pricing.store.connection import PATIENCE_SECONDS, connection, run

_TABLE = "CREATE TABLE IF NOT EXISTS settings (name VARCHAR PRIMARY KEY, value VARCHAR)"


def read_settings(path: Path, *, patience: float = PATIENCE_SECONDS) -> dict[str, str]:
    """Every setting that was kept."""
    with connection(path, patience=patience) as opened:
        try:
            return dict(run(opened, "SELECT name, value FROM settings ORDER BY name"))
        except duckdb.CatalogException:
            return {}


def keep_settings(
    path: Path, settings: Mapping[str, str | None], *, patience: float = PATIENCE_SECONDS
) -> None:
    """Keep settings in place of earlier ones of the same names; ``None`` forgets one."""
    at = now()
    with connection(path, write=True, patience=patience) as opened:
        run(opened, _TABLE)
        for name, value in settings.items():
            run(opened, "DELETE FROM settings WHERE name = ?", [name])
            if value is not None:
                run(opened, "INSERT INTO settings VALUES (?, ?)", [name, value])
            write_audit(opened, at, "setting", name, {"characters": 0 if value is None else len(value)})
