"""The one way to make a price model of all that a market holds."""

from datetime import date

import polars as pl

from pricing.model.features.spec import FeatureSpec
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import MINIMUM_SALES, PriceModel
from pricing.model.statements import as_rows
from pricing.progress import Progress, untold
from pricing.store.market import Market


def fit_market(
    market: Market,
    progress: Progress = untold,
    *,
    as_of: date | None = None,
    start: PriceModel | None = None,
    seed: int = 0,
) -> PriceModel:
    """The price model of all that a market holds, up to ``as_of``: of its sales with what people say beside
    them; where there are fewer than ``MINIMUM_SALES`` sales, of what people say alone.

    Raises:
        ModelError: there is neither a sale nor a statement.
    """
    sales, opinions = market.sales(as_of=as_of), market.opinions(as_of)
    sold = sales.filter(pl.col("outcome") == "sold").height
    if sold < MINIMUM_SALES and opinions.height:
        return OpinionBands.of(opinions, sold)
    statements = as_rows(opinions) if opinions.height else None
    first = None if isinstance(start, OpinionBands) else start
    return PriceModel(FeatureSpec.cars(), seed).fit(sales, progress, first, opinions=statements)
