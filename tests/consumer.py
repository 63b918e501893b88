"""A program of somebody else's: what stands here passes `mypy --strict` and `pyright`, from outside too."""

from decimal import Decimal

import polars as pl

from pricing import Car, FeatureSpec, Market, PriceDistribution, PriceModel, PricingError, charts


def mid_price(market: Market, car: dict[str, object]) -> Decimal | None:
    """Its mid price, or None where it is refused."""
    try:
        return market.value(car, asking=Decimal("4650")).mid
    except PricingError as error:
        print(error.code)
        return None


def shares(model: PriceModel, cars: pl.DataFrame) -> list[float]:
    """The share of like cars that sell for less than 4,650."""
    prices: PriceDistribution = model.distribution(cars)
    return [float(share) for share in prices.cdf([4650.0])]


def chart(market: Market, car: Car) -> dict[str, object]:
    """The car in every band, as Vega-Lite has it."""
    drawn: dict[str, object] = charts.bands_chart(market.value(car)).to_dict()
    return drawn


def fitted(market: Market) -> PriceModel:
    """A fit of its own."""
    return PriceModel(FeatureSpec.cars()).fit(market.sales())
