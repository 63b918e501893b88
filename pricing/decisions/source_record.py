"""The record of a market's sources: what each said against the sales that came later, beside the price
model's own loss on the same sales."""

import numpy as np
import polars as pl

from pricing.evidence.source_scores import Move, SourceScores, score_sources
from pricing.model.accuracy.saved_scores import load_scores
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel
from pricing.snapshot import Snapshot


def source_record(snapshot: Snapshot) -> SourceScores:
    """The scores of every source of a market: prices brought to the day of a statement by the newest fit, if
    there is one, and beside them the loss of the price model as it was scored last."""
    scores = load_scores(snapshot.market)
    model = None if snapshot.state.fit is None else snapshot.model
    moved = None if model is None or isinstance(model, OpinionBands) else _mover(model)
    scored = None if scores is None else scores.scored.rows
    return score_sources(snapshot.opinions(), snapshot.sales(), moved, scored)


def _mover(model: PriceModel) -> Move:
    """Brings prices from the day of a sale to the day of a statement, as the model has the market moved for
    that car."""

    def factor(pairs: pl.DataFrame) -> pl.Series:
        then = pairs.with_columns(event_date="stated_on")
        return pl.Series(np.exp(model.log_mid(then) - model.log_mid(pairs)))

    return factor
