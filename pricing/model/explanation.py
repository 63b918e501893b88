"""What makes up a mid price: factors, in a valuer's order, that multiply to it exactly.

Every factor is against the average sale on record: ``exp((x - x_average) @ theta)`` of the columns of its
term, with the coefficients of the car's own finest known group; a group's factor is what its coefficients
change at the average. The effect in per cent is corrected for the variance ``V`` of its logarithm, ``100
(exp(b - V / 2) - 1)`` (Kennedy 1981).
"""

import numpy as np
import polars as pl
from scipy import stats

from pricing.model.design import Design, Encoded
from pricing.model.hedonic import HedonicRegression
from pricing.model.pooling import Floats

BASE = "average sale"
INTERACTIONS = "interactions"
CALIBRATION = "calibration"
COVERAGE = 0.8


def explain(
    design: Design,
    regression: HedonicRegression,
    encoded: Encoded,
    features: pl.DataFrame,
    reference: Floats,
    beside: dict[str, Floats],
) -> pl.DataFrame:
    """Long frame of the terms of every car; ``beside`` are what else was added to each log mid, by term."""
    posterior, codes, rows = regression.estimates_.posterior, encoded.codes, len(features)
    none = np.zeros(rows)
    parts: list[tuple[str, pl.Series, Floats, Floats]] = []
    market_variance = float(reference @ posterior.covariance @ reference)
    parts.append(
        (BASE, _text(rows), np.full(rows, reference @ posterior.market), np.full(rows, market_variance))
    )
    above = np.broadcast_to(posterior.market, (rows, len(posterior.market)))
    for level, name in enumerate(design.spec.groups):
        current = posterior.coefficients(codes[:, : level + 1])
        known = codes[:, level] >= 0
        S = posterior.levels[level].columns
        variance = np.full(rows, float(np.square(reference) @ regression.estimates_.priors.levels[level]))
        variance[known] = np.einsum(
            "i,nij,j->n", reference[S], posterior.levels[level].spread[codes[known, level]], reference[S]
        )
        parts.append((name, features[name], (current - above) @ reference, variance))
        above = current
    departure = encoded.X - reference
    for term in _terms(design):
        for label, value, columns in _columns_of(design, term, features):
            masked = np.zeros_like(departure)
            masked[:, columns] = departure[:, columns]
            variance = posterior.variance(masked, codes, regression.estimates_.priors)
            parts.append((label, value, np.einsum("np,np->n", masked, above), variance))
    parts += [(label, _text(rows), effect, none) for label, effect in beside.items()]
    reach = float(stats.norm.ppf((1.0 + COVERAGE) / 2.0))
    frames = [
        pl.DataFrame(
            {
                "row": np.arange(rows, dtype=np.uint32),
                "term": [label] * rows,
                "value": value.cast(pl.String).rename("value"),
                "factor": np.exp(effect),
                "low": np.exp(effect - reach * np.sqrt(variance)),
                "high": np.exp(effect + reach * np.sqrt(variance)),
                "per_cent": 100.0 * np.expm1(effect - variance / 2.0),
            }
        )
        for label, value, effect, variance in parts
    ]
    return pl.concat(frames).sort("row", maintain_order=True)


def _terms(design: Design) -> list[str]:
    """Terms beside the groups: date, condition, numerics, options, categories; asking gaps are never a
    car's own."""
    present = dict.fromkeys(block.term for block in design.blocks)
    first = [term for term in ("date", "condition") if term in present]
    return first + [term for term in present if term not in {"level", "asking", *first}]


def _columns_of(design: Design, term: str, features: pl.DataFrame) -> list[tuple[str, pl.Series, list[int]]]:
    """The lines of a term: one, but for options, which have a line each."""
    spec = design.spec
    if term == "options":
        places = next(block.columns for block in design.blocks if block.name == "options")
        return [
            (code or name, _option(features, name, code), [int(column)])
            for column, (name, code) in zip(places, design.options, strict=True)
        ]
    columns = [int(column) for block in design.blocks if block.term == term for column in block.columns]
    source = {"date": spec.event_date, "condition": spec.condition}.get(term, term)
    return [(term, features[source or term], columns)]


def _option(features: pl.DataFrame, name: str, code: str | None) -> pl.Series:
    present = features[name].cast(pl.Boolean) if code is None else features[name].list.contains(code)
    return present.fill_null(False).replace_strict({True: "yes", False: "no"}, return_dtype=pl.String)


def _text(rows: int) -> pl.Series:
    return pl.Series([None] * rows, dtype=pl.String)
