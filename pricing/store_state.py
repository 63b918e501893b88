"""The state a market file is in, told without looking at its records: for whoever keeps answers about
them."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pricing.store_connection import PATIENCE_SECONDS, connection, run

RECORD_ACTIONS: Final = ("load", "undo", "correct", "part", "link", "name", "forget name")
"""Actions of the audit trail after which ``Market.sales`` may give something else."""


@dataclass(frozen=True)
class StoredState:
    """``records`` differs whenever ``Market.sales`` may; ``batches`` counts the loads that stand; ``fit`` is
    the newest fit, and ``stale`` whether records have changed since it was made."""

    records: str
    batches: int
    fit: str | None
    stale: bool


def read_state(path: Path, *, patience: float = PATIENCE_SECONDS) -> StoredState:
    """The state of a market file; its cost does not grow with the number of records."""
    with connection(path, patience=patience) as opened:
        ((changes, last),) = run(
            opened,
            "SELECT count(*), max(done_at) FROM audit WHERE list_contains(?, action)",
            [list(RECORD_ACTIONS)],
        )
        ((batches,),) = run(opened, "SELECT count(*) FROM batches WHERE undone_at IS NULL")
        fits = run(opened, "SELECT fit_id, fitted_at FROM fits ORDER BY fit_id DESC LIMIT 1")
    fit, fitted_at = fits[0] if fits else (None, None)
    stale = last is not None and fitted_at is not None and last > fitted_at
    return StoredState(f"{changes} {last}", batches, fit, stale)
