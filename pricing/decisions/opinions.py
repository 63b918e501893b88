"""What people say of a market, held against its records: one model, band by band, beside what was sold and
reckoned, to be seen where it contradicts; and what each source said against the sales that came later."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
import polars as pl

from pricing.decisions.car_price import GivesDistributions
from pricing.decisions.valuation import HasSales
from pricing.evidence.source_scores import SourceScores, band_of_car, score_sources
from pricing.model.accuracy.saved_scores import load_scores
from pricing.model.opinion_bands import OpinionBands
from pricing.opinions.statement import RepeatedQuestion, changes, in_force, inversions
from pricing.snapshot import Snapshot
from pricing.vocabulary import CONDITION_BANDS, SPANS

SALES_BACK: Final = 5
"""Years of sales that are shown beside."""


@dataclass(frozen=True)
class StatedBands:
    """Of one model, all-in in ``currency``: ``opinions`` in force (``source``, ``condition_band``, ``low``,
    ``high``, open ends null, ``stated_on``, ``holds``), ``sales`` of the last ``SALES_BACK`` years
    (``condition_band``, ``price``, ``event_date``), the price ``model``'s range in each band
    (``condition_band``, ``low``, ``mid``, ``high``, those without left out) at ``coverage``; what sources are
    asked again, and what they ``changed``."""

    make: str
    model_name: str
    currency: str
    coverage: float
    opinions: pl.DataFrame
    sales: pl.DataFrame
    model: pl.DataFrame
    questions: tuple[RepeatedQuestion, ...]
    changed: pl.DataFrame


def stated_bands(
    market: HasSales,
    model: GivesDistributions | None,
    make: str,
    model_name: str,
    *,
    holds: str = "eight in ten",
    said: Mapping[str, Any] | None = None,
) -> StatedBands:
    """What is known of a model's bands; ``said`` may name the variant and the year of the car that the price
    model is asked about, which is otherwise of the middle year on record."""
    of_model = (pl.col("make") == make) & (pl.col("model") == model_name)
    sales = market.sales().filter(of_model, pl.col("outcome") == "sold")
    opinions = market.opinions().filter(of_model)
    last: date | None = sales["event_date"].max()  # type: ignore[assignment]
    since = None if last is None else last.replace(year=last.year - SALES_BACK, day=1)
    middle = sales["year"].median()
    car = {"year": None if middle is None else round(float(middle))} | dict(said or {})  # type: ignore[arg-type]
    ranges = pl.DataFrame(
        schema={"condition_band": pl.String} | dict.fromkeys(("low", "mid", "high"), pl.Float64)
    )
    if model is not None:
        cars = pl.DataFrame(
            {"make": make, "model": model_name, "condition_band": CONDITION_BANDS, **car}, strict=False
        )
        priced = model.distribution(cars).ranges(SPANS[holds]).select("low", "mid", "high")
        ranges = cars.select("condition_band").hstack(priced).drop_nulls("mid")
    force = in_force(opinions).filter(pl.any_horizontal(pl.col("low_price", "high_price").is_not_null()))
    return StatedBands(
        make,
        model_name,
        market.base_currency,
        SPANS[holds],
        force.select(
            "source",
            "stated_on",
            "holds",
            condition_band=band_of_car(),
            low=pl.col("low_price").cast(pl.Float64),
            high=pl.col("high_price").cast(pl.Float64),
        ),  # fmt: skip
        sales.filter(pl.lit(since is None) | (pl.col("event_date") >= pl.lit(since)))
        .select("event_date", condition_band=band_of_car(), price=pl.col("price").cast(pl.Float64))
        .drop_nulls(),
        ranges,
        tuple(inversions(opinions)),
        changes(opinions),
    )


def source_record(snapshot: Snapshot) -> SourceScores:
    """The scores of every source of a market: prices brought to the day of a statement by the newest fit, if
    there is one, and beside them the loss of the price model as it was scored last."""
    scores = load_scores(snapshot.market)
    model = None if snapshot.state.fit is None else snapshot.model

    def moved(pairs: pl.DataFrame) -> pl.Series:
        """From the day of a sale to the day of a statement, as the model has the market moved for it."""
        then = pairs.with_columns(event_date="stated_on")
        return pl.Series(np.exp(snapshot.model.log_mid(then) - snapshot.model.log_mid(pairs)))

    return score_sources(
        snapshot.opinions(),
        snapshot.sales(),
        None if model is None or isinstance(model, OpinionBands) else moved,
        None if scores is None else scores.scored.rows,
    )
