"""Opening a market file and one of its fits, the same way at every door."""

import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pricing.errors import MarketError
from pricing.progress import Progress, untold

if TYPE_CHECKING:
    from pricing.snapshot import Snapshot
    from pricing.store.market import Market
    from pricing.store.state import StoredState
    from pricing.words.language.locale import LocaleWords


MARKET_FILE: Final = Path("market.duckdb")

Display = Callable[[], AbstractContextManager[Progress]]
"""Opens what shows progress while a fit is made; ``no_display`` where nobody watches."""


INVENTED_SETTING: Final = "invented"
"""Name of the setting by which a demo market says what it is."""


def no_display() -> AbstractContextManager[Progress]:
    """Shows no progress."""
    return nullcontext(untold)


def open_market(path: Path) -> "Market":
    """The market file at ``path``, which must be there.

    Raises:
        MarketError: there is no such file, or it is not a market file.
    """
    from pricing.store.market import Market

    if not path.is_file():
        raise MarketError(f"no market file at {path}: make one with `pricing load FILE` or `pricing demo`")
    return Market.open(path, create=False)


def fitted_market(
    path: Path, at: date | None = None, fit: str | None = None, display: Display = no_display
) -> "Snapshot":
    """The market in memory with the fit of that id, or with its newest; for a date before the newest fit's
    last sale, with one made from what was known then and not kept.

    Raises:
        MarketError: there is no such file or no such fit.
    """
    from pricing.model.saved import load as load_fit
    from pricing.snapshot_source import source_of

    market = open_market(path)
    snapshot = source_of(market.path).newest()
    if fit is not None:
        return snapshot.fitted(load_fit(market, fit))
    if snapshot.state.fit is None:  # then the next line refuses
        tell_standing(snapshot.state)
    model = snapshot.model
    if at is None or at >= date.fromisoformat(model.facts["last_date"]):
        tell_standing(snapshot.state)
        return snapshot
    from pricing.model.market_fit import fit_market

    with display() as tell:
        return snapshot.fitted(fit_market(market, tell, as_of=at, seed=model.seed))


def standing_warning(state: "StoredState", words: "LocaleWords | None" = None) -> str | None:
    """What has to be known of a market before its numbers are used today, if anything; in plain English
    where no words are given."""
    from pricing.words.language.locale import PLAIN
    from pricing.words.market_standing import INVENTED, market_warning

    said = PLAIN if words is None else words
    warning = market_warning(state, datetime.now(UTC).date(), said)
    if not is_invented(state):
        return warning
    invented = said.word(INVENTED)
    return invented if warning is None else f"{invented} {warning}"


def is_invented(state: "StoredState") -> bool:
    """Whether it is a demo market, in which no car and no sale is real."""
    return state.settings.get(INVENTED_SETTING) == "yes"


def tell_standing(state: "StoredState") -> None:
    """Say on standard error what has to be known of a market, if anything."""
    warning = standing_warning(state)
    if warning is not None:
        sys.stderr.write(f"note: {warning}\n")


def record_named(market: "Market", start: str) -> str:
    """The one record whose name starts so.

    Raises:
        MarketError: there is none, or more than one.
    """
    names = market.sales(every_record=True)["record_id"]
    matches = names.filter(names.str.starts_with(start)).to_list()
    if len(matches) != 1:
        raise MarketError(f"{len(matches)} records have a name that starts with {start!r}; give one's name")
    return str(matches[0])
