"""Statements are kept, priced, withdrawn and audited; and they are no sales, wherever sales are read."""

import json
from datetime import date
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from pricing.errors import EvidenceError, MarketError, OpinionError
from pricing.evidence.comparison.comparables import find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex, leave_one_out
from pricing.evidence.depth import market_depth
from pricing.evidence.indices.index import price_index
from pricing.model.accuracy.ratio_study import ratio_study
from pricing.model.market_fit import fit_market
from pricing.model.saved import load
from pricing.store.kept.opinions import PRICED
from pricing.store.market import Market
from tests.cars import car_of
from tests.opinion_market import cells, opinion_market
from tests.small_market import common_car, write_sales

ONE = {"average": ("3000", "5000")}


@pytest.fixture
def market(tmp_path: Path) -> Market:
    return opinion_market(tmp_path / "market.duckdb")


def test_statements_are_kept_once_and_audited(market: Market) -> None:
    again = market.statements.add(cells())
    assert (again.read, again.kept, again.known) == (4, 0, 4)
    said = market.opinions()
    assert said["low_price"].to_list() == [None, Decimal("1000.00"), Decimal("3000.00"), Decimal("8000.00")]
    line = market.audit().filter(pl.col("action") == "opinions").row(0, named=True)
    assert line["subject"] == "A. Rowe"
    assert sorted(json.loads(line["detail"])["statements"]) == sorted(said["opinion_id"])


def test_amounts_come_to_all_in_prices_of_the_day_they_were_said_on(market: Market) -> None:
    """100 EUR were 129.1 USD on 2013-03-21, by the ECB's reference rates."""
    market.statements.add(
        cells({"average": ("1291", "2582")}, source="B. Lane", currency="USD", stated_on="2013-03-21"),
    )
    found = market.opinions().filter(pl.col("source") == "B. Lane").row(0, named=True)
    assert [found[name] for name in PRICED.values()] == [Decimal("1000.00"), None, Decimal("2000.00")]


def test_an_amount_without_a_rate_or_a_premium_is_refused(market: Market) -> None:
    with pytest.raises(
        OpinionError, match="cannot be brought to all-in prices in the market's currency: rate unknown"
    ):
        market.statements.add(cells(ONE, source="B. Lane", currency="ISK", stated_on="1996-01-01"))
    hammer = cells(ONE, source="B. Lane", price_basis="hammer", channel="auction")
    with pytest.raises(OpinionError, match="premium unknown"):
        market.statements.add(hammer)
    assert len(market.opinions()) == 4


def test_a_better_state_that_fetches_less_is_asked_again_before_it_is_kept(market: Market) -> None:
    less = cells({"top condition": ("500", "900")}, source="A. Rowe", stated_on="2026-06-01")
    with pytest.raises(
        OpinionError, match="'top condition' fetches less than one in 'average': is that meant"
    ):
        market.statements.add(less)
    assert market.statements.add(less, meant=True).kept == 1
    assert market.statements.add(cells(ONE, source="B. Lane")).kept == 1  # asked once, not for ever


def test_withdrawn_is_never_erased(market: Market) -> None:
    name = market.opinions()["opinion_id"][0]
    with pytest.raises(MarketError, match="needs a reason"):
        market.statements.withdraw(name, " ")
    with pytest.raises(MarketError, match="4 statements in force|0 statements in force"):
        market.statements.withdraw("", "mistyped")
    assert market.statements.withdraw(name[:10], "mistyped") == name
    with pytest.raises(MarketError, match="0 statements in force"):
        market.statements.withdraw(name, "again")
    assert len(market.opinions()) == 3
    kept = market.statements.read(every=True)
    assert len(kept) == 4
    assert kept.filter(pl.col("opinion_id") == name)["withdrawn_for"].to_list() == ["mistyped"]
    assert market.audit()["action"].to_list()[-1] == "withdraw opinion"


def test_names_are_spelt_as_the_market_spells_them_and_new_ones_are_let_in(market: Market) -> None:
    market.statements.add(cells(ONE, source="B. Lane", make="CORVANE", model="six"))
    market.statements.add(cells(ONE, source="B. Lane", make="corvane", model="Eight"))
    found = market.opinions().filter(pl.col("source") == "B. Lane")
    assert found.select("make", "model").rows() == [("Corvane", "Six"), ("Corvane", "Eight")]


def test_csv_and_workbook_are_loaded_whole_or_not_at_all(market: Market, tmp_path: Path) -> None:
    text, book = tmp_path / "said.csv", tmp_path / "said.xlsx"
    cells(ONE, source="B. Lane").write_csv(text)
    cells({"average": ("2900", "5100")}, source="C. Dell").write_excel(book)
    assert market.statements.load([text, book]).kept == 2
    assert sorted(market.opinions()["source"].unique()) == ["A. Rowe", "B. Lane", "C. Dell"]
    assert market.statements.read()["file"].drop_nulls().to_list() == ["said.csv", "said.xlsx"]
    pl.concat([cells(ONE, source="E. Moss"), cells(ONE, holds="most")]).write_csv(text)
    with pytest.raises(
        OpinionError, match=r"said\.csv: 1 of 2 statements cannot be kept.*row 3: holds is one of"
    ):
        market.statements.load([text])
    assert "E. Moss" not in market.opinions()["source"]


def test_what_was_said_by_a_day(market: Market) -> None:
    assert market.opinions(date(2026, 4, 30)).is_empty() and len(market.opinions(date(2026, 5, 1))) == 4


def test_a_statement_makes_a_fit_stale_and_leaves_the_records_as_they_were(
    small_market: Market, tmp_path: Path
) -> None:
    path = tmp_path / "market.duckdb"
    path.write_bytes(small_market.path.read_bytes())
    before = Market.open(path).state()
    Market.open(path).statements.add(cells())
    after = Market.open(path).state()
    assert not before.stale and after.stale
    assert (before.records, before.batches, before.last_sale) == (
        after.records,
        after.batches,
        after.last_sale,
    )
    assert after.opinions == before.opinions + 1


@pytest.fixture(scope="module")
def spoken_of(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    """The small market with statements about its most common car, absurdly high."""
    path = tmp_path_factory.mktemp("spoken") / "market.duckdb"
    path.write_bytes(small_market.path.read_bytes())
    car = common_car(small_market)
    bands = {"average": ("900000", "1000000"), "top condition": ("1500000", "2000000")}
    Market.open(path).statements.add(
        cells(bands, make=car["make"], model=car["model"], stated_on="2025-01-01")
    )
    return Market.open(path)


def test_no_statement_is_among_the_sales(small_market: Market, spoken_of: Market) -> None:
    assert spoken_of.opinions().height == 2
    assert spoken_of.sales().equals(small_market.sales())
    assert spoken_of.sales(every_record=True).equals(small_market.sales(every_record=True))
    assert spoken_of.digest() == small_market.digest() and spoken_of.duplicates().equals(
        small_market.duplicates()
    )


def test_no_statement_is_a_comparable_sale(small_market: Market, spoken_of: Market) -> None:
    car = car_of(small_market, common_car(small_market))
    found = [
        find_comparables(ComparablesIndex.build(market.sales(), load(market)), car).table.drop("weight")
        for market in (small_market, spoken_of)
    ]
    assert found[0].equals(found[1])


def test_no_statement_is_in_an_index(small_market: Market, spoken_of: Market) -> None:
    one, other = (price_index(market.sales(), period="year").frame for market in (small_market, spoken_of))
    assert one.equals(other)


def test_no_statement_is_counted_in_the_depth(small_market: Market, spoken_of: Market) -> None:
    car = common_car(small_market)
    where = {"make": car["make"], "model": car["model"]}
    plain, heard = load(small_market), fit_market(spoken_of)
    assert plain.grounds(pl.DataFrame([car]))[0].statements == 0
    one, other = (
        market_depth(market.sales(), where=where, model=model, every_record=market.sales(every_record=True))
        for market, model in ((small_market, plain), (spoken_of, heard))
    )
    assert one.recent.equals(other.recent) and one.scope == other.scope
    assert other.effective_sales == pytest.approx(one.effective_sales, rel=0.01)


def test_no_statement_is_in_a_ratio_study(small_market: Market, spoken_of: Market) -> None:
    studies = []
    for market in (small_market, spoken_of):
        model = load(market)
        valued = leave_one_out(ComparablesIndex.build(market.sales(), model), model).drop_nulls("value")
        studies.append(ratio_study(valued["value"].to_numpy(), valued["price"].to_numpy()))
    assert studies[0] == studies[1]


def test_a_market_of_statements_alone_has_no_comparables(market: Market) -> None:
    with pytest.raises(EvidenceError, match="priced by opinion alone"):
        ComparablesIndex.build(market.sales(), fit_market(market))


def test_a_market_with_sales_enough_is_fitted_to_them_with_statements_beside(
    tmp_path: Path, market: Market
) -> None:
    write_sales(tmp_path / "sales.parquet", rows=60)
    market.load([tmp_path / "sales.parquet"])
    few = fit_market(market)
    assert few.facts["opinion_alone"] and 0 < few.facts["sales"] < 70
