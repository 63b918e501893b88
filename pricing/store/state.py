"""The state a market file is in, told without looking at its records: for whoever keeps answers about
them."""

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import duckdb

from pricing.store.connection import TIMEOUT_SECONDS, connection, run

RECORD_ACTIONS: Final = ("load", "undo", "correct", "part", "link", "name", "forget name", "rebase", "remove")
"""Actions of the audit trail after which ``Market.sales`` may give something else."""

OPINION_ACTIONS: Final = ("opinions", "withdraw opinion")
"""Actions after which ``read_opinions`` may."""

CHANGES_SEEN: Final = "record_changes"
"""In the detail of a fit's line of the audit trail: how many changes of records and opinions there had
been."""


@dataclass(frozen=True)
class StoredState:
    """``records`` differs whenever ``Market.sales`` may; ``batches`` counts the loads that stand; ``fit`` is
    the newest fit, and ``stale`` whether records or opinions have changed since it was made, told by counting
    and not by a clock, which may be set back; ``last_sale`` is the day of the last sale on record;
    ``opinions`` counts the changes of opinions."""

    records: str
    batches: int
    fit: str | None
    stale: bool
    last_sale: date | None = None
    opinions: int = 0


def read_state(path: Path, *, timeout: float = TIMEOUT_SECONDS) -> StoredState:
    """The state of a market file, without reading its records but for the day of the last sale."""
    with connection(path, timeout=timeout) as opened:
        changes, said = record_changes(opened), _changes(opened, OPINION_ACTIONS)
        ((last,),) = run(
            opened, "SELECT max(done_at) FROM audit WHERE list_contains(?, action)", [list(RECORD_ACTIONS)]
        )
        ((batches,),) = run(opened, "SELECT count(*) FROM batches WHERE undone_at IS NULL")
        ((last_sale,),) = run(opened, "SELECT max(event_date) FROM records WHERE outcome = 'sold'")
        fits = run(
            opened,
            "SELECT fit_id, fitted_at, detail FROM fits "
            "LEFT JOIN audit ON action = 'fit' AND subject = fit_id "
            "ORDER BY length(fit_id) DESC, fit_id DESC LIMIT 1",
        )
    fit, fitted_at, detail = fits[0] if fits else (None, None, None)
    seen = None if detail is None else json.loads(detail).get(CHANGES_SEEN)
    if seen is not None:
        stale = changes + said > seen
    else:  # a fit of a version that did not count
        stale = last is not None and fitted_at is not None and last > fitted_at
    return StoredState(f"{changes} {last}", batches, fit, stale, last_sale, said)


def record_changes(opened: duckdb.DuckDBPyConnection) -> int:
    """How often records have been changed."""
    return _changes(opened, RECORD_ACTIONS)


def changes_a_fit_sees(opened: duckdb.DuckDBPyConnection) -> int:
    """How often records or opinions have been changed."""
    return _changes(opened, RECORD_ACTIONS + OPINION_ACTIONS)


def _changes(opened: duckdb.DuckDBPyConnection, actions: tuple[str, ...]) -> int:
    ((count,),) = run(opened, "SELECT count(*) FROM audit WHERE list_contains(?, action)", [list(actions)])
    return int(count)
