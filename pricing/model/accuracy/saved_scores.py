"""The scores of a price model in a market file: every scored sale as parquet, whose digest refuses what was
altered."""

import hashlib
import io
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

import polars as pl

from pricing.errors import ModelError
from pricing.model.accuracy.backtest import Backtest
from pricing.store.market import Market

FORMAT: Final = "classic-car-pricing scores 1"


@dataclass(frozen=True)
class SavedScores:
    """Scores of a market's price model: the fit that was in force, the moment (UTC), and whether records or
    the fit are others by now."""

    scored: Backtest
    fit_id: str
    at: datetime
    outdated: bool


def save_scores(scored: Backtest, market: Market, fit_id: str, records: str) -> None:
    """Keep scores in the market file, in place of those before.

    ``fit_id`` and ``records`` are those of the market's state (``Market.state``) when the scoring began.
    """
    written = io.BytesIO()
    scored.rows.write_parquet(written)
    payload = written.getvalue()
    facts = {
        "format": FORMAT,
        "digest": hashlib.sha256(payload).hexdigest(),
        "origins": [origin.isoformat() for origin in scored.origins],
        "parts": dict(scored.parts),
    }
    market.scores.keep(fit_id, records, facts, payload)


def load_scores(market: Market) -> SavedScores | None:
    """The scores kept last in the market file; nothing where there are none.

    Raises:
        ModelError: they were altered or are of another format.
    """
    row = market.scores.last()
    if row is None:
        return None
    fit_id, records, at, facts, payload = row
    if facts.get("format") != FORMAT or facts.get("digest") != hashlib.sha256(payload).hexdigest():
        raise ModelError("the scores kept in the market were altered or are of another version: score anew")
    origins = tuple(date.fromisoformat(origin) for origin in facts["origins"])
    parts = {name: tuple(values) for name, values in facts["parts"].items()}
    state = market.state()
    outdated = (state.fit, state.records) != (fit_id, records)
    return SavedScores(Backtest(pl.read_parquet(io.BytesIO(payload)), origins, parts), fit_id, at, outdated)
