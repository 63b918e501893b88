"""Settings of a market, kept in its file: texts under names, the last one said in force."""

from collections.abc import Mapping

import duckdb

from pricing.store.audit import now, write_audit
from pricing.store.connection import put_row, run


def read_settings(opened: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Every setting that was kept."""
    return dict(run(opened, "SELECT name, value FROM settings ORDER BY name"))


def keep_settings(opened: duckdb.DuckDBPyConnection, settings: Mapping[str, str | None]) -> None:
    """See ``Market.keep_settings``."""
    at = now()
    for name, value in settings.items():
        if value is None:
            run(opened, "DELETE FROM settings WHERE name = ?", [name])
        else:
            put_row(opened, "settings", name=name, value=value)
        write_audit(opened, at, "setting", name, {"characters": 0 if value is None else len(value)})
