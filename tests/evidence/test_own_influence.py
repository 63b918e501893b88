import numpy as np
import polars as pl
import pytest

from pricing.evidence.comparison.held_out import OwnInfluence, Parts
from pricing.evidence.comparison.term_effects import TermEffects
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from tests.evidence.markets import small_book, small_market, small_model


@pytest.mark.soak
def test_what_a_sale_told_the_model_is_what_a_fit_without_it_does_not_say() -> None:
    """Six sales of models of few sales, each left out of a fit that starts from the whole one: the
    difference between the sale's car and others of its make, as told and as refitted. The refit learns its
    variances anew, so that they are near and not equal."""
    frame, effects, indexed = small_market()[0], small_book().effects, small_book()
    sizes = indexed.sales.select(pl.len().over("make", "model")).to_series()
    rows = np.flatnonzero(sizes.is_between(2, 6).to_numpy())[4:28:4]
    told, gone = [], []
    for row in rows:
        sale = indexed.sales[int(row)]
        match_level = indexed.at_level(2, (sale["make"][0],))
        others = [place for place in range(match_level.start, match_level.stop) if place != row][:5]
        cars = pl.concat([sale, indexed.sales[others]])
        encoded = effects.encode(cars, indexed.span[1])
        own = effects.encode(sale, sale["event_date"])
        log_price = np.log(sale["price"].cast(pl.Float64).to_numpy())
        influence = OwnInfluence.of(effects, own, log_price, np.ones(1))
        places = np.arange(1, len(cars))
        told.append(influence.added(0 * places, 0 * places, places, Parts.of(effects.posterior, encoded)))
        rest = frame.filter(pl.col("record_id") != sale["record_id"][0])
        refitted = TermEffects(PriceModel(FeatureSpec.cars()).fit(rest, start=small_model()))
        again = refitted.encode(cars, indexed.span[1])
        gone.append(
            effects.differences(encoded[:1], encoded[1:]).sum(axis=1)
            - refitted.differences(again[:1], again[1:]).sum(axis=1)
        )
    assert np.max(np.abs(gone)) > 0.05
    assert np.concatenate(told) == pytest.approx(np.concatenate(gone), abs=0.025)


def test_a_sale_that_the_model_has_not_seen_told_it_nothing() -> None:
    indexed = small_book()
    own = indexed.effects.encode(indexed.sales[:3], indexed.sales["event_date"][:3])
    log_price = np.log(indexed.sales["price"][:3].cast(pl.Float64).to_numpy())
    assert OwnInfluence.of(indexed.effects, own, log_price, np.zeros(3)).pull.tolist() == [0.0, 0.0, 0.0]
