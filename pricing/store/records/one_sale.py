"""One sale at a time: typed in by hand, held to the same checks as a file, its doubles shown."""

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import polars as pl

from pricing.errors import MarketError
from pricing.nearest import did_you_mean
from pricing.records.contract import COLUMNS, REQUIRED
from pricing.records.layout import MADE_BY_THE_STORE
from pricing.store.audit import today_or
from pricing.store.market import Market
from pricing.store.records.first_load import load_into
from pricing.store.records.loading import LoadReport

SOURCE: Final = "notebook"
"""Source of a sale typed in by hand that names none."""


@dataclass(frozen=True)
class AddedSale:
    """What became of a sale that was typed in."""

    record: pl.DataFrame
    """The record as it was kept, one row."""
    doubles: pl.DataFrame
    """Links to records of the same sale: record_id, other_id, rule, primary_id, parted_at."""
    same: pl.DataFrame
    """Those records."""
    report: LoadReport


def try_sale(path: Path, cells: Mapping[str, str], *, today: date | None = None) -> pl.DataFrame:
    """What adding a sale would do, with nothing kept: the records of the market that it may be one sale with.
    Raises ``MarketError`` as ``add_sale``."""
    day = today_or(today)
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        trial = _tried(path, _written(cells, day, Path(folder)), day)
    if not trial.doubles:
        return pl.DataFrame()
    sales = Market.open(path, create=False).sales(every_record=True)
    return sales.filter(pl.col("record_id").is_in(trial.doubles))


def add_sale(
    path: Path, cells: Mapping[str, str], *, today: date | None = None, believe: bool = False
) -> AddedSale:
    """Add one sale to the market at ``path``, made when it is absent; cells are read as people write them.

    ``cells`` are by column of the contract; without ``event_date`` it was seen today. Raises ``MarketError``
    where a column is none of the contract's, the sale breaks a rule, or the market holds it already.
    """
    day = today_or(today)
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        file = _written(cells, day, Path(folder))
        _tried(path, file, day)
        report = load_into(path, [file], today=day, believe=believe)
    market = Market.open(path, create=False)
    sales = market.sales(every_record=True)
    records = sales.filter(pl.col("batch_id") == report.batch_id)
    links = market.duplicates()
    ids = records["record_id"].implode()
    doubles = links.filter(pl.col("record_id").is_in(ids) | pl.col("other_id").is_in(ids))
    others = pl.concat([doubles["record_id"], doubles["other_id"]]).unique().implode()
    same = sales.filter(pl.col("record_id").is_in(others), ~pl.col("record_id").is_in(ids))
    return AddedSale(records, doubles, same, report)


def _written(cells: Mapping[str, str], day: date, folder: Path) -> Path:
    """The sale as a file of one row."""
    named = [name for name in COLUMNS if name not in MADE_BY_THE_STORE or name in ("source", "source_ref")]
    unknown = sorted(set(cells) - set(named))
    if unknown:
        near = did_you_mean(unknown[0], named)
        raise MarketError(f"a sale has no {', '.join(unknown)}{near}; it has: {', '.join(named)}")
    blank = {name: "" for name in REQUIRED if name not in MADE_BY_THE_STORE}
    file = folder / "one sale.csv"
    pl.DataFrame([blank | {"source": SOURCE, "event_date": day.isoformat()} | dict(cells)]).write_csv(file)
    return file


def _tried(path: Path, file: Path, day: date) -> LoadReport:
    """What a load of the row would come to; raises ``MarketError`` where it is no new sale."""
    trial = load_into(path, [file], today=day, dry_run=True)
    if trial.by_rule:
        rules = ", ".join(rule.replace("_", " ") for rule in trial.by_rule)
        raise MarketError(f"this is no sale record yet: {rules}")
    if trial.known:
        raise MarketError("the market holds this sale already")
    return trial
