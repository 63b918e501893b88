"""The library as a program in Python meets it: kept fits, frames of other libraries, errors, reprs."""

import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pandas
import polars as pl
import pyarrow
import pytest
from polars.testing import assert_frame_equal

import pricing
from pricing import FeatureSpec, Market, PriceModel, PricingError
from pricing.api.client import Client
from pricing.errors import MarketError, ModelError, TableError
from pricing.model.saved import load
from tests.ports import free_port
from tests.small_market import common_car


@pytest.fixture(scope="module")
def market(small_market: Any) -> Market:
    return Market.open(small_market.path, create=False)


def test_public_names_are_few() -> None:
    assert "PriceDistribution" in pricing.__all__ and len(pricing.__all__) <= 10


def test_a_market_gives_its_kept_fits(market: Market) -> None:
    cars = pl.DataFrame([common_car(market)])
    said = load(market).price_range(cars)
    assert_frame_equal(market.model().price_range(cars), said)
    assert_frame_equal(market.model("fit-0001").price_range(cars), said)
    with pytest.raises(MarketError, match="no fitted model 'fit-0009'"):
        market.model("fit-0009")


@pytest.mark.parametrize(
    "other",
    [pl.DataFrame.to_pandas, pl.DataFrame.to_arrow, pl.DataFrame.lazy],
    ids=["pandas", "pyarrow", "lazy"],
)
def test_a_frame_of_another_library_is_the_same_car(market: Market, other: Any) -> None:
    model = market.model()
    cars = pl.DataFrame([common_car(market)] * 2).with_columns(odometer_km=pl.Series([50_000.0, None]))
    given = other(cars)
    assert isinstance(given, pandas.DataFrame | pyarrow.Table | pl.LazyFrame)
    assert_frame_equal(model.price_range(given), model.price_range(cars))
    assert_frame_equal(model.distribution(given).terms(), model.distribution(cars).terms())


def test_a_model_is_fitted_to_a_frame_of_pandas() -> None:
    sales = pl.DataFrame({
        "make": ["Ash", "Elm"] * 60,
        "price": [None if place % 10 == 9 else 4000.0 + 13 * place for place in range(120)],
    })  # fmt: skip
    spec, car = FeatureSpec(groups=("make",)), pl.DataFrame({"make": ["Ash"]})
    known = sales.drop_nulls()
    frames = [PriceModel(spec).fit(frame).price_range(car) for frame in (known, known.to_pandas())]
    assert_frame_equal(*frames)


@pytest.mark.parametrize("wrong", [{"make": ["Ash"]}, [1], None, "cars.csv", pl.Series([1])])
def test_what_is_no_frame_is_a_mistake(market: Market, wrong: Any) -> None:
    with pytest.raises(TableError, match="expected a frame of polars, pandas or pyarrow"):
        market.model().price_range(wrong)


def test_asking_by_is_a_category() -> None:
    for categories in ((), ("country",)):
        with pytest.raises(ModelError, match="asking_by is one of the categories"):
            FeatureSpec(categories=categories, outcome="outcome", asking_by="channel")


def test_a_server_that_is_not_there_is_a_mistake() -> None:
    with Client(f"http://127.0.0.1:{free_port()}") as client:
        for ask in (
            client.market,
            client.ready,
            lambda: next(client.items("fits")),
            lambda: client.document("a"),
        ):
            with pytest.raises(PricingError, match=r"no answer from http://127\.0\.0\.1"):
                ask()
    with Client("http://[") as client, pytest.raises(PricingError):
        client.market()


def test_a_server_that_is_another_is_a_mistake() -> None:
    class Other(BaseHTTPRequestHandler):
        def do_GET(self) -> None:  # noqa: N802 - the library's name
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"<html>")

        def log_message(self, *_: Any) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Other) as server:
        threading.Thread(target=server.handle_request, daemon=True).start()
        with Client(f"http://127.0.0.1:{server.server_port}") as client:
            with pytest.raises(PricingError, match="something else than JSON"):
                client.market()


def test_what_a_notebook_shows_is_short_and_says_facts(market: Market) -> None:
    model = market.model()
    cars = pl.DataFrame([common_car(market)] * 2)
    one, two = model.distribution(cars[:1]), model.distribution(cars)
    assert repr(market) == f"Market at {market.path}, prices in EUR"
    assert f"{model.facts['sales']:,} sales" in repr(model)
    assert repr(PriceModel(FeatureSpec.cars())) == "PriceModel, not fitted"
    assert f"median {one.mid[0]:,.0f}, 80 % from" in repr(one) and repr(two) == "PriceDistribution of 2 cars"
    for shown in (market, model, one, two):
        assert len(repr(shown)) < 250 and "\n" not in repr(shown)
        assert shown._repr_html_().startswith("<p>")
    assert "1 fits" in market._repr_html_() and "<table" in two._repr_html_()
