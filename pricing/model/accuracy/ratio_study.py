"""The ratio study: how estimates stand to the prices of the same cars at the same date.

For every sale the ratio is estimate over sale price. Level: median, mean and weighted mean. Uniformity:
coefficient of dispersion (COD) and of variation (COV). Whether dear cars are estimated otherwise than cheap
ones: price-related differential (PRD, above 1 when they are estimated lower) and price-related bias (PRB,
relative change of the ratio when value doubles). Definitions: ``EDITION``. Nothing official says what is good
for cars, so every measure is given with its interval and the number of sales, and with no verdict.
"""

from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from pricing.arrays import Floats
from pricing.errors import ModelError

EDITION: Final = "IAAO Standard on Ratio Studies, 2013"
"""The edition whose definitions are used. A later one (2026) no longer has the PRD."""

SUSPICIOUS_COD: Final = 5.0
"""COD, in per cent, below which the estimates have most likely seen the sales they are compared with."""

Interval = tuple[float, float]


@dataclass(frozen=True)
class RatioStudy:
    """The measures of one group of sales, each with its interval at ``confidence``.

    ``cod`` and ``cov`` are in per cent; the others are ratios. ``prd_interval`` is None in evidence of an
    earlier version. An interval is None where the sales are too
    few or too alike to give one; ``prb`` too. ``suspicious`` says that the COD is below ``SUSPICIOUS_COD``.
    """

    sales: int
    median_ratio: float
    median_ratio_interval: Interval | None
    mean_ratio: float
    weighted_mean: float
    weighted_mean_interval: Interval
    cod: float
    cod_interval: Interval | None
    cov: float
    prd: float
    prb: float | None
    prb_interval: Interval | None
    confidence: float
    suspicious: bool
    edition: str = EDITION
    prd_interval: Interval | None = None

    def to_dict(self) -> dict[str, Any]:
        """The study as plain values; an interval is two of them, such as ``cod_low`` and ``cod_high``."""
        flat: dict[str, Any] = {}
        for name, value in asdict(self).items():
            if name.endswith("_interval"):
                ends = (None, None) if value is None else value
                flat |= dict(zip((f"{name[:-9]}_low", f"{name[:-9]}_high"), ends, strict=True))
            else:
                flat[name] = value
        return flat


def ratio_study(estimates: ArrayLike, prices: ArrayLike, confidence: float = 0.95) -> RatioStudy:
    """Compare estimates with sale prices, one a sale and in the same order, in one currency and basis.

    Raises:
        ModelError: fewer than two sales, not one estimate a price, a value that is not positive and finite,
            or a confidence that is not strictly between 0 and 1.

    >>> study = ratio_study([90.0, 220.0, 400.0], [100.0, 200.0, 400.0])
    >>> study.sales, study.median_ratio, round(study.cod, 3), round(study.prd, 4)
    (3, 1.0, 6.667, 0.9859)
    """
    A, S = _checked("estimate", estimates), _checked("sale price", prices)
    if A.shape != S.shape:
        raise ModelError(f"a ratio study needs one estimate a sale price; got {A.size} and {S.size}")
    if len(A) < 2:
        raise ModelError(f"a ratio study needs at least 2 sales; got {len(A)}")
    if not 0.0 < confidence < 1.0:
        raise ModelError(f"confidence lies strictly between 0 and 1; got {confidence}")
    ratios = A / S
    median, mean, weighted = float(np.median(ratios)), float(ratios.mean()), float(A.sum() / S.sum())
    cod = 100.0 * float(np.abs(ratios - median).mean()) / median
    dispersion = dispersion_interval(ratios, confidence)
    prb, prb_interval = _price_related_bias(A, S, ratios, median, confidence)
    return RatioStudy(
        sales=len(A),
        median_ratio=median,
        median_ratio_interval=median_interval(ratios, confidence),
        mean_ratio=mean,
        weighted_mean=weighted,
        weighted_mean_interval=_weighted_mean_interval(A, S, weighted, confidence),
        cod=cod,
        cod_interval=None if dispersion is None else (100.0 * dispersion[0], 100.0 * dispersion[1]),
        cov=100.0 * float(ratios.std(ddof=1)) / mean,
        prd=mean / weighted,
        prb=prb,
        prb_interval=prb_interval,
        confidence=confidence,
        suspicious=cod < SUSPICIOUS_COD,
        prd_interval=_price_related_differential_interval(A, S, ratios, mean / weighted, confidence),
    )


def median_rank(n: int, confidence: float = 0.95) -> int | None:
    """Rank ``j`` such that the ``j``-th smallest and the ``j``-th largest of ``n`` values bound the median of
    their law with at least ``confidence``, whatever that law; None when ``n`` is too small for any.

    >>> median_rank(17), median_rank(5)
    (5, None)
    """
    rank = int(stats.binom.ppf((1.0 - confidence) / 2.0, n, 0.5))
    while rank > 0 and stats.binom.cdf(rank - 1, n, 0.5) > (1.0 - confidence) / 2.0:
        rank -= 1
    return rank if rank > 0 else None


def median_interval(values: ArrayLike, confidence: float = 0.95) -> Interval | None:
    """Exact binomial interval of a median: the order statistics at :func:`median_rank`.

    >>> median_interval([6.0, 1.0, 2.0, 5.0, 3.0, 4.0])
    (1.0, 6.0)
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    rank = median_rank(len(ordered), confidence)
    return None if rank is None else (float(ordered[rank - 1]), float(ordered[-rank]))


def dispersion_interval(values: ArrayLike, confidence: float = 0.95) -> Interval | None:
    """Interval of the mean absolute deviation from the median over the median, for any law (Bonett and Seier
    2006); None when the values are too few or too alike.

    >>> dispersion_interval([1.0, 1.0, 1.0]) is None
    True
    """
    y = np.sort(np.asarray(values, dtype=np.float64))
    n, median = len(y), float(np.median(y))
    deviation = float(np.abs(y - median).mean())
    inner = max(1, round((n + 1) / 2 - np.sqrt(n)))  # two standard errors of a rank below the middle
    if deviation == 0.0 or n < 3 or y[inner - 1] <= 0:
        return None
    z = float(stats.norm.ppf((1.0 + confidence) / 2.0))
    median_error = float(np.log(y[-inner] / y[inner - 1])) / 4.0
    skew = (y.mean() - median) / deviation
    deviation_error = float(np.sqrt((y.var(ddof=1) / deviation**2 + skew**2 - 1.0) / n))
    shared = skew * median_error / np.sqrt(n)
    joint = np.sqrt(max(median_error**2 + deviation_error**2 - 2.0 * shared, 0.0))
    k = float(joint / (median_error + deviation_error)) * z
    rank = max(1, round((n + 1) / 2 - k * np.sqrt(n / 4)))
    reach, unbiased = np.exp(k * deviation_error), deviation * n / (n - 1)
    if y[rank - 1] <= 0:
        return None
    return float(unbiased / reach / y[-rank]), float(unbiased * reach / y[rank - 1])


def _weighted_mean_interval(A: Floats, S: Floats, weighted: float, confidence: float) -> Interval:
    """Interval of a ratio of sums, by the t law and the variance of a ratio estimator (Cochran 1977)."""
    n = len(A)
    error = np.sqrt(np.sum((A - weighted * S) ** 2) / (n * (n - 1))) / S.mean()
    reach = float(stats.t.ppf((1.0 + confidence) / 2.0, n - 1) * error)
    return weighted - reach, weighted + reach


def _price_related_differential_interval(
    A: Floats, S: Floats, ratios: Floats, prd: float, confidence: float
) -> Interval | None:
    """Interval of the PRD, which the standard defines without one: by the t law and the delta method on its
    logarithm, the sum of those of two means less that of a third (Oehlert 1992); None for two sales."""
    n = len(A)
    if n < 3:
        return None
    pull = ratios / ratios.mean() + S / S.mean() - A / A.mean() - 1.0
    error = float(np.sqrt(pull @ pull / (n * (n - 1))))
    reach = float(stats.t.ppf((1.0 + confidence) / 2.0, n - 1)) * error
    return float(prd * np.exp(-reach)), float(prd * np.exp(reach))


def _price_related_bias(
    A: Floats, S: Floats, ratios: Floats, median: float, confidence: float
) -> tuple[float | None, Interval | None]:
    """Slope of the ratio's relative departure from the median on the binary logarithm of value, where value
    is half sale price and half estimate at the median level."""
    value = np.log2(0.5 * S + 0.5 * A / median)
    departure = (ratios - median) / median
    centred = value - value.mean()
    spread = float(centred @ centred)
    if spread <= len(A) * 1e-18:
        return None, None
    slope = float(centred @ departure) / spread
    left = departure - departure.mean() - slope * centred
    free = len(A) - 2
    if free == 0:
        return slope, None
    reach = float(stats.t.ppf((1.0 + confidence) / 2.0, free) * np.sqrt(left @ left / free / spread))
    return slope, (slope - reach, slope + reach)


def _checked(name: str, values: ArrayLike) -> Floats:
    array = np.atleast_1d(np.asarray(values, dtype=np.float64)).ravel()
    wrong = ~(np.isfinite(array) & (array > 0))
    if wrong.any():
        raise ModelError(
            f"{int(wrong.sum())} of {len(array)} {name}s are not positive and finite; the first is "
            f"{float(array[wrong][0])}"
        )
    return array
