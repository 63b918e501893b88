"""Classic-car market price analytics: sale records in, defensible price ranges out.

The public names are imported at their first use, so that the command line answers before the numerical
libraries are read.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pricing.errors import PricingError
    from pricing.model.price_model import PriceModel
    from pricing.model.spec import FeatureSpec
    from pricing.store.market import Market

__all__ = ["FeatureSpec", "Market", "PriceModel", "PricingError"]

_HOMES = {
    "FeatureSpec": "pricing.model.spec",
    "Market": "pricing.store.market",
    "PriceModel": "pricing.model.price_model",
    "PricingError": "pricing.errors",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"{__name__} has no {name!r}; its public names are: {', '.join(__all__)}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
