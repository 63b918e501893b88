"""Which sales are looked at for a subject, nearest first from the same variant outward, and which are not."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.errors import EvidenceError
from pricing.evidence.choices import Choice
from pricing.evidence.layout import MOST_GROSS, RINGS, SHORTLIST, Layout
from pricing.model.pooling import Floats, Ints

BEYOND: Final = f"needs more adjustment than a comparable can bear (log price by {MOST_GROSS:g} in all)"


def choose(
    book: Layout,
    bundle: Floats,
    group: tuple[Any, ...],
    day: float,
    count: int,
    made: Mapping[tuple[str, str], Choice],
) -> tuple[Ints, Ints, list[dict[str, Any]]]:
    """Rows of the shortlist, the ring of each, and what was left out so far: from the same variant outward,
    until there are ``count``."""
    dropped = _rows_of(book, made, "drop")
    added = _rows_of(book, made, "add")
    wide = book.ring(len(RINGS) - 1, group)
    for ring in range(len(RINGS)):
        where = book.ring(ring, group)
        apart = book.distances(bundle, where, day)
        late = int((book.days[where] > day).sum())
        far = int(np.isinf(apart).sum()) - late
        inside = dropped[(dropped >= where.start) & (dropped < where.stop)] - where.start
        apart[inside] = np.inf
        if np.isfinite(apart).sum() >= count:
            break
    want = min(SHORTLIST * count, len(apart))
    nearest = np.argpartition(apart, want - 1)[:want] if want else np.empty(0, dtype=np.int64)
    rows = nearest[np.isfinite(apart[nearest])] + where.start
    if len(added) and (book.days[added] > day).any():
        raise EvidenceError("a sale after the effective date cannot be added: it was not known then")
    rows = np.unique(np.concatenate([rows, added]))
    rings = np.full(len(rows), len(RINGS), dtype=np.int64)
    for place in reversed(range(len(RINGS))):
        own = book.ring(place, group)
        rings[(rows >= own.start) & (rows < own.stop)] = place
    left = [
        {"reason": f"dropped: {choice.reason}", "sales": 1, "record_id": record}
        for (record, _), choice in made.items()
        if choice.action == "drop"
    ]
    sizes = (
        (late, "sold after the effective date"),
        (far, BEYOND),
        (int(np.isfinite(apart).sum()) - want, f"less like the subject than those looked at ({RINGS[ring]})"),
        (wide.stop - wide.start - (where.stop - where.start), f"further out than the {RINGS[ring]}"),
    )
    left += [{"reason": reason, "sales": size, "record_id": None} for size, reason in sizes if size > 0]
    return rows, rings, left


def left_over(sales: pl.DataFrame, usable: Ints, kept: Ints, beyond: int) -> list[dict[str, Any]]:
    """The sales of the shortlist that were not used: one by one where they could have been."""
    ids = sales["record_id"]
    less = [
        {"reason": "less like the subject", "sales": 1, "record_id": ids[int(k)]} for k in usable[len(kept) :]
    ]
    return [*less, *([{"reason": BEYOND, "sales": beyond, "record_id": None}] if beyond else [])]


def _rows_of(book: Layout, made: Mapping[tuple[str, str], Choice], action: str) -> Ints:
    """Rows of the sales that a person added or dropped; every one must be there."""
    wanted = [record for (record, _), choice in made.items() if choice.action == action]
    if not wanted:
        return np.empty(0, dtype=np.int64)
    rows = book.sales.select(pl.col("record_id").is_in(wanted).arg_true()).to_series()
    found = book.sales["record_id"][rows].to_list()
    absent = sorted(set(wanted) - set(found))
    if absent:
        raise EvidenceError(f"to {action} record {absent[0]!r}: the market has no such sale")
    return rows.cast(pl.Int64).to_numpy()


def marked(sales: pl.DataFrame, made: Mapping[tuple[str, str], Choice], action: str) -> Any:
    """Which of the sales a person chose to add, drop or adjust: a truth value each."""
    wanted = [record for (record, _), choice in made.items() if choice.action == action]
    return sales["record_id"].is_in(wanted).to_numpy()
