"""A market's book of comparable sales: the sold cars laid out, and how far they were off before."""

from dataclasses import dataclass, fields
from datetime import date
from typing import Self

import polars as pl

from pricing.errors import EvidenceError
from pricing.evidence.comparison.range_scores import RangeScores
from pricing.evidence.comparison.sale_features import SaleFeatures
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel


@dataclass(frozen=True)
class ComparablesIndex(SaleFeatures):
    """What :func:`comparables.find_comparables` asks, made once for a market and a model: the layout, and the
    ``scores`` that its ranges are calibrated on."""

    scores: RangeScores

    @classmethod
    def build(
        cls, sales: pl.DataFrame, model: PriceModel, *, currency: str = "EUR", as_of: date | None = None
    ) -> Self:
        """From ``Market.sales`` and a model fitted to them; with ``as_of`` from what was known then.

        Raises:
            EvidenceError: no car had been sold by then, or the model knows opinions alone.
        """
        if isinstance(model, OpinionBands):
            raise EvidenceError(
                f"comparable sales are adjusted by a price model, for which {model.facts['sales']} sales are "
                "too few: this market is priced by opinion alone"
            )
        laid = SaleFeatures.of(sales, model, currency=currency, as_of=as_of)
        parts = {field.name: getattr(laid, field.name) for field in fields(SaleFeatures)}
        return cls(**parts, scores=RangeScores.fit(laid))
