"""The door to this room: fit a market, then ask for price distributions."""

from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date
from html import escape
from importlib.metadata import version
from typing import Any, ClassVar, Self

import numpy as np
import polars as pl

from pricing.arrays import Floats, Ints
from pricing.errors import ModelError
from pricing.model.calibration.calibration import CUTS, Calibration, origin_errors
from pricing.model.calibration.market_shift import MarketShift
from pricing.model.calibration.score_law import ScoreLaw
from pricing.model.distribution import PriceDistribution
from pricing.model.explanation import INTERACTIONS, Ground, explain, grounds
from pricing.model.features.design import Design, Encoded
from pricing.model.features.evidence import SaleEvidence
from pricing.model.features.spec import FeatureSpec, Frame, as_polars
from pricing.model.features.trees import Interactions
from pricing.model.prediction import (
    BATCH,
    DEPTHS,
    Fitted,
    Prediction,
    predict,
    predict_encoded,
    seen_by_trees,
)
from pricing.model.regression.hedonic import LARGE, ONE_THREAD, fit_regression
from pricing.model.remarks import refusals, remarks
from pricing.model.statements import SalesSeen, Statements, hear
from pricing.progress import Progress, untold

MINIMUM_SALES = 70
"""Sales below which no range is given for any car: with fewer the origins' fits know so much less than the
fit that is asked that ranges come out too wide (`bench_moves.py`, small markets)."""

PRICED = 0.8
"""Coverage of the range by which it is judged whether a price can be defended at all."""

TOLERANCE, ORIGIN_TOLERANCE = 0.01, 0.03
"""Share of their spread by which fitted values may still move when the iteration ends: of the fit that is
asked for prices, and of those that only calibrate it."""

FEW_MORE = 0.01
"""Share of new rows up to which a fit that starts from another keeps its calibration."""


class PriceModel:
    """A market's price model. Life cycle: make it from a spec, :meth:`fit` it to sales, ask.

    1. ``fit`` calibrates the ranges by fits to the earlier sales, each held against the sales that came
       next, and fits the regression to all of them. Frames are polars's, or pandas's or pyarrow's.
    2. ``distribution`` answers for a frame of cars, row by row; ``price_range`` is its central range.

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
    ['low', 'mid', 'high', 'evidence', 'reason', 'remark']
    """

    unfitted: ClassVar[str] = "the price model is not fitted: call fit before asking for prices"

    def __init__(self, spec: FeatureSpec, seed: int = 0) -> None:
        self.spec = spec
        self.seed = seed
        self.calibration: Calibration
        self._fitted: Fitted | None = None

    def __repr__(self) -> str:
        if self._fitted is None:
            return "PriceModel, not fitted"
        facts = self.facts
        return (
            f"PriceModel, fitted on {facts['sales']:,} sales, {facts['unsold']:,} unsold lots and "
            f"{facts['asking']:,} asking prices from {facts['first_date']} to {facts['last_date']}"
        )

    def _repr_html_(self) -> str:
        return f"<p>{escape(repr(self))}</p>"

    @property
    def fitted(self) -> Fitted:
        """What :meth:`fit` found.

        Raises:
            ModelError: it has not been called.
        """
        if self._fitted is None:
            raise ModelError(self.unfitted)
        return self._fitted

    @fitted.setter
    def fitted(self, fitted: Fitted) -> None:
        self._fitted = fitted

    def fit(
        self,
        frame: Frame,
        progress: Progress = untold,
        start: "PriceModel | None" = None,
        *,
        recalibrate: bool | None = None,
        opinions: Frame | None = None,
    ) -> Self:
        """Learn from a frame of sales, unsold lots and asking prices.

        ``opinions`` is a frame of what people say (:mod:`pricing.model.statements`): it enters once the sales
        have been fitted, and the calibration never.

        ``start`` is a model fitted to much the same frame, such as yesterday's: its variances are where
        this fit begins, and its calibration is kept until there are ``FEW_MORE`` more rows than it was made
        with, or as ``recalibrate`` says. That saves time and changes the answer by no more than the
        iteration's tolerance.

        Raises:
            TableError: a column the model cannot do without is absent or of the wrong type.
            ModelError: there is no sale to learn from, or a price is not positive and finite.
        """
        rows = SaleEvidence.gather(as_polars(frame), self.spec)
        statements = None if opinions is None else Statements.gather(as_polars(opinions), self.spec)
        first = None if start is None else start.fitted
        calibrated_rows = len(rows)
        if start is not None and recalibrate is None:
            more = len(rows) - start.facts["calibrated_rows"]
            recalibrate = not 0 <= more <= len(rows) * FEW_MORE
        if start is not None and recalibrate is False:
            self.calibration, calibrated_rows = start.calibration, start.facts["calibrated_rows"]
        else:
            first = self._calibrate(rows, first, progress)
        progress("fit to all sales", len(CUTS) - 1, len(CUTS))
        shift = self.calibration.shift
        usable = statements if statements is not None and len(statements) else None
        self.fitted = self._fit_once(rows, first, first is None, shift, usable)
        progress("fitted", len(CUTS), len(CUTS))
        self.facts: dict[str, Any] = {
            "rows": len(rows),
            "sales": int(rows.sold.sum()),
            "asking": int(rows.asking.sum()),
            "unsold": int((~rows.sold & ~rows.asking).sum()),
            "calibration_sales": self.calibration.law.count,
            "market_shift": asdict(shift),
            "calibrated_rows": calibrated_rows,
            "degrees_of_freedom": self.fitted.regression.estimates.degrees_of_freedom,
            "first_date": str(np.datetime64(int(self.fitted.design.first_day), "D")),
            "last_date": str(np.datetime64(int(self.fitted.design.last_day), "D")),
            "seed": self.seed,
            "version": version("classic-car-pricing"),
        }
        if statements is not None:
            self.facts["opinions"] = len(statements)
        return self

    def _calibrate(self, rows: SaleEvidence, start: Fitted | None, tell: Progress) -> Fitted | None:
        errors, last = origin_errors(
            rows,
            self.spec.groups,
            self._fit_once,
            start,
            lambda done, total: tell("fit to the earlier sales", done, total + 1),
        )
        shape = (len(DEPTHS), len(self.spec.condition_bands) + 1)
        if errors is None or last is None:
            law = ScoreLaw.fit(np.empty(0), 5.0)
            self.calibration = Calibration(law, np.ones(shape), MarketShift())
            return start
        estimates = last.regression.estimates
        self.calibration = Calibration.fit(
            errors, shape, estimates.degrees_of_freedom, last.design.walk(estimates.priors)
        )
        return last

    def _fit_once(
        self,
        rows: SaleEvidence,
        start: Fitted | None,
        choose_trees: bool,
        shift: MarketShift | None = None,
        statements: Statements | None = None,
    ) -> Fitted:
        """A fit to evidence; one of an origin (without ``shift``) has season in it, and need not be as
        close."""
        design = Design(self.spec, shift, shift is None or shift.season)
        design.fit(rows, None if statements is None else statements.features)
        grouped = design.groups.order(rows.features)  # as the regression wants them: it then takes no copy
        by_date = np.argsort(grouped)
        precision = np.float64 if len(rows) < LARGE else np.float32
        encoded = design.encode(rows.features[grouped], rows.asking[grouped], precision)
        priors = None
        if start is not None:
            priors = design.carried(start.design, start.regression.estimates.priors)
        regression, left = fit_regression(
            encoded.X,
            rows.y[grouped],
            encoded.codes,
            design.structure(),
            lower=rows.lower[grouped],
            upper=rows.upper[grouped],
            start=priors,
            tolerance=ORIGIN_TOLERANCE if shift is None else TOLERANCE,
            keep_sums=statements is not None,
        )
        interactions = Interactions.fit(
            seen_by_trees(regression, encoded)[by_date],
            left.residual[by_date],
            left.weights[by_date],
            [0] if design.condition is not None else [],
            self.seed,
            None if choose_trees or start is None else len(start.interactions.trees),
        )
        sales = rows.sold[grouped]
        average = np.einsum("n,np->p", sales.astype(np.float64), encoded.X) / sales.sum()
        sold = encoded.codes[sales]
        sizes = design.groups.tree.sizes
        counts = [np.bincount(sold[:, level], minlength=size) for level, size in enumerate(sizes)]
        fitted = Fitted(design, regression, interactions, counts, average)
        if statements is None or left.sums is None:
            return fitted
        seen = SalesSeen(encoded, np.flatnonzero(sales), self.spec.days(rows.features)[grouped], left)
        heard = hear(
            statements, design, regression, seen, left.sums, average,
            lambda cars: interactions.effect(seen_by_trees(regression, cars)),
        )  # fmt: skip
        return replace(fitted, regression=heard.regression, heard=heard)

    def _features(self, cars: Frame, as_of: date | None) -> pl.DataFrame:
        features = self.spec.prepared(as_polars(cars))
        if self.spec.event_date and as_of is not None:
            features = features.with_columns(pl.col(self.spec.event_date).fill_null(as_of))
        return features

    def distribution(self, cars: Frame, as_of: date | None = None) -> PriceDistribution:
        """The price distribution of every car, row by row: what every other answer is read from.

        Raises:
            ModelError: the model is not fitted.
        """
        features = self._features(cars, as_of)
        if len(features) > BATCH:
            return self._distribution(predict(self.fitted, features), features, None)
        encoded = self.fitted.design.encode(features)
        with ONE_THREAD.limit(limits=1):
            guess = predict_encoded(self.fitted, encoded)
        return self._distribution(guess, features, encoded)

    def _distribution(
        self, guess: Prediction, features: pl.DataFrame, encoded: Encoded | None
    ) -> PriceDistribution:
        law, fitted = self.calibration.law, self.fitted
        centre, spread = self.calibration.states(guess, fitted.design.condition)
        evidence = pl.Series("evidence", np.asarray(DEPTHS)[guess.depth], dtype=pl.String)
        prices = PriceDistribution(law, centre, spread)
        low, high = prices.interval(PRICED)
        reason = self._reasons(guess, features, np.column_stack([low, prices.mid, high]))
        remark = remarks(fitted.design, fitted.regression.estimates, guess, features)

        def terms(rows: Ints) -> pl.DataFrame:
            cars = features[rows]
            own = fitted.design.encode(cars) if encoded is None else encoded[rows]
            beside = {INTERACTIONS: guess.learnt[rows]} if fitted.interactions.trees else {}
            carried = self.calibration.shift.carried(guess.late[rows])
            return explain(fitted.design, fitted.regression, own, cars, fitted.reference, carried, beside)

        return PriceDistribution(law, centre, spread, evidence, reason, remark, terms)

    def price_range(
        self,
        cars: Frame,
        coverage: float = 0.8,
        as_of: date | None = None,
        asking: Sequence[float] | pl.Series | None = None,
    ) -> pl.DataFrame:
        """Central price range of every car: ``low``, ``mid`` (median), ``high``, ``evidence`` (how many
        sales of its model are behind it), ``reason``, which is null, or says why no range is given, and
        ``remark``, null or what a reader should know of the price.

        With ``asking``, a price or null for every car, also ``standing``, as
        :meth:`PriceDistribution.standing` gives it; null without a price or a range.

        Raises:
            ModelError: the model is not fitted, ``coverage`` is not strictly between 0 and 1, or an asking
                price is not positive.
        """
        if not 0.0 < coverage < 1.0:
            raise ModelError(f"coverage lies strictly between 0 and 1; got {coverage}")
        return self.distribution(cars, as_of).ranges(coverage, asking)

    def _reasons(self, guess: Prediction, features: pl.DataFrame, prices: Floats) -> pl.Series:
        sales = self.facts["sales"]
        if sales < MINIMUM_SALES:
            sentence = f"the market has only {sales} sales; a range needs at least {MINIMUM_SALES}"
            return pl.Series("reason", [sentence] * len(features), dtype=pl.String)
        return refusals(self.fitted.design, guess.codes, features, prices)

    def log_mid(self, cars: Frame, as_of: date | None = None) -> Floats:
        """Logarithm of each car's price as the regression and its trees have it, before calibration, which
        is made on sold cars alone."""
        return predict(self.fitted, self._features(cars, as_of)).mid

    def grounds(self, cars: Frame, as_of: date | None = None) -> list[Ground]:
        """What the range of each car rests on: sales, relations and opinions, with their shares.

        Raises:
            ModelError: the model is not fitted, or its spec has no groups.
        """
        return grounds(self.fitted, self._features(cars, as_of))

    def asking_gaps(self) -> pl.DataFrame:
        """The factor of asking over sold prices by ``asking_by`` (channel) and ``tier``, with its 80 %
        interval ``low`` and ``high``; empty when no asking prices were seen."""
        estimates = self.fitted.regression.estimates
        return self.fitted.design.asking.gaps(estimates.posterior, self.fitted.design.columns)
