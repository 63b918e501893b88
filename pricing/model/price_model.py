"""The door to this room: fit a market, then ask for ranges, standings and explanations."""

from collections.abc import Sequence
from datetime import date
from importlib.metadata import version
from typing import Any, Self

import numpy as np
import polars as pl

from pricing.errors import ModelError
from pricing.model.calibration import Calibration
from pricing.model.depth import DEPTHS
from pricing.model.design import Design
from pricing.model.evidence import Evidence
from pricing.model.explanation import CALIBRATION, INTERACTIONS, explain
from pricing.model.hedonic import LARGE, ONE_THREAD, HedonicRegression
from pricing.model.interactions import Interactions
from pricing.model.pooling import Floats
from pricing.model.prediction import Fitted, Prediction, predict, predict_encoded, seen_by_trees
from pricing.model.reasons import refusals
from pricing.model.spec import FeatureSpec
from pricing.progress import Progress, untold

MINIMUM_SALES = 30
"""Sales below which no range is given for any car."""

CALIBRATION_SHARE = 0.2
"""Latest share of the sales that a first fit does not see and the ranges are calibrated on."""

FEW_MORE = 0.01
"""Share of new rows up to which a fit that starts from another keeps its calibration."""


class PriceModel:
    """A market's price model. Life cycle: make it from a spec, :meth:`fit` it to sales, ask.

    1. ``fit`` learns the regression on the earlier sales, calibrates its ranges on the later ones, and
       learns the regression anew on all of them.
    2. ``price_range``, ``quantiles``, ``standing`` and ``contributions`` answer for a frame of cars, row by
    row.

    Prices are in the unit of the price column. A car is a row with the spec's feature columns; an absent
    column or a null is "not known", which widens the range. Its ``event_date`` is the effective date
    (default: ``as_of``, and without that the date of the last sale); dates before the fit's last sale are
    looked back on with later sales in view, so a valuation that may use only what was known then is made by
    a model fitted to the sales of that time.

    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> sales = pl.DataFrame({"make": rng.choice(["Ash", "Elm"], 400)}).with_columns(
    ...     price=pl.Series(np.exp(9.0 + 0.2 * rng.standard_normal(400))))
    >>> model = PriceModel(FeatureSpec(groups=("make",))).fit(sales)
    >>> model.price_range(pl.DataFrame({"make": ["Ash"]})).columns
    ['low', 'mid', 'high', 'evidence', 'reason']
    """

    def __init__(self, spec: FeatureSpec, seed: int = 0) -> None:
        self.spec = spec
        self.seed = seed
        self.calibration: Calibration
        self._fitted: Fitted | None = None

    @property
    def fitted(self) -> Fitted:
        """What :meth:`fit` found.

        Raises:
            ModelError: it has not been called.
        """
        if self._fitted is None:
            raise ModelError("the price model is not fitted: call fit before asking for prices")
        return self._fitted

    @fitted.setter
    def fitted(self, found: Fitted) -> None:
        self._fitted = found

    def fit(
        self, frame: pl.DataFrame, progress: Progress = untold, start: "PriceModel | None" = None
    ) -> Self:
        """Learn from a frame of sales, unsold lots and asking prices.

        ``start`` is a model fitted to much the same frame, such as yesterday's: its variances are where
        this fit begins, and its calibration is kept until there are ``FEW_MORE`` more rows than it was made
        with. That saves time and changes the answer by no more than the iteration's tolerance.

        Raises:
            TableError: a column the model cannot do without is absent or of the wrong type.
            ModelError: there is no sale to learn from, or a price is not positive and finite.
        """
        tell = progress
        rows = Evidence.gather(frame, self.spec)
        first = None if start is None else start.fitted
        calibrated_rows = len(rows)
        if (
            start is not None
            and 0 <= len(rows) - start.facts.get("calibrated_rows", 0) <= len(rows) * FEW_MORE
        ):
            self.calibration, calibrated_rows = start.calibration, start.facts["calibrated_rows"]
        else:
            tell("fit to the earlier sales", 0, 3)
            first = self._calibrate(*_split(rows), first, tell)
        tell("fit to all sales", 2, 3)
        self.fitted = self._fit_once(rows, first)
        tell("fitted", 3, 3)
        self.facts: dict[str, Any] = {
            "rows": len(rows),
            "sales": int(rows.sold.sum()),
            "asking": int(rows.asking.sum()),
            "unsold": int((~rows.sold & ~rows.asking).sum()),
            "calibration_sales": len(self.calibration.scores),
            "calibrated_rows": calibrated_rows,
            "degrees_of_freedom": self.fitted.regression.estimates_.degrees,
            "first_date": self._day(self.fitted.design.first_day),
            "last_date": self._day(self.fitted.design.last_day),
            "seed": self.seed,
            "version": version("classic-car-pricing"),
        }
        return self

    def _calibrate(
        self, early: Evidence, late: Evidence, start: Fitted | None, tell: Progress
    ) -> Fitted | None:
        shape = (len(DEPTHS), len(self.spec.condition_bands) + 1)
        sold = late.sold
        if not early.sold.any() or not sold.any():
            self.calibration = Calibration.learn(np.empty(0), np.empty(0, int), np.empty(0, int), shape, 5.0)
            return None
        first = self._fit_once(early, start)
        tell("calibrate on the later sales", 1, 3)
        guess = predict(first, late.features.filter(sold))
        scores = (late.y[sold] - guess.mid) / guess.spread
        self.calibration = Calibration.learn(
            scores, guess.depth, guess.band, shape, first.regression.estimates_.degrees
        )
        return first

    def _fit_once(self, rows: Evidence, start: Fitted | None = None) -> Fitted:
        design = Design(self.spec).learn(rows)
        grouped = design.groups.order(rows.features)  # as the regression wants them: it then takes no copy
        by_date = np.argsort(grouped)
        precision = np.float64 if len(rows) < LARGE else np.float32
        encoded = design.encode(rows.features[grouped], rows.asking[grouped], precision)
        priors = None
        if start is not None:
            found = start.regression.estimates_
            priors = design.carried(start.design, found.priors, found.spread_priors)
        regression = HedonicRegression().fit(
            encoded.X,
            rows.y[grouped],
            codes=encoded.codes,
            structure=design.structure(),
            lower=rows.lower[grouped],
            upper=rows.upper[grouped],
            start=priors,
        )
        with ONE_THREAD.limit(limits=1):
            interactions = Interactions.learn(
                seen_by_trees(regression, encoded)[by_date],
                regression.residual_[by_date],
                regression.weights_[by_date],
                [0] if design.condition is not None else [],
                self.seed,
                None if start is None else len(start.interactions.trees),
            )
        sales = rows.sold[grouped]
        average = np.einsum("n,np->p", sales.astype(np.float64), encoded.X) / sales.sum()
        sold = encoded.codes[sales]
        sizes = design.groups.tree.sizes
        counts = [np.bincount(sold[:, level], minlength=size) for level, size in enumerate(sizes)]
        return Fitted(design, regression, interactions, counts, average)

    def _ask(self, cars: pl.DataFrame, as_of: date | None) -> tuple[Prediction, pl.DataFrame]:
        features = self._features(cars, as_of)
        return predict(self.fitted, features), features

    def _features(self, cars: pl.DataFrame, as_of: date | None) -> pl.DataFrame:
        features = self.spec.prepared(cars)
        if self.spec.event_date and as_of is not None:
            features = features.with_columns(pl.col(self.spec.event_date).fill_null(as_of))
        return features

    def _scaled(self, guess: Prediction) -> Floats:
        return guess.spread * self.calibration.scales[guess.depth, guess.band]

    def quantiles(
        self, cars: pl.DataFrame, levels: Sequence[float], as_of: date | None = None
    ) -> pl.DataFrame:
        """Price not exceeded with each probability in ``levels``: one column a level, named ``f"{level:g}"``.

        Raises:
            ModelError: the model is not fitted, or a level is not strictly between 0 and 1.
        """
        wrong = [level for level in levels if not 0.0 < level < 1.0]
        if wrong:
            raise ModelError(f"a probability lies strictly between 0 and 1; got {wrong[0]}")
        guess, _ = self._ask(cars, as_of)
        scores = self.calibration.quantiles(np.sort(np.asarray(levels, dtype=np.float64)))
        prices = np.exp(guess.mid[:, None] + self._scaled(guess)[:, None] * scores)
        names = [f"{level:g}" for level in sorted(levels)]
        return pl.DataFrame(prices, schema=names).select(f"{level:g}" for level in levels)

    def price_range(
        self,
        cars: pl.DataFrame,
        coverage: float = 0.8,
        as_of: date | None = None,
        asking: Sequence[float] | pl.Series | None = None,
    ) -> pl.DataFrame:
        """Central price range of every car: ``low``, ``mid`` (median), ``high``, ``evidence`` (how many
        sales of its model are behind it) and ``reason``, which is null, or says why no range is given.

        With ``asking``, a price or null for every car, also ``standing``, as :meth:`standing` gives it; null
        without a price or a range.

        Raises:
            ModelError: the model is not fitted, ``coverage`` is not strictly between 0 and 1, or an asking
                price is not positive.
        """
        if not 0.0 < coverage < 1.0:
            raise ModelError(f"coverage lies strictly between 0 and 1; got {coverage}")
        guess, features = self._ask(cars, as_of)
        levels = np.array([(1.0 - coverage) / 2.0, 0.5, (1.0 + coverage) / 2.0])
        scores = self.calibration.quantiles(levels)
        prices = np.exp(guess.mid[:, None] + self._scaled(guess)[:, None] * scores)
        reason = self._reasons(guess, features, coverage, prices)
        kept = reason.is_null()
        ends = [pl.Series(name, prices[:, place]) for place, name in enumerate(("low", "mid", "high"))]
        standing = [] if asking is None else [self._standing(guess, asking)]
        return pl.DataFrame(ends + standing).select(
            pl.when(kept).then(pl.col("low", "mid", "high")),
            pl.Series("evidence", DEPTHS)[guess.depth],
            reason,
            *(pl.when(kept).then(column.name) for column in standing),
        )

    def _reasons(
        self, guess: Prediction, features: pl.DataFrame, coverage: float, prices: Floats
    ) -> pl.Series:
        sales = self.facts["sales"]
        if sales < MINIMUM_SALES:
            sentence = f"the market has only {sales} sales; a range needs at least {MINIMUM_SALES}"
            return pl.Series("reason", [sentence] * len(features), dtype=pl.String)
        if not self.calibration.finite(coverage):
            sentence = (
                f"only {len(self.calibration.scores)} later sales to check a range against; "
                f"{coverage:.0%} coverage cannot be promised from so few"
            )
            return pl.Series("reason", [sentence] * len(features), dtype=pl.String)
        return refusals(self.fitted.design, guess.codes, features, prices)

    def standing(
        self, cars: pl.DataFrame, asking: Sequence[float] | pl.Series, as_of: date | None = None
    ) -> pl.Series:
        """Share of like cars that would sell for less than each asking price, 0 to 1.

        Raises:
            ModelError: the model is not fitted, or there is not one positive asking price a car.
        """
        guess, _ = self._ask(cars, as_of)
        return self._standing(guess, asking)

    def _standing(self, guess: Prediction, asking: Sequence[float] | pl.Series) -> pl.Series:
        """The standing of each price; null where there is none."""
        prices = pl.Series(asking).cast(pl.Float64)
        if len(prices) != len(guess.mid) or not (prices > 0).all():
            raise ModelError(
                f"{len(guess.mid)} cars need as many positive asking prices; got {list(asking)[:5]}"
            )
        scores = (np.log(prices.to_numpy()) - guess.mid) / self._scaled(guess)
        shares = pl.Series("standing", self.calibration.shares(scores))
        return shares.fill_nan(None) if prices.null_count() else shares

    def contributions(self, cars: pl.DataFrame, as_of: date | None = None) -> pl.DataFrame:
        """What makes up each mid price: one row a car and term, in the order a valuer reads them.

        Columns: ``row`` (of the car), ``term``, ``value`` (the car's own), ``factor``, its 80 % interval
        ``low`` and ``high``, and ``per_cent``, the effect as a per cent with Kennedy's correction. The
        factors of a row multiply to its mid price; the first is the price of the average sale on record.
        """
        fitted, features = self.fitted, self._features(cars, as_of)
        encoded = fitted.design.encode(features)
        with ONE_THREAD.limit(limits=1):
            guess = predict_encoded(fitted, encoded)
        centre = float(self.calibration.quantiles(np.array([0.5]))[0])
        beside = {INTERACTIONS: guess.learnt} if fitted.interactions.trees else {}
        beside[CALIBRATION] = self._scaled(guess) * centre
        return explain(fitted.design, fitted.regression, encoded, features, fitted.reference, beside)

    def log_mid(self, cars: pl.DataFrame, as_of: date | None = None) -> Floats:
        """Logarithm of each car's price as the regression and its trees have it, before calibration, which
        is made on sold cars alone."""
        return self._ask(cars, as_of)[0].mid

    def asking_gaps(self) -> pl.DataFrame:
        """The factor of asking over sold prices by ``asking_by`` (channel) and ``tier``, with its 80 %
        interval ``low`` and ``high``; empty when no asking prices were seen."""
        estimates = self.fitted.regression.estimates_
        return self.fitted.design.asking.gaps(estimates.posterior, self.fitted.design.columns)

    @staticmethod
    def _day(days: float) -> str:
        return date.fromordinal(date(1970, 1, 1).toordinal() + int(days)).isoformat()


def _split(rows: Evidence) -> tuple[Evidence, Evidence]:
    """Earlier rows and the latest ``CALIBRATION_SHARE`` of the sales (with whatever else happened since)."""
    sold = np.flatnonzero(rows.sold)
    cut = int(sold[int(len(sold) * (1.0 - CALIBRATION_SHARE))]) if len(sold) > 1 else len(rows)
    return rows[:cut], rows[cut:]
