"""A market's book of comparable sales: the sold cars laid out, and how far single sales fell from the value
that comparable sales gave them: what a range stands on, and how right the approach is.

A score is the size of the log error of a sale that was held out (``held_out``), in units of the standard
deviation stated for it. The ``k``-th smallest of ``n`` scores, ``k = ceil((n + 1) c)``, is not exceeded by
the next one with probability ``c`` at least, if they are exchangeable (Vovk, Gammerman and Shafer 2005). They
are kept by kind, as cars that no one graded and models of few sales are off by more, or less, than is stated.
"""

from dataclasses import dataclass, fields
from datetime import date
from math import ceil
from typing import Final, Self

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pricing.arrays import Bools, Floats, Ints
from pricing.errors import EvidenceError
from pricing.evidence.comparison.held_out import held_out
from pricing.evidence.comparison.sale_features import MINIMUM, SaleFeatures
from pricing.model.accuracy.ratio_study import ratio_study
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel

FEWEST: Final = 30
"""Scores of a kind below which it has no range: with 30 the share that an 80 % range holds is known to seven
points (standard deviation of a Beta(25, 6) law)."""

FEW_SALES: Final = 12
"""A model with fewer other sales than this is one of few sales: its comparables are other models too."""

COUNT: Final = 12
"""Comparables that the held-out sales are valued from."""

MOST: Final = 2_000
"""Sales held out at most, evenly spread over the groups."""

LEAST: Final = 400
"""The later half of the sales is held out, for it is valued from as much history as a car of today; of a
market with less than this in that half, as many of the latest."""

DIFFERENT: Final = 0.05
"""Probability under which models of few sales are taken to differ from the others (Mann and Whitney 1947)."""

GRADED: Final = "graded car"
UNGRADED: Final = "car not graded"


@dataclass(frozen=True)
class RangeScores:
    """Sorted scores by kind: ``graded car`` and ``car not graded``, or each of them ``of a model of few
    sales`` and ``of a model of many sales`` where the scores of the two differ."""

    scores: dict[str, Floats]

    @classmethod
    def fit(cls, indexed: SaleFeatures) -> "RangeScores":
        """From the later sales of an index, each held out and valued from the others."""
        estimates = held_out(indexed, _later(indexed), COUNT)
        enough = estimates.comparables >= MINIMUM
        rows = estimates.rows[enough]
        scores = np.abs(estimates.error[enough]) / estimates.spread[enough]
        graded, few = indexed.graded(rows), others_of_model(indexed)[rows] < FEW_SALES
        kinds: dict[str, Floats] = {}
        for name, own in ((GRADED, graded), (UNGRADED, ~graded)):
            kinds |= _split(name, scores[own], few[own])
        return cls(kinds)

    def kinds(self, graded: Bools, others: Ints) -> NDArray[np.str_]:
        """The kind of cars (n), of whose models there are so many other sales."""
        names = [
            [name if name in self.scores else _named(name, few) for few in (False, True)]
            for name in (UNGRADED, GRADED)
        ]
        return np.array(names)[graded.astype(int), (others < FEW_SALES).astype(int)]

    def quantile(self, kind: str, coverage: float) -> float | None:
        """Stated standard deviations that a share ``coverage`` of single sales stay within; None with too few
        scores to say."""
        own = self.scores[kind]
        place = ceil((len(own) + 1) * coverage - 1e-9)
        if len(own) < FEWEST or place > len(own):
            return None
        return float(own[place - 1])


def others_of_model(indexed: SaleFeatures) -> Ints:
    """Of every sale of the index, how many other sales there are of its model."""
    sizes = [size for _, size in indexed.starts[1].values()]
    return np.repeat(sizes, sizes) - 1


def _later(indexed: SaleFeatures) -> Ints:
    """Rows of the sales that are held out."""
    size = len(indexed.days)
    wanted = min(size, max(size // 2, LEAST))
    later = np.sort(np.argsort(indexed.days, kind="stable")[size - wanted :])
    return later[np.unique(np.linspace(0, len(later) - 1, min(len(later), MOST)).round().astype(np.int64))]


def _split(name: str, scores: Floats, few: Bools) -> dict[str, Floats]:
    """One kind or two: by the sales of the model where both are known well enough and differ."""
    if min(few.sum(), (~few).sum()) >= FEWEST:
        if stats.mannwhitneyu(scores[few], scores[~few]).pvalue < DIFFERENT:
            return {_named(name, True): np.sort(scores[few]), _named(name, False): np.sort(scores[~few])}
    return {name: np.sort(scores)}


def _named(name: str, few: bool) -> str:
    return f"{name} of a model of {'few' if few else 'many'} sales"


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


def leave_one_out(
    indexed: ComparablesIndex,
    model: PriceModel,
    *,
    count: int = 12,
    from_day: date | None = None,
    coverage: float = 0.8,
) -> pl.DataFrame:
    """Every sale valued from the others, as of its own day, and held against its price.

    The model's own mid beside it is that of the model given: where it was fitted to the sale that is valued,
    that flatters it, and ``from_day`` with a model fitted to earlier sales does not.

    One row a sold car (from a day on): ``record_id``, ``evidence`` (depth class of the model), ``graded``,
    ``kind`` (of ``RangeScores``), ``price``, ``comparables`` (how many were found), ``value`` (null under
    ``MINIMUM``) with ``low`` and ``high`` (null also where its kind has no range) and ``model`` (the model's
    own mid)."""
    wanted = np.ones(len(indexed.sales), dtype=bool)
    if from_day is not None:
        wanted = (indexed.sales["event_date"] >= from_day).to_numpy()
    estimates = held_out(indexed, np.flatnonzero(wanted), count)
    rows = estimates.rows
    kind = pl.Series("kind", indexed.scores.kinds(indexed.graded(rows), others_of_model(indexed)[rows]))
    wide = {name: indexed.scores.quantile(name, coverage) for name in indexed.scores.scores}
    reach = estimates.spread * kind.replace_strict(wide, return_dtype=pl.Float64).to_numpy()
    mid = np.where(estimates.comparables >= MINIMUM, estimates.mid, np.nan)
    cars = indexed.sales[rows]
    ranges = pl.concat([model.price_range(part) for part in cars.iter_slices(5_000)])
    return pl.DataFrame(
        {
            "record_id": cars["record_id"],
            "evidence": ranges["evidence"],
            "graded": pl.Series(indexed.graded(rows)),
            "kind": kind,
            "price": cars["price"].cast(pl.Float64),
            "comparables": estimates.comparables,
            "low": np.exp(mid - reach),
            "value": np.exp(mid),
            "high": np.exp(mid + reach),
            "model": ranges["mid"],
        },
        nan_to_null=True,
    )


def summary(valued: pl.DataFrame) -> pl.DataFrame:
    """The ratio study (``pricing.model.accuracy.ratio_study``) of the comparables' value and of the model's
    mid, by depth class and for all, on the sales that both value: ``estimate``, ``evidence``, ``asked``
    (sales), the measures, and ``inside`` (share of prices between the comparables' low and high)."""
    both = valued.drop_nulls(["value", "model"])
    classes = [*both["evidence"].unique().sort().to_list(), None]
    rows = []
    for evidence in classes:
        part = both if evidence is None else both.filter(pl.col("evidence") == evidence)
        if len(part) < 2:
            continue
        wanted = valued if evidence is None else valued.filter(pl.col("evidence") == evidence)
        inside = part.select(pl.col("price").is_between("low", "high").mean()).item()
        for name in ("value", "model"):
            study = ratio_study(part[name].to_numpy(), part["price"].to_numpy())
            rows.append(
                {
                    "estimate": "comparables" if name == "value" else "price model",
                    "evidence": evidence or "all",
                    "asked": len(wanted),
                    **study.to_dict(),
                    "inside": inside if name == "value" else None,
                }
            )
    return pl.DataFrame(rows, infer_schema_length=None)
