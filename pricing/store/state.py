"""The state a market file is in, told without looking at its records, for whoever keeps answers."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final

import polars as pl

from pricing.store.audit import now, write_audit
from pricing.store.connection import Opened, add_rows, run, value
from pricing.store.kept.tokens import Token, tokens_in_force
from pricing.store.records.terms import own_rates

RECORD_ACTIONS: Final = ("load", "undo", "correct", "part", "link", "name", "forget name", "rebase", "remove")
"""Actions of the audit trail after which ``Market.sales`` may give something else."""

OPINION_ACTIONS: Final = ("opinions", "withdraw opinion")
"""Actions after which ``Market.opinions`` may."""

CHANGES_SEEN: Final = "record_changes"
"""In the detail of a fit's line of the audit trail: how many changes of records and opinions it saw."""


@dataclass(frozen=True)
class StoredState:
    """What is small of a market, at one moment.

    Args:
        records: differs whenever ``Market.sales`` may.
        batches: loads that stand.
        fit: the newest fit.
        stale: whether records or opinions have changed since it was made, told by counting and not by a
            clock, which may be set back.
        last_sale: the day of the last sale on record.
        base_currency: the currency that all prices are in (ISO 4217).
        fits: the ids of the fits kept, oldest first.
        settings: texts under names, what a person set.
        tokens: those that were not revoked, by digest.
        own_rates: the user's own exchange rates, see ``Market.own_rates``.
        opinions: how often what people say has changed.
        fitted_at: when each fit was made: in a file that was put in the place of another, a fit of the same
            id is another one.
    """

    records: str
    batches: int
    fit: str | None
    stale: bool
    last_sale: date | None = None
    base_currency: str = "EUR"
    fits: tuple[str, ...] = ()
    settings: Mapping[str, str] = field(default_factory=dict)
    tokens: Mapping[str, Token] = field(default_factory=dict, repr=False)
    own_rates: pl.DataFrame | None = field(default=None, repr=False, compare=False)
    opinions: int = 0
    fitted_at: Mapping[str, datetime] = field(default_factory=dict)


def read_state(opened: Opened) -> StoredState:
    """See ``Market.state``."""
    changes, last = _changes(opened, RECORD_ACTIONS)
    opinions, _ = _changes(opened, OPINION_ACTIONS)
    fits = run(
        opened,
        "SELECT fit_id, fitted_at, detail FROM fits LEFT JOIN audit ON action = 'fit' AND subject = fit_id "
        "ORDER BY length(fit_id), fit_id",
    )
    fit, fitted_at, detail = fits[-1] if fits else (None, None, None)
    seen = None if detail is None else json.loads(detail).get(CHANGES_SEEN)
    stale = last is not None and fitted_at is not None and last > fitted_at
    if seen is not None:  # unlike a fit of a version that did not count
        stale = changes + opinions > seen
    return StoredState(
        f"{changes} {last}",
        value(opened, "SELECT count(*) FROM batches WHERE undone_at IS NULL"),
        fit,
        stale,
        value(opened, "SELECT max(event_date) FROM records WHERE outcome = 'sold'"),
        value(opened, "SELECT base_currency FROM market"),
        tuple(name for name, _, _ in fits),
        dict(run(opened, "SELECT name, value FROM settings ORDER BY name")),
        tokens_in_force(opened),
        own_rates(opened),
        opinions,
        {name: made for name, made, _ in fits},
    )


def changes_a_fit_sees(opened: Opened) -> int:
    """How often records or opinions have been changed."""
    return _changes(opened, RECORD_ACTIONS + OPINION_ACTIONS)[0]


def _changes(opened: Opened, actions: tuple[str, ...]) -> tuple[int, datetime | None]:
    """How many lines of the audit trail are of such actions, and when the last was written."""
    query = "SELECT count(*), max(done_at) FROM audit WHERE list_contains(?, action)"
    ((count, last),) = run(opened, query, [list(actions)])
    return count, last


def keep_settings(opened: Opened, settings: Mapping[str, str | None]) -> None:
    """See ``Market.keep_settings``."""
    at = now()
    for name, text in settings.items():
        if text is None:
            run(opened, "DELETE FROM settings WHERE name = ?", [name])
        else:
            add_rows(opened, "settings", [{"name": name, "value": text}], clash="replace")
        write_audit(opened, at, "setting", name, {"characters": len(text or "")})
