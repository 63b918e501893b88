"""When no range is given: the cases in which the model would have to make a number up, each with its
sentence."""

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.model.features.design import Design

MINIMUM_GROUPS = 8
"""Groups needed before the spread between them says anything of one never seen."""

WIDEST = 40.0
"""High over low beyond which a range is no use to anyone."""

OUTSIDE = 0.25
"""Share of the span on record that a numeric value may lie outside it."""


def refusals(design: Design, codes: Ints, features: pl.DataFrame, prices: Floats) -> pl.Series:
    """For every car null, or the first reason that applies why its range (``prices``: low, mid, high) is
    withheld."""
    rows = len(features)
    reason = pl.Series("reason", [None] * rows, dtype=pl.String)

    def refuse(where: np.ndarray, sentence: pl.Expr) -> None:
        nonlocal reason
        if where.any():
            told = features.select(sentence.alias("told"))["told"]
            reason = reason.to_frame().select(
                pl.when(pl.col("reason").is_null() & pl.Series(where))
                .then(told)
                .otherwise("reason")
                .alias("reason")
            )["reason"]

    groups = design.spec.groups
    if groups and design.groups.tree.sizes[0] < MINIMUM_GROUPS:
        known = design.groups.tree.sizes[0]
        named = pl.col(groups[0]).fill_null("not given")
        refuse(
            codes[:, 0] < 0,
            pl.format(
                f"{groups[0]} {{}} is not on record, and {known} others are too few to judge it by", named
            ),
        )
    if design.spec.event_date:
        days = features[design.spec.event_date].to_physical().to_numpy()
        refuse(
            days < design.first_day,
            pl.format("the date {} is before the first sale on record", pl.col(design.spec.event_date)),
        )
    for numeric in design.numerics:
        margin = (numeric.high - numeric.low) * OUTSIDE
        values = features[numeric.name].to_numpy()
        outside = (values < numeric.low - margin) | (values > numeric.high + margin)
        if not outside.any():
            continue
        refuse(
            outside,
            pl.format(
                f"{numeric.name} {{}} is far outside what is on record ({numeric.low:g} to {numeric.high:g})",
                pl.col(numeric.name).round_sig_figs(6).cast(pl.String).str.strip_suffix(".0"),
            ),
        )
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        ratio = prices[:, 2] / prices[:, 0]
    refuse(
        ~(ratio < WIDEST),
        pl.lit(f"so little is known that the high price would be over {WIDEST:g} times the low one"),
    )
    return reason
