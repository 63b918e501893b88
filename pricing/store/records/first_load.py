"""A market made by its first load: whole with its records, or not at all."""

import tempfile
from collections.abc import Sequence
from contextlib import suppress
from datetime import date
from functools import partial
from pathlib import Path
from typing import Final

from pricing.errors import MarketError
from pricing.progress import Progress, untold
from pricing.store.market import Market
from pricing.store.market_paths import market_path
from pricing.store.opening import new_file
from pricing.store.place import is_copy
from pricing.store.records.loading import LoadReport

DEFAULT_CURRENCY: Final = "EUR"
"""Of a new market whose records have no amount, or no price in their own currency."""


def load_into(
    path: str | Path,
    files: Sequence[str | Path],
    *,
    mapping: Path | None = None,
    base_currency: str | None = None,
    progress: Progress = untold,
    today: date | None = None,
    dry_run: bool = False,
    believe: bool = False,
) -> LoadReport:
    """Load files into the market at ``path``, which is made when it is absent, and only if the load succeeds.

    See ``Market.load``; ``base_currency`` is that of a market that is made, and must be the market's own for
    one that is there already.

    Raises:
        PricingError: as ``Market.load``, or the base currency is not that of the market.

    >>> folder = tempfile.TemporaryDirectory()
    >>> place = Path(folder.name) / "market.duckdb"
    >>> load_into(place, ["typo.csv"])
    Traceback (most recent call last):
    pricing.errors.FileError: typo.csv cannot be read: it does not exist
    >>> place.exists()
    False
    >>> folder.cleanup()
    """
    place = market_path(path)
    load = partial(Market.load, paths=files, mapping=mapping, progress=progress, today=today, believe=believe)
    if place.exists() or is_copy(place):
        market = Market.open(place, base_currency=base_currency or DEFAULT_CURRENCY)
        empty = market.common_currency() is None  # such as one made for its tokens
        if base_currency is not None and base_currency != market.base_currency:
            if not empty:
                raise MarketError(
                    f"{place} keeps its prices in {market.base_currency}, not in {base_currency}; "
                    f"to change that: pricing currency {base_currency}"
                )
            if not dry_run:
                market.rebase(base_currency)
        report = load(market, dry_run=dry_run)
        if empty and base_currency is None and not dry_run:
            _propose_currency(Market.open(place, create=False))
        return report
    with tempfile.TemporaryDirectory(prefix="pricing-") if dry_run else new_file(place) as made:
        draft = Path(made) / "trial.duckdb" if dry_run else Path(made)
        report = load(Market.open(draft, base_currency=base_currency or DEFAULT_CURRENCY), dry_run=dry_run)
        if base_currency is None and not dry_run:
            _propose_currency(Market.open(draft, create=False))
        file_number = draft.stat().st_ino
    if dry_run or place.stat().st_ino == file_number:
        return report
    return load(Market.open(place, create=False))  # another process made the market meanwhile


def _propose_currency(market: Market) -> None:
    """Keep prices of a new market in the currency of most of its records, where all have a price in it."""
    common = market.common_currency()
    if common is not None and common != market.base_currency:
        with suppress(MarketError):
            market.rebase(common)
