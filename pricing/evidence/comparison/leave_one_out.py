"""How right the comparable-sales approach is: every sale valued from the others, and held against its price.

A sale is valued as ``held_out`` says: as of its own day, without itself. The model's own mid beside it is
that of the model given: where it was fitted to the sale that is valued, that flatters it, and ``from_day``
with a model fitted to earlier sales does not.
"""

from datetime import date

import numpy as np
import polars as pl

from pricing.evidence.comparison.comparables_index import ComparablesIndex, others_of_model
from pricing.evidence.comparison.held_out import held_out
from pricing.evidence.comparison.sale_features import MINIMUM
from pricing.model.accuracy.ratio_study import ratio_study
from pricing.model.price_model import PriceModel


def leave_one_out(
    indexed: ComparablesIndex,
    model: PriceModel,
    *,
    count: int = 12,
    from_day: date | None = None,
    coverage: float = 0.8,
) -> pl.DataFrame:
    """One row a sold car (from a day on): ``record_id``, ``evidence`` (depth class of the model), ``graded``,
    ``kind`` (of ``RangeScores``), ``price``, ``comparables`` (how many were found), ``value`` (null under
    ``MINIMUM``) with ``low`` and ``high`` (null also where its kind has no range) and ``model`` (the model's
    own mid)."""
    wanted = np.ones(len(indexed.sales), dtype=bool)
    if from_day is not None:
        wanted = (indexed.sales["event_date"] >= from_day).to_numpy()
    found = held_out(indexed, np.flatnonzero(wanted), count)
    rows = found.rows
    kind = pl.Series("kind", indexed.scores.kinds(indexed.graded(rows), others_of_model(indexed)[rows]))
    wide = {name: indexed.scores.quantile(name, coverage) for name in indexed.scores.scores}
    reach = found.spread * kind.replace_strict(wide, return_dtype=pl.Float64).to_numpy()
    mid = np.where(found.found >= MINIMUM, found.mid, np.nan)
    cars = indexed.sales[rows]
    ranges = pl.concat([model.price_range(part) for part in cars.iter_slices(5_000)])
    return pl.DataFrame(
        {
            "record_id": cars["record_id"],
            "evidence": ranges["evidence"],
            "graded": pl.Series(indexed.graded(rows)),
            "kind": kind,
            "price": cars["price"].cast(pl.Float64),
            "comparables": found.found,
            "low": np.exp(mid - reach),
            "value": np.exp(mid),
            "high": np.exp(mid + reach),
            "model": ranges["mid"],
        },
        nan_to_null=True,
    )


def summary(valued: pl.DataFrame) -> pl.DataFrame:
    """The ratio study (``pricing.model.accuracy.ratio_study``) of the comparables' value and of the model's
    mid, by depth class and for all, on the sales that both value: ``estimate``, ``evidence``, ``asked``
    (sales), the measures, and ``inside`` (share of prices between the comparables' low and high)."""
    both = valued.drop_nulls(["value", "model"])
    classes = [*both["evidence"].unique().sort().to_list(), None]
    rows = []
    for evidence in classes:
        part = both if evidence is None else both.filter(pl.col("evidence") == evidence)
        if len(part) < 2:
            continue
        asked = valued if evidence is None else valued.filter(pl.col("evidence") == evidence)
        inside = part.select(pl.col("price").is_between("low", "high").mean()).item()
        for name in ("value", "model"):
            study = ratio_study(part[name].to_numpy(), part["price"].to_numpy())
            rows.append(
                {
                    "estimate": "comparables" if name == "value" else "price model",
                    "evidence": evidence or "all",
                    "asked": len(asked),
                    **study.to_dict(),
                    "inside": inside if name == "value" else None,
                }
            )
    return pl.DataFrame(rows, infer_schema_length=None)
