"""How old the newest backup, fit and currency rate are."""

from collections.abc import Mapping
from datetime import datetime, time
from pathlib import Path
from typing import Any

import polars as pl

from pricing.money.currencies import ecb_rates
from pricing.operations.retention import backup_time
from pricing.store.market import Market


def ages(market: Market, backups: Path | None, at: datetime) -> Mapping[str, float]:
    """Seconds since the newest backup in a folder, the newest fit and the newest currency rate; what there is
    none of is left out. ``at`` is now, in UTC without a zone, as the store keeps times."""
    made: dict[str, Any] = {}
    if backups is not None and backups.is_dir():
        times = [found for path in backups.iterdir() if (found := backup_time(path)) is not None]
        made["backup"] = max(times, default=None)
    fits = market.fits()
    made["fit"] = None if fits.is_empty() else fits["fitted_at"].max()
    rates = pl.concat([ecb_rates()["rate_date"], market.own_rates()["rate_date"]])
    made["rates"] = datetime.combine(rates.max(), time())  # type: ignore[arg-type]
    now = at.replace(tzinfo=None)
    return {name: (now - found.replace(tzinfo=None)).total_seconds() for name, found in made.items() if found}
