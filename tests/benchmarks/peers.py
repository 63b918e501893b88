"""General-purpose peers of the price model: each fits the same rows and columns and gives log-price
quantiles.

They are in the ``bench`` extra and are never imported by the tool. Settings are the same for every data set.
"""

from collections.abc import Callable

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pricing.model.features.spec import FeatureSpec

Floats = NDArray[np.float64]
LEVELS = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
ROUNDS = 500


def matrix(spec: FeatureSpec, train: pl.DataFrame, test: pl.DataFrame) -> tuple[Floats, Floats, list[int]]:
    """Numeric arrays of the spec's columns and the date: bands by rank, options as flags, other text as
    codes (-1: not seen in training); last the places of the columns of codes."""
    train, test = spec.prepared(train), spec.prepared(test)
    columns: list[tuple[pl.Series, pl.Series]] = []
    codes: list[int] = []
    for name in [*spec.features, *([spec.event_date] if spec.event_date else [])]:
        pair = train[name], test[name]
        if name in spec.option_lists:
            for code in sorted(train[name].explode().drop_nulls().unique()):
                columns.append(tuple(side.list.contains(code) for side in pair))  # type: ignore[arg-type]
        elif train.schema[name] == pl.String:
            known = (
                spec.condition_bands if name == spec.condition else sorted(train[name].drop_nulls().unique())
            )
            if name != spec.condition:
                codes.append(len(columns))
            ranks = {value: float(rank) for rank, value in enumerate(known)}
            default = None if name == spec.condition else -1.0
            columns.append(
                tuple(side.replace_strict(ranks, default=default, return_dtype=pl.Float64) for side in pair)  # type: ignore[arg-type]
            )
        else:
            columns.append(tuple(side.to_physical() for side in pair))  # type: ignore[arg-type]
    sides = [np.column_stack([np.asarray(pair[k].cast(pl.Float64)) for pair in columns]) for k in (0, 1)]
    return sides[0], sides[1], codes


def lightgbm(X: Floats, y: Floats, Z: Floats, codes: list[int]) -> Floats:
    """A gradient-boosted model for each level."""
    import lightgbm

    result = []
    for level in LEVELS:
        model = lightgbm.LGBMRegressor(
            objective="quantile", alpha=level, n_estimators=ROUNDS, learning_rate=0.05, verbose=-1, n_jobs=1
        )
        model.fit(X, y, categorical_feature=codes)
        result.append(np.asarray(model.predict(Z), dtype=np.float64))
    return np.sort(np.column_stack(result), axis=1)


def lightgbm_conformal(X: Floats, y: Floats, Z: Floats, codes: list[int]) -> Floats:
    """The same fitted to the earlier 80 %, each level shifted to hold on the later 20 % (conformalised
    quantile regression, Romano, Patterson and Candes 2019)."""
    cut = int(0.8 * len(y))
    both = lightgbm(X[:cut], y[:cut], np.concatenate([X[cut:], Z]), codes)
    held, ahead = both[: len(y) - cut], both[len(y) - cut :]
    shift = [np.quantile(y[cut:] - held[:, k], level) for k, level in enumerate(LEVELS)]
    return np.sort(ahead + np.array(shift), axis=1)


def histogram_boosting(X: Floats, y: Floats, Z: Floats, codes: list[int]) -> Floats:
    """scikit-learn's histogram gradient boosting, a model for each level."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    few = [column for column in codes if X[:, column].max() < 250]
    result = []
    for level in LEVELS:
        model = HistGradientBoostingRegressor(
            loss="quantile", quantile=level, max_iter=ROUNDS, learning_rate=0.05, early_stopping=False,
            categorical_features=few, random_state=0,
        )  # fmt: skip
        result.append(model.fit(_coded(X, few), y).predict(_coded(Z, few)))
    return np.sort(np.column_stack(result), axis=1)


def _coded(X: Floats, codes: list[int]) -> Floats:
    """Codes never seen as missing, which histogram boosting wants."""
    X = X.copy()
    X[:, codes] = np.where(X[:, codes] < 0, np.nan, X[:, codes])
    return X


def catboost(X: Floats, y: Floats, Z: Floats, codes: list[int]) -> Floats:
    """One CatBoost model for all levels, text columns as its own categories."""
    import pandas as pd
    from catboost import CatBoostRegressor

    levels = ",".join(map(str, LEVELS))
    model = CatBoostRegressor(
        loss_function=f"MultiQuantile:alpha={levels}", iterations=2 * ROUNDS, verbose=False, random_seed=0,
        thread_count=1, allow_writing_files=False, cat_features=codes,
    )  # fmt: skip

    def table(values: Floats) -> pd.DataFrame:
        frame = pd.DataFrame(values)
        return frame.astype(dict.fromkeys(codes, "int64"))

    model.fit(table(X), y)
    return np.sort(np.asarray(model.predict(table(Z))), axis=1)


def quantile_forest(X: Floats, y: Floats, Z: Floats, codes: list[int]) -> Floats:
    """Quantile regression forest."""
    from quantile_forest import RandomForestQuantileRegressor

    model = RandomForestQuantileRegressor(
        n_estimators=200, min_samples_leaf=5, max_features=0.5, n_jobs=1, random_state=0
    )
    model.fit(np.nan_to_num(X, nan=-1.0), y)
    return np.asarray(model.predict(np.nan_to_num(Z, nan=-1.0), quantiles=list(LEVELS)))


def linear_quantiles(X: Floats, y: Floats, Z: Floats, codes: list[int]) -> Floats | None:
    """Linear quantile regression on dummies; None where it would not finish (over 5,000 rows)."""
    if len(y) > 5_000:
        return None
    from sklearn.linear_model import QuantileRegressor
    from sklearn.preprocessing import OneHotEncoder, StandardScaler

    rest = [column for column in range(X.shape[1]) if column not in codes]
    scaler = StandardScaler().fit(np.nan_to_num(X[:, rest]))
    dummies = OneHotEncoder(handle_unknown="ignore", min_frequency=5, sparse_output=False).fit(X[:, codes])

    def table(values: Floats) -> Floats:
        numbers = scaler.transform(np.nan_to_num(values[:, rest]))
        return (
            np.column_stack([numbers, np.asarray(dummies.transform(values[:, codes]))]) if codes else numbers
        )

    wide = table(Z)
    result = [QuantileRegressor(quantile=q, alpha=1e-4).fit(table(X), y).predict(wide) for q in LEVELS]
    return np.sort(np.column_stack(result), axis=1)


PEERS: dict[str, Callable[[Floats, Floats, Floats, list[int]], Floats | None]] = {
    "LightGBM": lightgbm,
    "LightGBM conformal": lightgbm_conformal,
    "histogram boosting": histogram_boosting,
    "CatBoost": catboost,
    "quantile forest": quantile_forest,
    "linear quantiles": linear_quantiles,
}
