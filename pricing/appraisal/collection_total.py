"""What a collection comes to: the sum of what its cars count for, and the range of their prices together.

Lows do not add up to a low, for cars do not all sell low at once; nor do they sell each for itself. The
prices of all cars are drawn together: their standard scores share the move of the market since the last sale
(its part of each variance is what the fit found), and those of cars of one model have the correlation that
``simulation.ALIKE`` assumes. Each price follows a log-normal law on either side of its middle, through the
low and the high of its own range.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, Self

import numpy as np
from scipy.special import ndtri

from pricing.appraisal.evidence import COVERAGE, Evidence, coverage_of
from pricing.appraisal.facts import Facts
from pricing.arrays import Floats
from pricing.decisions.amounts import whole_units
from pricing.decisions.simulation import ALIKE
from pricing.errors import AppraisalError
from pricing.model.calibration.market_shift import MarketShift

FEWEST_DRAWS: Final = 4_000
MOST_DRAWS: Final = 100_000
PRICES_DRAWN: Final = 4_000_000
"""Draws of a total: as many as make so many prices of all cars, within bounds. The prices of few cars do not
even each other out, and their ends are the ones that many draws are needed for."""

MOST_OFF: Final = Decimal("0.9")
"""No discount for selling all at once is larger."""


@dataclass(frozen=True)
class SoldTogether:
    """A person's judgement of what selling all cars at once takes off: a ``share`` of the sum, and why."""

    share: Decimal
    reason: str

    def __post_init__(self) -> None:
        if not (self.share.is_finite() and 0 < self.share <= MOST_OFF):
            raise AppraisalError(
                f"what selling all at once takes off is a share above 0, up to {MOST_OFF}; got {self.share}"
            )
        if not self.reason.strip():
            raise AppraisalError("a discount for selling all at once is a judgement, and needs its reason")


@dataclass(frozen=True)
class Total:
    """What the cars come to together, in one currency.

    Args:
        added: the sum of what every valued car counts for.
        low, mid, high: the range of the sum of their prices; a car with an opinion counts with its low and
            high, a single figure with itself.
        coverage: share of the draws that lie in the range.
        cars: how many cars it is of.
        together: the judgement of what selling at once takes off, if any.
    """

    added: Decimal
    low: Decimal
    mid: Decimal
    high: Decimal
    coverage: float
    cars: int
    together: SoldTogether | None = None

    @classmethod
    def of(cls, cars: Sequence[Facts], together: SoldTogether | None = None, seed: int = 0) -> Self:
        """The total of cars that were all valued in one currency."""
        figures = [figure_of(facts) for facts in cars]
        added = sum((figure for figure in figures if figure is not None), Decimal(0))
        coverages = {coverage_of(facts.record) for facts in cars}
        coverage = min(coverages, default=COVERAGE)
        if not cars:
            return cls(added, added, added, added, coverage, 0, together)
        sums = _draws(cars, seed).sum(axis=1)
        tail = (1.0 - coverage) / 2.0
        low, mid, high = (
            whole_units(Decimal(repr(float(end))), cars[0].currency)
            for end in np.quantile(sums, [tail, 0.5, 1.0 - tail])
        )
        return cls(added, low, mid, high, coverage, len(cars), together)

    @property
    def less(self) -> tuple[Decimal, Decimal, Decimal] | None:
        """The range when all are sold at once, by the stated judgement; None without one."""
        if self.together is None:
            return None
        left = 1 - self.together.share
        return self.low * left, self.mid * left, self.high * left


def figure_of(facts: Facts) -> Decimal | None:
    """What a car counts for in the total: the middle of the opinion, else of the price model's range."""
    return None if facts.opinion is None and facts.model is None else _ends(facts)[1]


def market_variance(evidence: Evidence) -> float:
    """Variance of the log price that all cars of a day have in common, by the fit behind the evidence."""
    shift, last = evidence.fit.get("market_shift"), evidence.fit.get("last_date")
    if not shift or not last:
        return 0.0
    late = max((evidence.valuation.as_of - date.fromisoformat(str(last))).days, 0)
    return float(MarketShift(variance=shift["variance"]).variance_at(np.array(float(late))))


def _draws(cars: Sequence[Facts], seed: int) -> Floats:
    """Prices drawn together: draws x cars."""
    rng = np.random.default_rng(seed)
    ends = np.log([[float(end) for end in _ends(facts)] for facts in cars])
    reach = ndtri((1.0 + np.array([coverage_of(facts.record) for facts in cars])) / 2.0)
    below, above = (ends[:, 1] - ends[:, 0]) / reach, (ends[:, 2] - ends[:, 1]) / reach
    variance = np.square((below + above) / 2.0)
    common = np.array([market_variance(facts.evidence) for facts in cars])
    market = np.clip(common / np.maximum(variance, 1e-12), 0.0, 1.0)
    kinds = {(facts.record.subject.make, facts.record.subject.model): None for facts in cars}
    place = {kind: number for number, kind in enumerate(kinds)}
    kind = np.array([place[facts.record.subject.make, facts.record.subject.model] for facts in cars])
    alike = np.maximum(ALIKE - market, 0.0)
    draws = min(max(PRICES_DRAWN // len(cars), FEWEST_DRAWS), MOST_DRAWS)
    score = (
        np.sqrt(market) * rng.standard_normal((draws, 1))
        + np.sqrt(alike) * rng.standard_normal((draws, len(kinds)))[:, kind]
        + np.sqrt(1.0 - market - alike) * rng.standard_normal((draws, len(cars)))
    )
    return np.asarray(np.exp(ends[:, 1] + np.where(score < 0.0, below, above) * score))


def _ends(facts: Facts) -> tuple[Decimal, Decimal, Decimal]:
    if facts.opinion is not None:
        low, high = facts.opinion
        return low, (low + high) / 2, high
    if facts.model is None:
        raise AppraisalError(f"{facts.appraisal_id}: a car without a value is in no total")
    return facts.model.figures
