"""What the highest bid on a lot comes to beside the price model's mid, learnt from sold and unsold lots
alike.

With ``mid`` and ``spread`` the log mid price and the spread of log price that the model gives for a lot::

    log highest bid = mid + spread (location_b + scale_b T),     T of Student's law

by condition band ``b``. A sold lot tells ``T`` exactly; of an unsold one it is known to lie below the
reserve or, where none is known, below the low estimate. Both kinds make up the likelihood (a censored
regression, after Tobin 1958), so that leaving unsold lots out does not bias it. The highest bid recorded on
an unsold lot is not used: it follows the very bid it would bound, and taken for a bound that knows nothing
of it it pulls unsold lots up. Locations and log scales of the bands are drawn towards common ones.

The lots are later than anything their model has seen, so that the spread is that of a forecast.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import optimize, stats
from scipy.special import gammaln, stdtr, stdtrit

from pricing.arrays import Floats, Ints
from pricing.model.price_model import PriceModel
from pricing.progress import Progress, untold
from pricing.vocabulary import CONDITION_BANDS

EARLIER: Final = 0.7
"""Share of the lots, the earlier ones, that only the price model sees."""

FEWEST_LOTS: Final = 40
FEWEST_UNSOLD: Final = 5
"""With fewer later lots, or fewer unsold ones among them, nothing is said."""

DEGREES: Final = (4.0, 10.0, 60.0)
"""Student's degrees of freedom tried; the likeliest is kept."""

POOLING: Final = 0.15
"""Standard deviation, between bands, of the location and of the log scale: an assumption, not an estimate."""

_TENTH: Final = float(stats.norm.ppf(0.9))


@dataclass(frozen=True, eq=False)
class Lots:
    """Lots in the model's units: log price less mid, over spread. ``lower`` and ``upper`` bound the highest
    bid and are equal where it is known; ``band`` is an index into the condition bands, one more where
    ungraded."""

    lower: Floats
    upper: Floats
    band: Ints

    def __len__(self) -> int:
        return len(self.lower)

    @property
    def sold(self) -> NDArray[np.bool_]:
        """Lots whose highest bid is known exactly: those that sold."""
        return self.lower == self.upper


@dataclass(frozen=True, eq=False)
class HighestBids:
    """The law of the highest bid in the model's units; ``location`` and ``scale`` by band, the ungraded
    last."""

    location: Floats
    scale: Floats
    degrees_of_freedom: float
    lots: int
    unsold: int

    @classmethod
    def fit(cls, lots: Lots) -> "HighestBids | None":
        """By penalised maximum likelihood; None where there are too few lots to say anything."""
        unsold = int((~lots.sold).sum())
        if len(lots) < FEWEST_LOTS or unsold < FEWEST_UNSOLD:
            return None
        bands = len(CONDITION_BANDS) + 1
        start = np.zeros(2 + 2 * bands)
        fits = [
            (
                optimize.minimize(_loss, start, (lots, degrees_of_freedom, bands), method="L-BFGS-B"),
                degrees_of_freedom,
            )
            for degrees_of_freedom in DEGREES
        ]
        best, degrees_of_freedom = min(fits, key=lambda fit: float(fit[0].fun))
        location = best.x[0] + best.x[2 : 2 + bands]
        scale = np.exp(best.x[1] + best.x[2 + bands :])
        return cls(location, scale, degrees_of_freedom, len(lots), unsold)

    def share_below(self, units: Floats | float, band: int) -> Floats:
        """Chance that the highest bid stays below so many of the model's units."""
        return np.asarray(stdtr(self.degrees_of_freedom, (units - self.location[band]) / self.scale[band]))

    def quantiles(self, levels: Floats, band: int) -> Floats:
        """Units that the highest bid does not exceed with each probability."""
        return np.asarray(self.location[band] + self.scale[band] * stdtrit(self.degrees_of_freedom, levels))


def later_lots(records: pl.DataFrame, model: PriceModel, progress: Progress = untold) -> Lots:
    """The later auction lots in the units of a model of the same kind fitted to what was before them;
    ``progress`` is told how far that fit is."""
    auction = (pl.col("channel") == "auction") & pl.col("outcome").is_in(["sold", "unsold"])
    days = records.filter(auction)["event_date"].sort()
    if days.len() < FEWEST_LOTS:
        return Lots(np.empty(0), np.empty(0), np.empty(0, dtype=np.int64))
    cut = days[int(EARLIER * days.len())]
    earlier = records.filter(pl.col("event_date") < cut)
    later = records.filter(auction, pl.col("event_date") >= cut)
    if earlier.filter(pl.col("outcome") == "sold").is_empty():
        return Lots(np.empty(0), np.empty(0), np.empty(0, dtype=np.int64))
    return in_units(
        later, PriceModel(model.spec, model.seed).fit(earlier, progress, model, recalibrate=False)
    )


def in_units(lots: pl.DataFrame, model: PriceModel) -> Lots:
    """Auction lots in the units of a model; those that tell nothing of the highest bid are left out."""
    mid, spread = mid_and_spread(model, lots)
    price, top = (
        np.log(lots[name].cast(pl.Float64).fill_null(np.nan).to_numpy()) for name in ("price", "upper_price")
    )
    sold = (lots["outcome"] == "sold").to_numpy()
    lower, upper = np.where(sold, price, -np.inf), np.where(sold, price, top)
    known = ~np.isnan(upper)
    places = {band: place for place, band in enumerate(CONDITION_BANDS)}
    found = lots["condition_band"].replace_strict(places, default=len(places), return_dtype=pl.Int64)
    band = found.to_numpy()
    return Lots(((lower - mid) / spread)[known], ((upper - mid) / spread)[known], band[known])


def mid_and_spread(model: PriceModel, cars: pl.DataFrame) -> tuple[Floats, Floats]:
    """Log mid price of each car, and the spread that would make its 80 % range a normal law's."""
    low, mid, high = np.log(model.distribution(cars).ppf([0.1, 0.5, 0.9])).T
    return mid, (high - low) / (2.0 * _TENTH)


def _loss(parameters: Floats, lots: Lots, degrees_of_freedom: float, bands: int) -> float:
    """Negative log likelihood with the pull of the bands towards each other."""
    apart = parameters[2:]
    location = (parameters[0] + parameters[2 : 2 + bands])[lots.band]
    log_scale = (parameters[1] + parameters[2 + bands :])[lots.band]
    high, low = (lots.upper - location) / np.exp(log_scale), (lots.lower - location) / np.exp(log_scale)
    constant = (
        gammaln((degrees_of_freedom + 1) / 2)
        - gammaln(degrees_of_freedom / 2)
        - 0.5 * np.log(degrees_of_freedom * np.pi)
    )
    with np.errstate(invalid="ignore"):
        density = (
            constant
            - (degrees_of_freedom + 1) / 2 * np.log1p(np.square(high) / degrees_of_freedom)
            - log_scale
        )
    between = np.log(np.maximum(stdtr(degrees_of_freedom, high) - stdtr(degrees_of_freedom, low), 1e-300))
    likelihood = np.where(lots.sold, density, between).sum()
    return float(-likelihood + 0.5 * np.square(apart / POOLING).sum())
