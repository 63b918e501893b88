"""What a price rests on: the sales of its model, what is known of related cars, and what people say.

The mid of a fit is, for a car of one model, the mean of three things weighted by their precision (a normal
law updated twice): what the make and the market say of a model not seen, the model's own sales, and
statements about it. The weights are the shares. What each does to the width is how much narrower the range
is for it.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pricing.model.prediction import Fitted
from pricing.model.statements import kind_level


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
    told = np.zeros(len(X), dtype=np.int64)
    if fitted.heard is not None:
        told = np.where(kind >= 0, fitted.heard.counted[kind], 0)
    return [
        Ground(*row)
        for row in zip(
            from_relations.tolist(), np.maximum(1.0 - from_opinions - from_relations, 0.0).tolist(),
            from_opinions.tolist(), np.maximum(1.0 - width[1] / width[0], 0.0).tolist(),
            np.maximum(1.0 - width[2] / width[1], 0.0).tolist(), of_model.tolist(), of_make.tolist(),
            told.tolist(), strict=True,
        )
    ]  # fmt: skip
