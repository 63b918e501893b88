"""What a reader should know of a price that is given all the same: a state the records contradict, a value
they have never seen."""

import numpy as np
import polars as pl

from pricing.arrays import Ints
from pricing.model.features.design import Design
from pricing.model.prediction import Prediction
from pricing.model.regression.fitting import Estimates


def remarks(design: Design, estimates: Estimates, guess: Prediction, features: pl.DataFrame) -> pl.Series:
    """For every car null, or one or two sentences."""
    parts = [
        *_inverted(design, estimates, guess.codes),
        *_states_never_seen(design, features),
        *_never_seen(design, guess, features),
    ]
    if not parts:
        return pl.Series("remark", [None] * len(features), dtype=pl.String)
    told = pl.select(pl.concat_str(parts, separator="; ", ignore_nulls=True).alias("remark"))["remark"]
    return told.replace("", None)


def _inverted(design: Design, estimates: Estimates, codes: Ints) -> list[pl.Series]:
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
    return [pl.Series("inverted", sentences.tolist(), dtype=pl.String)]


def _states_never_seen(design: Design, features: pl.DataFrame) -> list[pl.Series]:
    """A sentence for cars in a state of which no offer is on record."""
    if design.condition is None or not design.condition.unseen:
        return []
    band = pl.col(design.condition.column)
    sentence = pl.format("no offer on record is of a car in the state '{}'; the range is wider for it", band)
    told = pl.when(band.is_in(list(design.condition.unseen))).then(sentence)
    return [features.select(told.alias("state"))["state"]]


def _never_seen(design: Design, guess: Prediction, features: pl.DataFrame) -> list[pl.Series]:
    """A sentence for each category with a value that hardly an offer on record has."""
    result = []
    for category, novel in zip(design.categories, guess.novel.T, strict=True):
        if novel.any():
            name = pl.col(category.name)
            words = category.name.replace("_", " ")
            sentence = pl.format(
                f"hardly an offer on record has {words} '{{}}'; the range is wider for it", name
            )
            told = pl.when(pl.Series(novel) & name.is_not_null()).then(sentence)
            result.append(features.select(told.alias(category.name))[category.name])
    return result
