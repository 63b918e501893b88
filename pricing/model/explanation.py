"""What makes up a mid price: factors, in a valuer's order, that multiply to it exactly; and what it rests on.

Every factor is against the average sale on record: ``exp((x - x_average) @ theta)`` of the columns of its
term, with the coefficients of the car's own finest known group; a group's factor is what its coefficients
change at the average. The effect in per cent is corrected for the variance ``V`` of its logarithm, ``100
(exp(b - V / 2) - 1)`` (Kennedy 1981).

The mid of a fit is, for a car of one model, the mean of three things weighted by their precision (a normal
law updated twice): what the make and the market say of a model not seen, the model's own sales, and
statements about it. The weights are the shares. What each does to the width is how much narrower the range
is for it.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Floats
from pricing.model.features.design import Design, Encoded
from pricing.model.prediction import Fitted
from pricing.model.regression.hedonic import HedonicRegression
from pricing.model.statements import kind_level

_NOTHING: Final = pl.lit(None, pl.String)
BASE = "average sale"
INTERACTIONS = "interactions"
COVERAGE = 0.8


def explain(
    design: Design,
    regression: HedonicRegression,
    encoded: Encoded,
    features: pl.DataFrame,
    reference: Floats,
    carried: Floats,
    beside: dict[str, Floats],
) -> pl.DataFrame:
    """Long frame of the terms of every car; ``carried`` is what a persistent shift of
    the market adds to the date, ``beside`` what else was added to each log mid, by term."""
    posterior, codes, rows = regression.estimates.posterior, encoded.codes, len(features)
    market, doubt = reference @ posterior.market, float(reference @ posterior.covariance @ reference)
    lines: list[tuple[str, pl.Expr, Floats, Floats]] = [
        (BASE, _NOTHING, np.full(rows, market), np.full(rows, doubt))
    ]
    above = np.broadcast_to(posterior.market, (rows, len(posterior.market)))
    for level, name in enumerate(design.spec.groups):
        current = posterior.coefficients(codes[:, : level + 1])
        known = codes[:, level] >= 0
        S = posterior.levels[level].columns
        variance = np.full(rows, float(np.square(reference) @ regression.estimates.priors.levels[level]))
        variance[known] = np.einsum(
            "i,nij,j->n", reference[S], posterior.levels[level].spread[codes[known, level]], reference[S]
        )
        lines.append((name, pl.col(name), (current - above) @ reference, variance))
        above = current
    departure = encoded.X - reference
    for term in _terms(design):
        for label, value, columns in _columns_of(design, term):
            masked = np.zeros_like(departure)
            masked[:, columns] = departure[:, columns]
            variance = posterior.variance(masked, codes, regression.estimates.priors)
            effect = np.einsum("np,np->n", masked, above) + (carried if term == "date" else 0.0)
            lines.append((label, value, effect, variance))
    lines += [(label, _NOTHING, effect, np.zeros(rows)) for label, effect in beside.items()]
    labels, values, effects, variances = zip(*lines, strict=True)
    flat, variance = np.column_stack(effects).ravel(), np.column_stack(variances).ravel()
    half = float(stats.norm.ppf((1.0 + COVERAGE) / 2.0)) * np.sqrt(variance)
    own = pl.concat_list(value.cast(pl.String) for value in values).explode()
    return pl.DataFrame(
        {
            "row": np.repeat(np.arange(rows, dtype=np.uint32), len(lines)),
            "term": list(labels) * rows,
            "value": features.select(value=own)["value"],
            "factor": np.exp(flat),
            "low": np.exp(flat - half),
            "high": np.exp(flat + half),
            "per_cent": 100.0 * np.expm1(flat - variance / 2.0),
        }
    )


def _terms(design: Design) -> list[str]:
    """Terms beside the groups: date, condition, numerics, options, categories; asking gaps are never a
    car's own."""
    present = dict.fromkeys(block.term for block in design.blocks)
    first = [term for term in ("date", "condition") if term in present]
    return first + [term for term in present if term not in {"level", "asking", *first}]


def _columns_of(design: Design, term: str) -> list[tuple[str, pl.Expr, list[int]]]:
    """The lines of a term with what the car has there: one, but for options, which have a line each."""
    spec = design.spec
    if term == "options":
        places = next(block.columns for block in design.blocks if block.name == "options")
        return [
            (code or name, _option(name, code), [int(column)])
            for column, (name, code) in zip(places, design.options, strict=True)
        ]
    columns = [int(column) for block in design.blocks if block.term == term for column in block.columns]
    source = {"date": spec.event_date, "condition": spec.condition}.get(term, term)
    return [(term, pl.col(source or term), columns)]


def _option(name: str, code: str | None) -> pl.Expr:
    present = pl.col(name).cast(pl.Boolean) if code is None else pl.col(name).list.contains(code)
    return pl.when(present).then(pl.lit("yes")).otherwise(pl.lit("no"))


@dataclass(frozen=True)
class Ground:
    """What the mid and the width of one car's range rest on.

    Args:
        relations, sales, opinions: weight (0 to 1, together 1) of other models of the make and the market,
            of the model's own sales, and of statements about it, in the log of the mid.
        narrower_for_sales, narrower_for_opinions: share by which the range is narrower for each.
        sales_of_model, sales_of_make: how many sales there are.
        statements: how many statements about the model count.
    """

    relations: float
    sales: float
    opinions: float
    narrower_for_sales: float
    narrower_for_opinions: float
    sales_of_model: int
    sales_of_make: int
    statements: int


def grounds(fitted: Fitted, features: pl.DataFrame) -> list[Ground]:
    """The ground of each of some cars (prepared features), in their order.

    Raises:
        ModelError: the model knows no groups of cars.
    """
    design = fitted.design
    level = kind_level(design)
    encoded = design.encode(features)
    X, codes = encoded.X, encoded.codes
    heard, alone = fitted.regression, fitted.of_sales
    stranger = codes.copy()
    stranger[:, level:] = -1
    unforeseen = design.unforeseen(encoded, alone.estimates.priors)
    (relations, _), (sales, scatter), (both, _) = (
        regression.predict_variance(X, own)
        for regression, own in ((alone, stranger), (alone, codes), (heard, codes))
    )
    scatter = scatter + unforeseen
    width = [np.sqrt(own + scatter) for own in (relations, sales, both)]
    from_opinions = np.clip(1.0 - both / sales, 0.0, 1.0)
    from_relations = np.minimum(both / relations, 1.0 - from_opinions)
    kind, make = codes[:, level], codes[:, 0]
    of_model = np.where(kind >= 0, fitted.counts[level][kind], 0)
    of_make = np.where(make >= 0, fitted.counts[0][make], 0)
    counted = np.zeros(len(X), dtype=np.int64)
    if fitted.heard is not None:
        counted = np.where(kind >= 0, fitted.heard.counted[kind], 0)
    parts = (
        from_relations, np.maximum(1.0 - from_opinions - from_relations, 0.0), from_opinions,
        np.maximum(1.0 - width[1] / width[0], 0.0), np.maximum(1.0 - width[2] / width[1], 0.0),
        of_model, of_make, counted,
    )  # fmt: skip
    return [Ground(*row) for row in zip(*(part.tolist() for part in parts), strict=True)]
