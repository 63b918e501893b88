"""The market as a program in Python meets it: the store's, which knows no model, with the fits kept in it;
and the one way to make a fit of a market."""

from datetime import date

import polars as pl

from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import MINIMUM_SALES, PriceModel
from pricing.model.saved import load
from pricing.model.spec import FeatureSpec
from pricing.model.statements import as_rows
from pricing.progress import Progress, untold
from pricing.store.market import Market as StoredMarket


class Market(StoredMarket):
    """One market file, opened by ``Market.open``, and the fits kept in it.

    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     Market.open(Path(folder) / "market.duckdb").model()  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    pricing.errors.MarketError: ... holds no fitted model; fit one first
    """

    def model(self, fit: str | None = None) -> PriceModel:
        """A fit that the market keeps, the newest unless an id of ``fits()`` is given.

        Raises:
            MarketError: it keeps no such fit.
            ModelError: the fit is of another format, or was altered.
        """
        return load(self, fit)


def fit_market(
    market: StoredMarket,
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
    said = as_rows(opinions) if opinions.height else None
    first = None if isinstance(start, OpinionBands) else start
    return PriceModel(FeatureSpec.cars(), seed).fit(sales, progress, first, opinions=said)
