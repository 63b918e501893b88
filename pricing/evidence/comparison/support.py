"""What stands behind each adjustment: the interval of its effect, the sales it rests on, and matched pairs.

The interval is the posterior's of the difference that the line makes between the two cars (normal law); of
the date line it is the index's own. Matched pairs are sales of the model (of the make, where it has few)
alike but for that line, both graded, for of two cars whose condition nobody stated none knows whether they
are alike: brought to one day and freed of what else differs a little, the ratio of their prices shows the
line alone.
"""

from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pricing.arrays import Bools, Floats, Ints
from pricing.evidence.comparison.adjustments import CONDITIONS, DATE
from pricing.evidence.comparison.date_line import date_errors
from pricing.evidence.comparison.sale_features import SaleFeatures
from pricing.evidence.comparison.term_effects import TermEffects
from pricing.model.features.design import Encoded

COVERAGE: Final = 0.95

ALIKE: Final = 0.05
"""Sum of the sizes of the log differences on all other lines up to which two sales are a matched pair.
Assumption."""

SAME_SIZE: Final = (0.75, 1.33)
"""A pair tells of a line where the line differs in it by 3/4 to 4/3 as much. Assumption."""

FEWEST: Final = 30
"""Sales of a model below which pairs are looked for in the make."""

MOST: Final = 400
"""Sales, the latest, among which pairs are looked for."""

SCHEMA: Final = {
    "record_id": pl.String, "line": pl.String, "low_per_cent": pl.Float64, "high_per_cent": pl.Float64,
    "sales": pl.Int64, "pairs": pl.Int64, "pair_per_cent": pl.Float64,
}  # fmt: skip


def line_errors(indexed: SaleFeatures, own: Encoded, others: Encoded, days: Floats, day: float) -> Floats:
    """Standard deviation of every log adjustment (n x lines): conditions of sale, date, group, terms."""
    effects, n = indexed.effects, len(others.X)
    errors = np.zeros((n, 2 + len(effects.lines)))
    errors[:, 1] = date_errors(indexed.dates, days, np.full(n, day))
    apart = own.X - others.X
    codes = np.repeat(own.codes[:1], n, axis=0)
    errors[:, 2] = np.sqrt(_group_variance(effects, others.X, codes, others.codes))
    for place in range(len(effects.lines) - 1):
        part = (apart * effects.membership[:, place]).astype(np.float64)
        moved = np.any(part != 0.0, axis=1)
        if moved.any():
            variances = effects.posterior.variance(part[moved], codes[moved], effects.priors)
            errors[moved, 3 + place] = np.sqrt(np.maximum(variances, 0.0))
    return errors


def spans_nought(logs: Floats, errors: Floats, coverage: float = COVERAGE) -> Floats:
    """Whether the interval of each log adjustment holds nought; never of one that is exactly nought.

    >>> spans_nought(np.array([0.1, 0.1, 0.0]), np.array([0.2, 0.01, 0.1])).tolist()
    [True, False, False]
    """
    reach = stats.norm.ppf((1.0 + coverage) / 2.0) * errors
    return (np.abs(logs) <= reach) & (logs != 0.0)


def adjustment_support(
    indexed: SaleFeatures,
    own: Encoded,
    others: Encoded,
    records: pl.DataFrame,
    logs: Floats,
    names: tuple[str, ...],
    day: float,
) -> pl.DataFrame:
    """One row a comparable and line that adjusts it: ``record_id``, ``line``, ``low_per_cent`` and
    ``high_per_cent`` of its effect at ``COVERAGE``, ``sales`` it rests on, matched ``pairs`` (how many) and
    their median, ``pair_per_cent`` (null without any).

    ``records`` are the comparables, ``others`` the same as columns, ``logs`` (n x lines) their adjustments by
    ``names``.
    """
    days = records["event_date"].to_physical().cast(pl.Float64).to_numpy()
    errors = line_errors(indexed, own, others, days, day)
    reach = stats.norm.ppf((1.0 + COVERAGE) / 2.0) * errors
    group = (records["make"][0], records["model"][0], None)
    pool = _Pool.of(indexed, own, group, day)
    rows = []
    for row, record in enumerate(records["record_id"]):
        for column, name in enumerate(names):
            log = float(logs[row, column])
            if name == CONDITIONS or log == 0.0:
                continue
            pairs = np.empty(0) if name == DATE else pool.pairs(column - 2, log)
            rows.append(
                {
                    "record_id": record,
                    "line": name,
                    "low_per_cent": 100.0 * float(np.expm1(log - reach[row, column])),
                    "high_per_cent": 100.0 * float(np.expm1(log + reach[row, column])),
                    "sales": indexed.dates.size if name == DATE else pool.differing(column - 2),
                    "pairs": len(pairs),
                    "pair_per_cent": 100.0 * float(np.expm1(np.median(pairs))) if len(pairs) else None,
                }
            )
    return pl.DataFrame(rows, schema=SCHEMA)


class _Pool:
    """The sales among which matched pairs are looked for: their worth by line and their log prices, brought
    to one day."""

    def __init__(self, worth: Floats, prices: Floats, graded: Bools) -> None:
        self.prices = prices
        self.worth = worth
        first, second = np.triu_indices(len(prices), k=1)
        self.apart = worth[first] - worth[second]  # pairs x lines
        self.ratio = prices[first] - prices[second]
        self.total = np.abs(self.apart).sum(axis=1)
        self.both_graded = graded[first] & graded[second]

    @classmethod
    def of(cls, indexed: SaleFeatures, own: Encoded, group: tuple[str, str, None], day: float) -> "_Pool":
        where = indexed.at_level(1, group)
        if (indexed.days[where] <= day).sum() < FEWEST:
            where = indexed.at_level(2, group)
        rows = np.arange(where.start, where.stop)
        rows = rows[indexed.days[rows] <= day]
        rows = rows[np.argsort(indexed.days[rows], kind="stable")][-MOST:]
        sales = indexed.sales[rows]
        encoded = indexed.effects.encode(sales, indexed.span[1])
        prices = np.log(sales["price"].cast(pl.Float64).to_numpy())
        prices = prices + indexed.dates.between(indexed.days[rows], np.full(len(rows), day))
        theta = indexed.effects.coefficients(own)[0]
        terms = (encoded.X * theta) @ indexed.effects.membership
        level = ((indexed.effects.coefficients(encoded) - theta) * encoded.X).sum(axis=1)
        return cls(np.column_stack([level, terms]), prices, indexed.graded(rows))

    def differing(self, line: int) -> int:
        """Sales beside which there is another that differs in the line."""
        worth = self.worth[:, line]
        return 0 if len(worth) == 0 or np.ptp(worth) < 1e-12 else len(worth)

    def pairs(self, line: int, log: float) -> Floats:
        """What each matched pair shows of a line that adjusts by ``log``: log ratios in its direction."""
        apart = self.apart[:, line]
        rest = self.total - np.abs(apart)
        size = np.abs(apart) / abs(log)
        matched = self.both_graded & (rest <= ALIKE) & (size >= SAME_SIZE[0]) & (size <= SAME_SIZE[1])
        sign = np.sign(apart[matched]) * np.sign(log)
        others = self.apart[matched].sum(axis=1) - apart[matched]
        return np.asarray(sign * (self.ratio[matched] - others))


def _group_variance(effects: TermEffects, X: Floats, own: Ints, others: Ints) -> Floats:
    """Posterior variance of ``(theta_own - theta_other) @ x`` for each row: along both groups' descent
    up to where they meet, then along one."""
    posterior, priors = effects.posterior, effects.priors
    mine, theirs = X.astype(np.float64).copy(), -X.astype(np.float64)
    variances = np.zeros(len(X))
    for row in range(len(X)):
        for level in range(len(posterior.levels) - 1, -1, -1):
            current = posterior.levels[level]
            groups = (int(own[row, level]), int(others[row, level]))
            if groups[0] == groups[1] and groups[0] >= 0:
                mine[row] += theirs[row]
                theirs[row] = 0.0
            for rest, code in zip((mine[row], theirs[row]), groups, strict=True):
                if not rest.any():
                    continue
                if code < 0:
                    variances[row] += float(np.square(rest) @ priors.levels[level])
                else:
                    a = rest[current.columns]
                    variances[row] += float(a @ current.spread[code] @ a)
                    rest -= a @ current.gain[code]
    rest = mine + theirs
    variances += np.einsum("np,np->n", rest @ posterior.covariance, rest)
    same = (own == others).all(axis=1)
    return np.where(same, 0.0, np.maximum(variances, 0.0))
