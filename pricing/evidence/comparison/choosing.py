"""Which sales are looked at for a subject, nearest first from the same variant outward, and which are not."""

from collections.abc import Mapping
from math import exp
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.errors import EvidenceError
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.sale_features import MATCH_LEVELS, MOST_GROSS, SHORTLIST, SaleFeatures

BEYOND: Final = (
    f"would need its price changed too much to compare (by a factor of {exp(MOST_GROSS):.1f} in all)"
)


def choose(
    indexed: SaleFeatures,
    attributes: Floats,
    group: tuple[Any, ...],
    day: float,
    count: int,
    made: Mapping[tuple[str, str], Choice],
) -> tuple[Ints, Ints, list[dict[str, Any]]]:
    """Rows of the shortlist, the match level of each, and what was left out so far: from the variant outward,
    until there are ``count``."""
    dropped = _rows_of(indexed, made, "drop")
    added = _rows_of(indexed, made, "add")
    wide = indexed.at_level(len(MATCH_LEVELS) - 1, group)
    for match_level in range(len(MATCH_LEVELS)):
        where = indexed.at_level(match_level, group)
        apart = indexed.distances(attributes, where, day)
        late = int((indexed.days[where] > day).sum())
        far = int(np.isinf(apart).sum()) - late
        inside = dropped[(dropped >= where.start) & (dropped < where.stop)] - where.start
        apart[inside] = np.inf
        if np.isfinite(apart).sum() >= count:
            break
    want = min(SHORTLIST * count, len(apart))
    nearest = np.argpartition(apart, want - 1)[:want] if want else np.empty(0, dtype=np.int64)
    rows = nearest[np.isfinite(apart[nearest])] + where.start
    if len(added) and (indexed.days[added] > day).any():
        raise EvidenceError("a sale after the effective date cannot be added: it was not known then")
    rows = np.unique(np.concatenate([rows, added]))
    levels = np.full(len(rows), len(MATCH_LEVELS), dtype=np.int64)
    for place in reversed(range(len(MATCH_LEVELS))):
        own = indexed.at_level(place, group)
        levels[(rows >= own.start) & (rows < own.stop)] = place
    left = [
        {"reason": f"dropped: {choice.reason}", "sales": 1, "record_id": record}
        for (record, _), choice in made.items()
        if choice.action == "drop"
    ]
    sizes = (
        (late, "sold after the effective date"),
        (far, BEYOND),
        (
            int(np.isfinite(apart).sum()) - want,
            f"less like the subject than those looked at ({MATCH_LEVELS[match_level]})",
        ),
        (
            wide.stop - wide.start - (where.stop - where.start),
            f"further out than the {MATCH_LEVELS[match_level]}",
        ),
    )
    left += [{"reason": reason, "sales": size, "record_id": None} for size, reason in sizes if size > 0]
    return rows, levels, left


def left_over(sales: pl.DataFrame, usable: Ints, kept: Ints, beyond: int) -> list[dict[str, Any]]:
    """The sales of the shortlist that were not used: one by one where they could have been."""
    ids = sales["record_id"]
    less = [
        {"reason": "less like the subject", "sales": 1, "record_id": ids[int(k)]} for k in usable[len(kept) :]
    ]
    return [*less, *([{"reason": BEYOND, "sales": beyond, "record_id": None}] if beyond else [])]


def _rows_of(indexed: SaleFeatures, made: Mapping[tuple[str, str], Choice], action: str) -> Ints:
    """Rows of the sales that a person added or dropped; every one must be there."""
    wanted = [record for (record, _), choice in made.items() if choice.action == action]
    if not wanted:
        return np.empty(0, dtype=np.int64)
    rows = indexed.sales.select(pl.col("record_id").is_in(wanted).arg_true()).to_series()
    record_ids = indexed.sales["record_id"][rows].to_list()
    absent = sorted(set(wanted) - set(record_ids))
    if absent:
        raise EvidenceError(f"to {action} record {absent[0]!r}: the market has no such sale")
    return rows.cast(pl.Int64).to_numpy()


def marked(sales: pl.DataFrame, made: Mapping[tuple[str, str], Choice], action: str) -> Any:
    """Which of the sales a person chose to add, drop or adjust: a truth value each."""
    wanted = [record for (record, _), choice in made.items() if choice.action == action]
    return sales["record_id"].is_in(wanted).to_numpy()
