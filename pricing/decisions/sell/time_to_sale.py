"""How long a car stands for sale against what is asked for it: a censored time-to-sale model.

An accelerated failure time model (Kalbfleisch and Prentice, ch. 2 and 3) with a log-logistic law::

    log days = a_channel + elasticity log(asked / mid) + scale L,     L of the logistic law

with ``mid`` what the price model says the car sells for on that channel. The elasticity is not below nought:
asking more never sells a car sooner. Cars still for sale when last seen are censored. Of many sold cars the
records do not say what was asked; those that do (an advertisement and a sale of the same car) stand for all,
each with the weight that makes up for the others.

``mid`` is an estimate, and its error draws the elasticity towards nought (errors in variables). With ``w =
log(asked / mid)``, the true ratio ``x`` and the known variance ``u`` of the log mid, ``x`` given ``w`` is
taken as normal about ``m + r (w - m)`` with variance ``r u``, where ``r = v / (v + u)``, ``v`` is the
variance of ``w`` less ``u``, and ``m`` the channel's mean; the likelihood of each listing is its mean over
that law (structural maximum likelihood: Carroll, Ruppert, Stefanski and Crainiceanu 2006, ch. 8; from
memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy import optimize, stats
from scipy.special import expit, logit, logsumexp

from pricing.arrays import Bools, Floats, Ints
from pricing.evidence.comparison.term_effects import mid_errors
from pricing.evidence.depth import asking_gap
from pricing.model.price_model import PriceModel

FEWEST_SALES: Final = 20
"""Sales with their asking price and listing date known, below which nothing is said."""

POOLING: Final = 0.3
"""Standard deviation of a channel's log time about the common one: an assumption, not an estimate."""

CHANNELS: Final = ("dealer", "private")

KNOWN: Final = 3.0
"""Standard errors that the variance of the true ratios must lie above nought, else the elasticity cannot be
corrected: what was asked then differs from the mid by little more than the mid's own error."""

POINTS: Final = np.polynomial.hermite_e.hermegauss(7)
"""Gauss-Hermite nodes and weights that a likelihood is averaged with."""


@dataclass(frozen=True, eq=False)
class Listings:
    """Offers with a known asking price: ``days`` on offer, whether ``sold`` at their end (else last seen),
    ``ratio`` = log(asked / mid), ``channel`` as an index into ``CHANNELS``, ``weight``, and the standard
    deviation of the log mid (``error``; nought where it is taken as known)."""

    days: Floats
    sold: Bools
    ratio: Floats
    channel: Ints
    weight: Floats
    error: Floats


@dataclass(frozen=True, eq=False)
class TimeToSale:
    """The fitted law; ``level`` by ``CHANNELS``, ``sales`` and ``offers`` behind it.

    ``uncorrected`` is the elasticity as if mid prices were exact, ``mid_error`` the standard deviation of
    their logarithms (root of the mean square), and ``corrected`` whether ``elasticity`` allows for it: if
    not, the true one is larger by an amount that these listings cannot tell.
    """

    level: Floats
    elasticity: float
    scale: float
    sales: int
    offers: int
    uncorrected: float
    mid_error: float
    corrected: bool

    @classmethod
    def fit(cls, listings: Listings) -> "TimeToSale | None":
        """By penalised maximum likelihood; None where the records do not say enough."""
        sales = int(listings.sold.sum())
        if sales < FEWEST_SALES:
            return None
        naive = _likeliest(listings, listings.ratio[:, None], np.ones(1), 1.0)
        error = float(np.sqrt(np.average(np.square(listings.error), weights=listings.weight)))
        likely = _true_ratios(listings) if error > 0.0 else None
        corrected = likely is not None or error == 0.0
        best = (
            naive if likely is None else _likeliest(listings, likely, POINTS[1] / POINTS[1].sum(), naive[3])
        )
        return cls(
            best[0] + best[1:3], float(best[3]), float(np.exp(best[4])), sales, len(listings.days),
            float(naive[3]), error, corrected,
        )  # fmt: skip

    def chance(self, channel: str, ratio: ArrayLike, days: ArrayLike) -> Floats:
        """Chance of a sale within so many days at ``log(asked / mid)``."""
        level = self.level[CHANNELS.index(channel)]
        with np.errstate(divide="ignore"):
            late = np.log(np.asarray(days, dtype=np.float64)) - level
        return np.asarray(expit((late - self.elasticity * np.asarray(ratio)) / self.scale))

    def days(self, channel: str, ratio: ArrayLike, chance: ArrayLike = 0.5) -> Floats:
        """Days by which a car is sold with that chance; the inverse of ``chance``."""
        level = self.level[CHANNELS.index(channel)]
        return np.exp(level + self.elasticity * np.asarray(ratio) + self.scale * logit(np.asarray(chance)))


def listings_of(
    sales: pl.DataFrame,
    every_record: pl.DataFrame,
    model: PriceModel,
    mid_errors: Callable[[PriceModel, pl.DataFrame], Floats] = mid_errors,
) -> Listings:
    """Offers outside auctions with their asking price, from ``Market.sales()`` and
    ``Market.sales(every_record=True)``.

    A sold car's asking price is that of its last advertisement within a year before the sale. ``mid_errors``
    gives the standard deviation of each car's log mid.
    """
    offered = pl.col("channel").is_in(CHANNELS) & pl.col("price").is_not_null()
    offers = every_record.filter(pl.col("outcome") == "asking")
    sold = sales.filter(offered, pl.col("outcome") == "sold", pl.col("listed_on").is_not_null())
    pairs = asking_gap(pl.concat([sold, offers], how="diagonal")).matched
    paired = sold.join(pairs.select("record_id", "asking"), on="record_id", how="left")
    standing = sales.filter(
        offered,
        pl.col("outcome") == "asking",
        pl.col("listed_on").is_not_null(),
        ~pl.col("record_id").is_in(pairs["asking_id"].to_list()),
    ).with_columns(asking="price")
    known = paired.filter(pl.col("asking").is_not_null())
    weight = len(paired) / max(len(known), 1)
    rows = pl.concat([known, standing], how="diagonal")
    if rows.is_empty():
        nothing = np.empty(0)
        return Listings(nothing, nothing.astype(bool), nothing, nothing.astype(np.int64), nothing, nothing)
    mid = np.log(model.distribution(rows).mid)
    days = (rows["event_date"] - rows["listed_on"]).dt.total_days().cast(pl.Float64).to_numpy()
    is_sold = np.arange(len(rows)) < len(known)
    return Listings(
        np.maximum(days, 0.5),
        is_sold,
        np.log(rows["asking"].cast(pl.Float64).to_numpy()) - mid,
        rows["channel"].replace_strict(dict(zip(CHANNELS, (0, 1), strict=True))).to_numpy().astype(np.int64),
        np.where(is_sold, weight, 1.0),
        mid_errors(model, rows),
    )


def kaplan_meier(days: ArrayLike, sold: ArrayLike, weight: ArrayLike = 1.0) -> pl.DataFrame:
    """Share still for sale after each day on which one sold (Kaplan and Meier 1958): ``days``, ``share``.

    >>> kaplan_meier([1, 2, 2, 3], [True, True, False, True])["share"].to_list()
    [0.75, 0.5, 0.0]
    """
    on_offer = np.asarray(days, dtype=float)
    counted = np.broadcast_to(np.asarray(weight, dtype=float), on_offer.shape)
    frame = pl.DataFrame({"days": on_offer, "left": counted, "sold": np.asarray(sold, dtype=bool) * counted})
    steps = frame.group_by("days").agg(pl.col("sold", "left").sum()).sort("days")
    at_risk = pl.col("left").cum_sum(reverse=True)
    return steps.with_columns(share=(1.0 - pl.col("sold") / at_risk).cum_prod()).filter(
        pl.col("sold") > 0
    ).select("days", "share")  # fmt: skip


def log_rank(days: ArrayLike, sold: ArrayLike, dearer: ArrayLike) -> tuple[float, float]:
    """Chi-squared statistic and p value that two groups sell equally fast (Mantel 1966), hypergeometric
    variance."""
    frame = pl.DataFrame(
        {
            "days": np.asarray(days, dtype=float),
            "sold": np.asarray(sold, dtype=bool),
            "dearer": np.asarray(dearer, dtype=bool),
        }
    )
    steps = (
        frame.group_by("days")
        .agg(
            all=pl.len(),
            one=pl.col("dearer").sum(),
            events=pl.col("sold").sum(),
            own=(pl.col("sold") & pl.col("dearer")).sum(),
        )
        .sort("days")
        .with_columns(pl.col("all", "one").cum_sum(reverse=True).cast(pl.Float64))
        .filter(pl.col("events") > 0)
    )
    n, one, events = (steps[name].cast(pl.Float64).to_numpy() for name in ("all", "one", "events"))
    excess = float(steps["own"].sum()) - float((events * one / n).sum())
    variance = float((events * (one / n) * (1 - one / n) * (n - events) / np.maximum(n - 1, 1)).sum())
    if variance == 0.0:
        return 0.0, 1.0
    statistic = excess**2 / variance
    return statistic, float(stats.chi2.sf(statistic, 1))


def _true_ratios(listings: Listings) -> Floats | None:
    """Ratios that each listing may truly have had (n x nodes of ``POINTS``); None where they differ by too
    little to be told from the error of the mids."""
    weight = listings.weight
    counts = np.bincount(listings.channel, weight, minlength=len(CHANNELS))
    sums = np.bincount(listings.channel, weight * listings.ratio, minlength=len(CHANNELS))
    mean = (sums / np.maximum(counts, 1e-12))[listings.channel]
    noise = np.square(listings.error)
    around = np.square(listings.ratio - mean)
    true = float(np.average(around - noise, weights=weight))
    size = float(weight.sum() ** 2 / np.square(weight).sum())  # of equal weights that would tell as much
    if true <= KNOWN * float(np.average(around, weights=weight)) * np.sqrt(2.0 / size):
        return None
    share = true / (true + noise)
    middle = mean + share * (listings.ratio - mean)
    return np.asarray(middle[:, None] + np.sqrt(share * noise)[:, None] * POINTS[0])


def _likeliest(listings: Listings, ratios: Floats, shares: Floats, elasticity: float) -> Floats:
    """Level, the channels' departures from it, elasticity and log scale by penalised maximum likelihood."""
    middle = float(np.log(np.median(listings.days)))
    start = np.array([middle, 0.0, 0.0, elasticity, 0.0])
    bounds = [(None, None)] * 3 + [(0.0, None), (np.log(0.05), np.log(5.0))]
    optimum = optimize.minimize(_loss, start, (listings, ratios, shares), method="L-BFGS-B", bounds=bounds)
    return np.asarray(optimum.x)


def _loss(parameters: Floats, listings: Listings, ratios: Floats, shares: Floats) -> float:
    """Negative weighted log likelihood, each listing's averaged over its possible ``ratios`` (n x nodes,
    ``shares`` of them), with the pull of the channels towards each other."""
    level = parameters[0] + parameters[1:3][listings.channel]
    days = np.log(listings.days)
    late = ((days - level)[:, None] - parameters[3] * ratios) / np.exp(parameters[4])
    still = -np.logaddexp(0.0, late)
    density = late + 2.0 * still - parameters[4] - days[:, None]
    each = logsumexp(np.where(listings.sold[:, None], density, still), axis=1, b=shares)
    return float(-(listings.weight * each).sum() + 0.5 * np.square(parameters[1:3] / POOLING).sum())
