"""A market without sales enough for a price model, priced by what people say: the stated bands, and nothing
made of them.

Where nobody can be held against sales, no bias is taken off and no error put on: who says that eight in ten
sell between two prices is handed on as having said so. Several sources are an even mixture (a linear pool,
Stone 1961), of which mean and variance of the log price are kept. There is no index in such a market, so that
bands are those of the day they were said on. Answers are marked as opinion alone.
"""

from datetime import date
from importlib.metadata import version
from typing import Final, Self

import numpy as np
import polars as pl
from scipy.special import ndtri

from pricing.arrays import Floats
from pricing.errors import ModelError
from pricing.model.calibration.score_law import LEVELS, ScoreLaw
from pricing.model.distribution import PriceDistribution
from pricing.model.explanation import Ground
from pricing.model.features.condition_scale import ConditionScale
from pricing.model.features.spec import FeatureSpec, Frame, as_polars
from pricing.model.price_model import PriceModel
from pricing.model.statements import STATED, middles
from pricing.vocabulary import CONDITION_BANDS

ALONE: Final = "opinion alone"
"""The evidence of every price that rests on nothing but what people say."""

STATED_BY: Final = "stated by"
"""The one term of such a price."""

_OPEN: Final = ("variant", "country", "channel")
"""What a statement may leave open: it then speaks of all."""


_SCALE: Final = ConditionScale("condition_band", CONDITION_BANDS, "condition_score", 1.5, True, True, ())


class StatedLaw(ScoreLaw):
    """The normal law that a stated span stands for; no sale has confirmed it, and any coverage can be read
    off it."""

    def promises(self, coverage: float) -> bool:
        """A stated span is handed on, whatever it is worth."""
        return True


class OpinionBands(PriceModel):
    """Price distributions out of statements alone; asked as any price model is.

    >>> said = pl.DataFrame({"source": ["A. Rowe"], "stated_on": [date(2026, 5, 1)], "make": ["Corvane"],
    ...     "model": ["Six"], "condition_band": ["average"], "low_price": [3000.0], "high_price": [5000.0],
    ...     "holds": ["eight in ten"]})
    >>> bands = OpinionBands.of(said)
    >>> car = pl.DataFrame({"make": ["Corvane"], "model": ["Six"], "condition_band": ["average"]})
    >>> bands.distribution(car).ranges().select(pl.col("low", "high").round(6), "evidence").row(0)
    (3000.0, 5000.0, 'opinion alone')
    """

    unfitted = "prices rest on opinions alone here: there are too few sales for a price model"

    def __init__(self, statements: pl.DataFrame, sales: int, seed: int = 0) -> None:
        """Of statements laid out, as a kept fit has them; see ``of``."""
        super().__init__(FeatureSpec.cars(), seed)
        self.statements = statements
        self.facts = {
            "rows": statements.height, "sales": sales, "asking": 0, "unsold": 0, "calibration_sales": 0,
            "opinions": statements.height, "sources": statements["source"].n_unique(), "opinion_alone": True,
            "first_date": str(statements["stated_on"].min()), "last_date": str(statements["stated_on"].max()),
            "seed": self.seed, "version": version("classic-car-pricing"),
        }  # fmt: skip

    def __repr__(self) -> str:
        return f"OpinionBands of {self.statements.height:,} statements: no price model, for want of sales"

    @classmethod
    def of(cls, opinions: Frame, sales: int = 0) -> Self:
        """From statements as ``Market.opinions`` gives them; ``sales`` is how many the market has.

        Raises:
            ModelError: there is no statement.
        """
        statements = as_polars(opinions)
        if statements.is_empty():
            raise ModelError("there is no statement of what cars fetch")
        return cls(_laid_out(statements), sales)

    def grounds(self, cars: Frame, as_of: date | None = None) -> list[Ground]:
        """Nothing but opinions: how many there are of each car's model."""
        prepared = self.spec.prepared(as_polars(cars))
        counts = self.statements.group_by("make", "model").len("said")
        counted = prepared.join(counts, on=["make", "model"], how="left", maintain_order="left")
        numbers = counted["said"].fill_null(0).to_list()
        return [Ground(0.0, 0.0, 1.0, 0.0, 0.0, 0, 0, number) for number in numbers]

    def asking_gaps(self) -> pl.DataFrame:
        """No asking prices were seen: no rows."""
        numbers = dict.fromkeys(("factor", "low", "high"), pl.Float64)
        return pl.DataFrame(schema={"asking_by": pl.String, "tier": pl.String, **numbers})

    def distribution(self, cars: Frame, as_of: date | None = None) -> PriceDistribution:
        """The price distribution of every car, row by row."""
        features = self.spec.prepared(as_polars(cars))
        position, band = _SCALE.placed(features.select(_SCALE.expressions))
        graded = band < len(CONDITION_BANDS)
        own = np.minimum(band, len(CONDITION_BANDS) - 1)
        row = np.arange(len(own))
        pooled = self._pooled(features)
        where = pooled["row"].to_numpy(), pooled["place"].to_numpy()
        centre, spread = np.full((2, len(own), len(CONDITION_BANDS)), np.nan)
        centre[where], spread[where] = pooled["mean"].to_numpy(), np.sqrt(pooled["variance"].to_numpy())
        at = np.clip(position, 0.0, len(CONDITION_BANDS) - 1.0)
        left, part = np.floor(at).astype(np.int64), at - np.floor(at)
        right = np.minimum(left + 1, len(CONDITION_BANDS) - 1)

        def between(values: Floats) -> Floats:
            mixed = (1.0 - part) * values[row, left] + part * values[row, right]
            mixed = np.where(part == 0.0, values[row, left], mixed)
            return np.where(np.isfinite(mixed), mixed, values[row, own])

        mid, wide = between(centre), between(spread)
        given = graded & np.isfinite(mid)
        worse = (np.arange(len(CONDITION_BANDS)) < np.minimum(own, at)[:, None]) & np.isfinite(centre)
        sourced = pl.DataFrame({"row": row, "place": own, "graded": graded, "given": given}).join(
            pooled.cast({"row": pl.Int64, "place": pl.Int64}),
            on=["row", "place"], how="left", maintain_order="left",
        )  # fmt: skip
        reason, remark = self._sentences(pl.concat([sourced, features], how="horizontal"))
        return PriceDistribution(
            StatedLaw(ndtri(LEVELS), 0),
            np.column_stack([mid, np.where(worse, centre, mid[:, None])]),
            np.column_stack([wide, np.where(worse, spread, wide[:, None])]),
            pl.Series("evidence", [ALONE] * len(own), dtype=pl.String),
            reason,
            remark,
            lambda rows: _terms(mid[rows], sourced["sources"][rows]),
        )

    def _pooled(self, features: pl.DataFrame) -> pl.DataFrame:
        """Of every car (``row``) in every band (``place``) of which somebody spoke, ``mean`` and ``variance``
        of the log price, the ``sources`` and the last ``day`` on which it was said."""
        cars = features.with_row_index("row")
        near = cars.join(self.statements, on=["make", "model"], suffix="_said")
        fits = [
            pl.col(f"{name}_said").is_null()
            | pl.col(name).is_null()
            | (pl.col(name) == pl.col(f"{name}_said"))
            for name in _OPEN
        ]
        year = pl.col("year")
        fits += [
            (year >= pl.col("year_from")).fill_null(True),
            (year <= pl.col("year_to")).fill_null(True),
        ]
        exact = sum(
            (pl.col(f"{name}_said").is_not_null().cast(pl.Int8) for name in _OPEN), pl.lit(0, pl.Int8)
        )
        return (
            near.filter(*fits)
            .with_columns(exact=exact)
            .sort("exact", "stated_on", maintain_order=True)
            .unique(["row", "place", "source"], keep="last", maintain_order=True)
            .group_by("row", "place", maintain_order=True)
            .agg(
                mean=pl.col("middle").mean(),
                variance=pl.col("spread").pow(2).mean() + pl.col("middle").var(ddof=0),
                sources=pl.col("source").unique(maintain_order=True).str.join(", "),
                day=pl.col("stated_on").max(),
            )
        )

    def _sentences(self, cars: pl.DataFrame) -> list[pl.Series]:
        """Of every car why it has no range, and the remark on the range that is given."""
        name = pl.concat_str("make", "model", separator=" ", ignore_nulls=True)
        band = pl.col("place").replace_strict(dict(enumerate(CONDITION_BANDS)), return_dtype=pl.String)
        nobody = pl.format("nobody has said what a {} in the state '{}' fetches", name, band)
        ungraded = (
            "opinions are by the state of the car: without it, and with too few sales, there is no range"
        )
        few = f"the market has {self.facts['sales']} sales, too few for a price model"
        as_said = pl.format(
            f"{ALONE}: no sale confirms this range, which is as {{}} said it (last on {{}}) and not "
            f"brought to another day, for there is no index; {few}",
            "sources",
            "day",
        )
        return cars.select(
            reason=pl.when(~pl.col("given")).then(pl.when("graded").then(nobody).otherwise(pl.lit(ungraded))),
            remark=pl.when(pl.col("given") & pl.col("day").is_not_null()).then(as_said),
        ).get_columns()


def _laid_out(statements: pl.DataFrame) -> pl.DataFrame:
    """Statements as they are asked: by band, middle and spread in logs."""
    absent = {
        "variant": pl.String, "country": pl.String, "channel": pl.String, "year_from": pl.Int16,
        "year_to": pl.Int16, "condition_score": pl.Float64, "middle_price": pl.Float64,
    }  # fmt: skip
    statements = statements.with_columns(
        pl.lit(None, kind).alias(name) for name, kind in absent.items() if name not in statements.columns
    )
    middle, spread = middles(statements.select("source", **STATED))
    _, band = _SCALE.placed(statements.select(_SCALE.expressions))
    return statements.select(
        "source", "stated_on", "make", "model", *_OPEN, "year_from", "year_to",
        place=pl.Series(band), middle=pl.Series(middle), spread=pl.Series(spread),
    ).filter(pl.col("place") < len(CONDITION_BANDS))  # fmt: skip


def _terms(mid: Floats, sources: pl.Series) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "row": np.arange(len(mid)),
            "term": [STATED_BY] * len(mid),
            "value": sources,
            "factor": np.exp(mid),
            "low": pl.Series([None] * len(mid), dtype=pl.Float64),
            "high": pl.Series([None] * len(mid), dtype=pl.Float64),
            "per_cent": np.zeros(len(mid)),
        }
    )
