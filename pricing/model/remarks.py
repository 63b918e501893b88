"""What a reader should know of a price that is given all the same: a state the records contradict, a value
they have never seen."""

import numpy as np
import polars as pl

from pricing.arrays import Ints
from pricing.model.design import Design
from pricing.model.fitting import Estimates


def remarks(design: Design, estimates: Estimates, codes: Ints, features: pl.DataFrame) -> pl.Series:
    """For every car null, or one or two sentences."""
    parts = [
        _inverted(design, estimates, codes),
        *_states_never_seen(design, features),
        *_never_seen(design, features),
    ]
    frame = pl.DataFrame(parts) if len(features) else pl.DataFrame(schema={"none": pl.String})
    told = frame.select(pl.concat_str(pl.all(), separator="; ", ignore_nulls=True).alias("remark"))["remark"]
    return told.replace("", None)


def _inverted(design: Design, estimates: Estimates, codes: Ints) -> pl.Series:
    sentences = np.full(len(codes), None, dtype=object)
    if design.condition is not None and estimates.inverted:
        bands = design.condition.bands
        finest = (codes >= 0).sum(axis=1)
        steps = np.zeros((len(codes), len(bands) - 1), dtype=bool)
        for level, inverted in enumerate(estimates.inverted):
            rows = np.flatnonzero(finest == level)
            steps[rows] = inverted[codes[rows, level - 1]] if level else inverted[0]
        for step in range(len(bands) - 2, -1, -1):
            sentences[steps[:, step]] = (
                f"on record, cars in the state '{bands[step + 1]}' sold for less than those in the state "
                f"'{bands[step]}', other things alike; the two are priced as one"
            )
    return pl.Series("inverted", sentences.tolist(), dtype=pl.String)


def _states_never_seen(design: Design, features: pl.DataFrame) -> list[pl.Series]:
    """A sentence for cars in a state of which no offer is on record."""
    if design.condition is None or not design.condition.unseen:
        return []
    band = pl.col(design.condition.column)
    sentence = pl.format("no offer on record is of a car in the state '{}'; the range is wider for it", band)
    told = pl.when(band.is_in(list(design.condition.unseen))).then(sentence)
    return [features.select(told.alias("state"))["state"]]


def _never_seen(design: Design, features: pl.DataFrame) -> list[pl.Series]:
    """A sentence for each category with a value that no offer on record has."""
    result = []
    for category in design.categories:
        name = pl.col(category.name)
        new = name.is_not_null() & ~name.is_in(list(category.values))
        words = category.name.replace("_", " ")
        sentence = pl.format(f"hardly an offer on record has {words} '{{}}'; the range is wider for it", name)
        result.append(features.select(pl.when(new).then(sentence).alias(category.name))[category.name])
    return result
