"""How near the comparable-sales approach comes for cars like the subject, and for the whole market beside it.

A car's kind is whether it was graded, its condition band and its third of the market by value; it is looked
for in the model first, then in the make, then in the market, until enough sales tell of it.
"""

from collections.abc import Iterator
from typing import Any, Final

import polars as pl

from pricing.errors import EvidenceError
from pricing.evidence.comparison.comparables_index import ComparablesIndex, leave_one_out
from pricing.model.accuracy.ratio_study import RatioStudy, ratio_study
from pricing.model.price_model import PriceModel

ENOUGH: Final = 30
"""Sales of a kind that are looked for before a wider kind is taken."""

FEWEST: Final = 6
"""Sales below which no ratio study is made: fewer give the median no exact interval."""

MOST: Final = 20_000
"""Sales that are valued from the others, the latest."""

TIERS: Final = ("lower third by value", "middle third by value", "upper third by value")


def valued_sales(indexed: ComparablesIndex, model: PriceModel) -> pl.DataFrame:
    """Every sale valued from the others, the latest ``MOST`` at most: ``value``, ``low``, ``high``,
    ``price``, ``graded``, ``make``, ``model``, ``condition_band`` and ``tier``, by the middle of value and
    price."""
    days = indexed.sales["event_date"].sort(descending=True)
    from_day: Any = days[min(MOST, len(days)) - 1]
    cars = indexed.sales.select("record_id", "make", "model", "condition_band")
    valued = (
        leave_one_out(indexed, model, from_day=from_day)
        .drop_nulls("value")
        .drop("model")
        .join(cars, on="record_id")
    )
    if valued.height < FEWEST:
        raise EvidenceError(f"{valued.height} sales can be valued from others; {FEWEST} are needed")
    third = (pl.col("middle").rank("ordinal").cast(pl.Int64) - 1) * 3 // pl.len()
    return valued.with_columns(middle=(pl.col("value") * pl.col("price")).sqrt()).with_columns(
        tier=third.replace_strict(dict(enumerate(TIERS)), return_dtype=pl.String)
    )


def study_of_kind(
    valued: pl.DataFrame, car: dict[str, Any], mid: float | None
) -> tuple[RatioStudy, str, pl.DataFrame]:
    """The ratio study of the narrowest kind of a car that ``ENOUGH`` sales tell of (else of the widest), the
    kind in words, and a table of kinds: ``where`` (kind or market), ``group``, the measures with their
    intervals, and ``coverage``, the share of prices that fell within their ranges.

    Raises:
        EvidenceError: no kind has ``FEWEST`` sales.
    """
    kinds = [(name, valued.filter(rule)) for name, rule in _kinds(valued, car, mid)]
    able = [(name, part) for name, part in kinds if part.height >= FEWEST]
    if not able:
        raise EvidenceError(f"no kind of the car has {FEWEST} sales that can be valued from others")
    name, chosen = next((kind for kind in able if kind[1].height >= ENOUGH), able[-1])
    rows = [_measured("kind", each, part) for each, part in able]
    rows += [_measured("market", each, part) for each, part in _groups(valued) if part.height >= FEWEST]
    study = ratio_study(chosen["value"].to_numpy(), chosen["price"].to_numpy())
    return study, name, pl.DataFrame(rows, infer_schema_length=None)


def _kinds(valued: pl.DataFrame, car: dict[str, Any], mid: float | None) -> Iterator[tuple[str, pl.Expr]]:
    """The car's kinds, the narrowest first, each in words and as a filter."""
    band = car.get("condition_band")
    graded = band is not None or car.get("condition_score") is not None
    state = "graded" if graded else "not graded"
    like = pl.col("graded") == graded
    words = state
    if band is not None:
        like, words = like & (pl.col("condition_band") == band), f"{state}, {band}"
    if mid is not None:
        near = valued.sort((pl.col("middle") - mid).abs())["tier"][0]
        tiered, tier_words = like & (pl.col("tier") == near), f"{words}, {near}"
        make, model = pl.col("make") == car["make"], pl.col("model") == car["model"]
        yield f"{car['make']} {car['model']}: {tier_words}", tiered & make & model
        yield f"{car['make']}: {tier_words}", tiered & make
        yield f"market: {tier_words}", tiered
    yield f"market: {words}", like
    yield f"market: {state}", pl.col("graded") == graded


def _groups(valued: pl.DataFrame) -> Iterator[tuple[str, pl.DataFrame]]:
    """The whole market, in groups that do not mix what was graded with what was not."""
    yield "all sales", valued
    graded = valued.filter("graded")
    yield "graded", graded
    yield "not graded", valued.filter(~pl.col("graded"))
    for column in ("condition_band", "tier"):
        for value in graded[column].drop_nulls().unique().sort():
            yield f"graded, {value}", graded.filter(pl.col(column) == value)


def _measured(where: str, group: str, part: pl.DataFrame) -> dict[str, Any]:
    study = ratio_study(part["value"].to_numpy(), part["price"].to_numpy())
    inside = part.select(pl.col("price").is_between("low", "high").mean()).item()
    return {"where": where, "group": group, **study.to_dict(), "coverage": inside}
