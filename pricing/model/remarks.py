"""What is said beside a price: when no range is given, for the model would have to make a number up, and what
a reader should know of one that is given all the same."""

import numpy as np
import polars as pl

from pricing.arrays import Bools, Floats, Ints
from pricing.model.features.design import Design
from pricing.model.prediction import Prediction
from pricing.model.regression.fitting import Estimates


def remarks(design: Design, estimates: Estimates, guess: Prediction, features: pl.DataFrame) -> pl.Series:
    """For every car null, or one or two sentences."""
    parts = [
        *_inverted(design, estimates, guess.codes), *_states_never_seen(design), *_never_seen(design, guess)
    ]  # fmt: skip
    if not parts:
        return pl.Series("remark", [None] * len(features), dtype=pl.String)
    remark = pl.concat_str(parts, separator="; ", ignore_nulls=True)
    return features.select(remark=remark.replace("", None))["remark"]


def _inverted(design: Design, estimates: Estimates, codes: Ints) -> list[pl.Expr]:
    """A sentence for cars of groups whose steps between bands the records contradict."""
    if design.condition is None or not any(inverted.any() for inverted in estimates.inverted):
        return []
    sentences = np.full(len(codes), None, dtype=object)
    bands = design.condition.bands
    finest = (codes >= 0).sum(axis=1)
    steps = np.zeros((len(codes), len(bands) - 1), dtype=bool)
    for level, inverted in enumerate(estimates.inverted):
        rows = np.flatnonzero(finest == level)
        steps[rows] = inverted[codes[rows, level - 1]] if level else inverted[0]
    if not steps.any():
        return []
    for step in range(len(bands) - 2, -1, -1):
        sentences[steps[:, step]] = (
            f"on record, cars in the state '{bands[step + 1]}' sold for less than those in the state "
            f"'{bands[step]}', other things alike; the two are priced as one"
        )
    return [pl.lit(pl.Series(sentences.tolist(), dtype=pl.String))]


def _states_never_seen(design: Design) -> list[pl.Expr]:
    """A sentence for cars in a state of which no offer is on record."""
    if design.condition is None or not design.condition.unseen:
        return []
    band = pl.col(design.condition.column)
    sentence = pl.format("no offer on record is of a car in the state '{}'; the range is wider for it", band)
    return [pl.when(band.is_in(list(design.condition.unseen))).then(sentence)]


def _never_seen(design: Design, guess: Prediction) -> list[pl.Expr]:
    """A sentence for each category with a value that hardly an offer on record has."""
    result: list[pl.Expr] = []
    for category, novel in zip(design.categories, guess.novel.T, strict=True):
        if novel.any():
            name, words = pl.col(category.name), category.name.replace("_", " ")
            sentence = f"hardly an offer on record has {words} '{{}}'; the range is wider for it"
            result.append(pl.when(pl.Series(novel) & name.is_not_null()).then(pl.format(sentence, name)))
    return result


MINIMUM_GROUPS = 8
"""Groups needed before the spread between them says anything of one never seen."""

WIDEST = 40.0
"""High over low beyond which a range is no use to anyone."""

OUTSIDE = 0.25
"""Share of the span on record that a numeric value may lie outside it."""


def refusals(design: Design, codes: Ints, features: pl.DataFrame, prices: Floats) -> pl.Series:
    """For every car null, or the first reason that applies why its range (``prices``: low, mid, high) is
    withheld."""
    cases: list[tuple[Bools, pl.Expr]] = []
    groups, known = design.spec.groups, design.groups.tree.sizes[:1]
    if groups and known[0] < MINIMUM_GROUPS:
        sentence = f"{groups[0]} {{}} is not on record, and {known[0]} others are too few to judge it by"
        cases.append((codes[:, 0] < 0, pl.format(sentence, pl.col(groups[0]).fill_null("not given"))))
    if design.spec.event_date:
        days = features[design.spec.event_date].to_physical().to_numpy()
        sentence = "the date {} is before the first sale on record"
        cases.append((days < design.first_day, pl.format(sentence, pl.col(design.spec.event_date))))
    for numeric in design.numerics:
        margin = (numeric.high - numeric.low) * OUTSIDE
        values = features[numeric.name].to_numpy()
        outside = (values < numeric.low - margin) | (values > numeric.high + margin)
        on_record = f"({numeric.low:g} to {numeric.high:g})"
        value = pl.col(numeric.name).round_sig_figs(6).cast(pl.String).str.strip_suffix(".0")
        sentence = f"{numeric.name} {{}} is far outside what is on record {on_record}"
        cases.append((outside, pl.format(sentence, value)))
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        ratio = prices[:, 2] / prices[:, 0]
    sentence = f"so little is known that the high price would be over {WIDEST:g} times the low one"
    cases.append((~(ratio < WIDEST), pl.lit(sentence)))
    refused = [pl.when(pl.Series(where)).then(reason) for where, reason in cases if where.any()]
    if not refused:
        return pl.Series("reason", [None] * len(features), dtype=pl.String)
    return features.select(reason=pl.coalesce(refused))["reason"]
