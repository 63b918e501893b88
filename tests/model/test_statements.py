from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pricing.errors import ModelError, TableError
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.regression.elimination import solve
from pricing.model.regression.pooling import Priors, Tree
from pricing.model.regression.rows import Rows
from pricing.model.saved import from_bytes, to_bytes
from pricing.model.statements import ENOUGH, Statements, as_rows
from tests.simulated_markets import KnownMarket, Setting, draw_market
from tests.simulated_sources import Sources, draw_statements

SETTING = Setting(sales=900, models=14, makes=9)
SPEC = FeatureSpec.cars()


def test_a_statement_beside_sales_is_normal_updating() -> None:
    """A statement of 8.0 (variance .04) and four sales of mean 8.4 (variance .09): mean 8.256, variance
    .0144, by hand: (8.0 / .04 + 4 x 8.4 / .09) / (1 / .04 + 4 / .09)."""
    tree, free = Tree(()), Priors(np.array([np.inf]), np.zeros((0, 1)))
    none = np.zeros((4, 0), dtype=np.int64)
    sales = Rows(np.ones((4, 1)), none, tree, []).cross_products(
        np.full(4, 1 / 0.09), np.array([8.2, 8.3, 8.5, 8.6])
    )
    said = Rows(np.full((1, 1), 1 / 0.2), none[:1], tree, []).cross_products(
        np.ones(1), np.array([8.0 / 0.2])
    )
    found = solve(sales.plus(said), tree, free, [])
    assert found.market[0] == pytest.approx(8.256, abs=5e-7)
    assert found.covariance[0, 0] == pytest.approx(0.0144, abs=5e-7)


@pytest.fixture(scope="module")
def market() -> KnownMarket:
    return draw_market(SETTING, seed=3, asked=150)


@pytest.fixture(scope="module")
def bare(market: KnownMarket) -> tuple[str, ...]:
    """Models whose sales are taken away: the two with the fewest, which are of makes with others."""
    return tuple(market.sales["model"].value_counts().sort("count", "model")["model"][:2])


@pytest.fixture(scope="module")
def sales(market: KnownMarket, bare: tuple[str, ...]) -> pl.DataFrame:
    return market.sales.filter(~pl.col("model").is_in(bare))


@pytest.fixture(scope="module")
def said(market: KnownMarket) -> pl.DataFrame:
    return draw_statements(market, SETTING, Sources(), seed=3)


@pytest.fixture(scope="module")
def without(sales: pl.DataFrame) -> PriceModel:
    return PriceModel(SPEC).fit(sales)


@pytest.fixture(scope="module")
def heard(sales: pl.DataFrame, said: pl.DataFrame, without: PriceModel) -> PriceModel:
    return refit(sales, said, without)


def refit(sales: pl.DataFrame, said: pl.DataFrame | None, start: PriceModel) -> PriceModel:
    return PriceModel(SPEC).fit(sales, start=start, recalibrate=False, opinions=said)


def test_no_statement_changes_no_digit(sales: pl.DataFrame, said: pl.DataFrame, market: KnownMarket) -> None:
    few = sales[-400:]
    plain = PriceModel(SPEC).fit(few)
    empty = PriceModel(SPEC).fit(few, opinions=said[:0])
    for name in ("low", "mid", "high"):
        one, other = (model.price_range(market.asked)[name].to_list() for model in (plain, empty))
        assert one == other
    assert plain.fitted.heard is None and empty.fitted.heard is None


def test_statements_move_a_model_without_sales_and_nothing_that_has_enough(
    market: KnownMarket, bare: tuple[str, ...], sales: pl.DataFrame, without: PriceModel, heard: PriceModel
) -> None:
    counts = dict(sales["model"].value_counts().iter_rows())
    same = refit(sales, None, without)
    before, after = (model.distribution(market.asked) for model in (same, heard))
    models = market.asked["model"]
    rich = np.flatnonzero(models.replace_strict(counts, default=0, return_dtype=pl.Int64) >= ENOUGH)
    assert len(rich) > 50
    # One solve on the last weights of the iteration, in place of one on those before: within its tolerance.
    assert after.mid[rich] == pytest.approx(before.mid[rich], rel=0.02)
    alone = replace(heard.fitted, regression=heard.fitted.heard.without)  # type: ignore[union-attr]
    heard_alone = PriceModel(SPEC)
    heard_alone.calibration, heard_alone.fitted, heard_alone.facts = heard.calibration, alone, heard.facts
    assert heard_alone.distribution(market.asked).mid[rich] == pytest.approx(after.mid[rich], rel=1e-12)
    poor = np.flatnonzero(models.is_in(bare))
    truth = market.law(market.next_day).median()
    error = [np.abs(np.log(found.mid[poor]) - truth[poor]).mean() for found in (before, after)]
    assert error[1] < 0.6 * error[0]
    width = [
        np.log(high / low)[poor].mean() for low, high in (found.interval(0.8) for found in (before, after))
    ]
    assert width[1] < width[0]


def test_one_silly_source_moves_nothing_that_has_sales(
    market: KnownMarket, sales: pl.DataFrame, said: pl.DataFrame, without: PriceModel
) -> None:
    silly = said.with_columns(pl.col("low", "high") * 30.0, source=pl.lit("silly"))
    counts = dict(sales["model"].value_counts().iter_rows())
    some = market.asked.filter(pl.col("model").replace_strict(counts, default=0, return_dtype=pl.Int64) > 0)
    moved = (
        refit(sales, silly, without).distribution(some).mid
        / refit(sales, None, without).distribution(some).mid
    )
    assert np.abs(np.log(moved)).max() < 0.05


def test_a_source_that_is_always_too_high_is_taken_down(
    market: KnownMarket, bare: tuple[str, ...], sales: pl.DataFrame, said: pl.DataFrame, without: PriceModel
) -> None:
    """Its earlier statements tell against the later sales."""
    high = said.with_columns(pl.col("low", "high") * 1.6)
    fitted = refit(sales, high, without)
    assert fitted.fitted.heard is not None
    assert fitted.fitted.heard.bias == pytest.approx(np.full(3, np.log(1.6)), abs=0.35)
    poor = market.asked.filter(pl.col("model").is_in(bare))
    ratio = fitted.distribution(poor).mid / refit(sales, said, without).distribution(poor).mid
    assert np.abs(np.log(ratio)).max() < 0.12


def test_a_kept_fit_knows_what_it_heard(heard: PriceModel, market: KnownMarket) -> None:
    again = from_bytes(to_bytes(heard))
    assert again.grounds(market.asked) == heard.grounds(market.asked)
    assert again.distribution(market.asked).mid.tolist() == heard.distribution(market.asked).mid.tolist()
    assert again.fitted.heard is not None and again.fitted.heard.names == ("person 0", "person 1", "person 2")


def test_the_ground_of_a_range_adds_up(
    market: KnownMarket, bare: tuple[str, ...], heard: PriceModel, without: PriceModel
) -> None:
    found = heard.grounds(market.asked)
    for ground in found:
        assert ground.relations + ground.sales + ground.opinions == pytest.approx(1.0)
    by_model = dict(zip(market.asked["model"], found, strict=True))
    for name in bare:
        assert by_model[name].sales_of_model == 0 and by_model[name].statements == 12
        assert by_model[name].opinions > 0.5 and by_model[name].narrower_for_opinions > 0.1
    rich = max(found, key=lambda ground: ground.sales_of_model)
    assert rich.opinions == 0.0 and rich.statements == 0 and rich.sales > 0.8
    assert all(ground.opinions == 0.0 for ground in without.grounds(market.asked))


def test_statements_are_read_in_any_state_and_refused_by_name(said: pl.DataFrame) -> None:
    with pytest.raises(TableError, match="lacks the column share"):
        Statements.gather(said.drop("share"), SPEC)
    for wrong in ({"low": 9e9}, {"low": -1.0}, {"share": 1.0}, {"low": None, "high": None}, {"middle": 1.0}):
        changed = said[:3].with_columns(
            pl.lit(value, pl.Float64).alias(name) for name, value in wrong.items()
        )
        with pytest.raises(ModelError, match="a span has a low below a high"):
            Statements.gather(changed, SPEC)


def test_statements_need_groups(sales: pl.DataFrame, said: pl.DataFrame) -> None:
    flat = FeatureSpec(condition="condition_band", event_date="event_date")
    with pytest.raises(ModelError, match="statements are about groups of cars"):
        PriceModel(flat).fit(sales[-200:], opinions=said)


def test_only_what_a_source_said_last_counts(
    sales: pl.DataFrame, said: pl.DataFrame, bare: tuple[str, ...], without: PriceModel, market: KnownMarket
) -> None:
    ours = said.filter(pl.col("model").is_in(bare))
    older = ours.with_columns(pl.col("low", "high") * 3.0, event_date=date(2020, 1, 1))
    poor = market.asked.filter(pl.col("model").is_in(bare))
    one, both = (
        refit(sales, frame, without).distribution(poor).mid for frame in (ours, pl.concat([older, ours]))
    )
    assert both == pytest.approx(one, rel=1e-9)


def test_the_columns_of_a_market_become_those_of_the_model() -> None:
    kept: dict[str, Any] = {
        "source": "A. Rowe", "make": "Corvane", "model": "Six", "variant": None, "country": None,
        "channel": None, "condition_band": "average", "condition_score": None, "stated_on": date(2026, 5, 1),
        "year_from": 1960, "year_to": 1963, "low_price": 3000.0, "middle_price": None,
        "high_price": 5000.0, "holds": "half",
    }  # fmt: skip
    row = as_rows(pl.DataFrame([kept])).row(0, named=True)
    assert (row["event_date"], row["year"], row["share"]) == (date(2026, 5, 1), 1961.5, 0.5)
    unpriced = kept | {"low_price": None, "high_price": None, "stated_on": date(2026, 5, 1) + timedelta(1)}
    assert as_rows(pl.DataFrame([unpriced])).is_empty()
