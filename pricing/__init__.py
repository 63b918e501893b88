"""Classic-car market price analytics: sale records in, defensible price ranges out.

The public names are imported at their first use, so that the command line answers before the numerical
libraries are read.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pricing import charts
    from pricing.car import Car
    from pricing.errors import PricingError
    from pricing.market import Market
    from pricing.model.distribution import PriceDistribution
    from pricing.model.features.spec import FeatureSpec
    from pricing.model.price_model import PriceModel

__all__ = ["Car", "FeatureSpec", "Market", "PriceDistribution", "PriceModel", "PricingError", "charts"]

_HOMES = {
    "Car": "pricing.car",
    "FeatureSpec": "pricing.model.features.spec",
    "Market": "pricing.market",
    "PriceDistribution": "pricing.model.distribution",
    "PriceModel": "pricing.model.price_model",
    "PricingError": "pricing.errors",
    "charts": "pricing.charts",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"{__name__} has no {name!r}; its public names are: {', '.join(__all__)}")
    try:
        home = import_module(_HOMES[name])
    except ModuleNotFoundError as error:
        from pricing.operations.extras import missing

        raise ModuleNotFoundError(missing(error), name=error.name) from None
    return home if name == "charts" else getattr(home, name)


def __dir__() -> list[str]:
    return sorted(__all__)
