"""The market as a program in Python meets it: the store's, which knows no model, with the fits kept in it."""

from pricing.model.price_model import PriceModel
from pricing.model.saved import load
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
