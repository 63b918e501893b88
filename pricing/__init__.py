"""Classic-car market price analytics: sale records in, defensible price ranges out."""

from pricing.errors import PricingError
from pricing.model.price_model import PriceModel
from pricing.model.spec import FeatureSpec
from pricing.store import Market

__all__ = ["FeatureSpec", "Market", "PriceModel", "PricingError"]
