"""Trees evaluated by our own arrays, held against scikit-learn's public ``predict``, and kept in a fit."""

import io
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from polars.testing import assert_frame_equal
from sklearn.ensemble import HistGradientBoostingRegressor

from pricing.model.features.trees import FEWEST_ROWS, MOST_LEAVES, NODE, Interactions, LeafMasks, grown_by
from pricing.model.price_model import PriceModel
from pricing.model.regression.hedonic import ONE_THREAD
from pricing.model.saved import from_bytes, to_bytes

Floats = NDArray[np.float64]


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    """As the price model grows them: on a busy machine small work on many threads mostly waits."""
    with ONE_THREAD.limit(limits=1):
        yield


def drawn(rows: int, seed: int) -> Floats:
    """Six columns: scales, steps, yes and no; a tenth of the values is missing."""
    rng = np.random.default_rng(seed)
    values = rng.normal(size=(rows, 6))
    values[:, 2] = np.round(values[:, 2] * 3)
    values[:, 4:] = values[:, 4:] > 0
    values[rng.random(values.shape) < 0.1] = np.nan
    return values


def answers(values: Floats) -> Floats:
    """An interaction, a kink, and something that only a missing value tells."""
    known = np.nan_to_num(values)
    noise = np.random.default_rng(0).normal(scale=0.1, size=len(values))
    return known[:, 0] * known[:, 4] + np.abs(known[:, 1]) + 0.5 * np.isnan(values[:, 3]) + noise


def boosted(rows: int, seed: int, **settings: Any) -> HistGradientBoostingRegressor:
    values = drawn(rows, seed)
    model = HistGradientBoostingRegressor(
        max_iter=40, max_leaf_nodes=MOST_LEAVES - 1, early_stopping=False, random_state=seed, **settings
    )
    return model.fit(values, answers(values))


@pytest.mark.parametrize("seed", range(4))
def test_the_same_as_scikit_learn_says(seed: int) -> None:
    model = boosted(3_000, seed, monotonic_cst=[1, 0, 0, 0, 0, 0])
    trees = grown_by(model)
    values = drawn(10_000, seed + 100)
    values[:50], values[50:60] = np.nan, np.inf
    limits = np.concatenate([tree["threshold"][~tree["is_leaf"]] for tree in trees])
    values[60 : 60 + len(limits)] = limits[:, None]  # a value on a threshold goes left
    baseline = np.average(answers(drawn(3_000, seed)))
    assert np.abs(baseline + LeafMasks(trees).total(values) - model.predict(values)).max() < 1e-12
    one_by_one = [LeafMasks(trees).total(values[row : row + 1]).item() for row in range(20)]
    assert one_by_one == LeafMasks(trees).total(values)[:20].tolist()


def test_a_tree_of_one_leaf_and_no_tree() -> None:
    model = HistGradientBoostingRegressor(max_iter=3, min_samples_leaf=600, early_stopping=False)
    values = drawn(1_000, 1)
    model.fit(values, answers(values))
    assert [len(tree) for tree in grown_by(model)] == [1, 1, 1]
    assert LeafMasks(grown_by(model)).total(values) == pytest.approx(
        model.predict(values) - answers(values).mean(), abs=1e-12
    )
    assert LeafMasks(()).total(values).tolist() == [0.0] * len(values)
    assert LeafMasks(grown_by(model)).total(values[:0]).shape == (0,)


def test_what_is_no_tree_is_refused() -> None:
    (tree, *_) = grown_by(boosted(1_000, 2))
    circle = tree.copy()
    circle["left"][0] = 0
    outside = tree.copy()
    outside["right"][0] = len(tree)
    broad = np.zeros(2 * MOST_LEAVES + 1, NODE)
    broad["is_leaf"][MOST_LEAVES:] = True
    broad["left"] = 2 * np.arange(len(broad)) + 1
    broad["right"] = 2 * np.arange(len(broad)) + 2
    for wrong in (circle, outside, broad):
        with pytest.raises(ValueError, match="at most 16 leaves, with children behind their parents"):
            LeafMasks([wrong])


def test_learnt_trees_never_fall_with_condition_and_gain_on_later_rows() -> None:
    values = drawn(4_000, 5)
    residual = answers(values) - answers(values).mean()
    learnt = Interactions.fit(values, residual, np.ones(len(values)), [0], 1, None)
    assert learnt.trees
    left = residual - learnt.effect(values)
    assert left.var() < 0.2 * residual.var()
    ladder = np.repeat(values[:200], 30, axis=0)
    ladder[:, 0] = np.tile(np.linspace(-3, 3, 30), 200)
    assert (np.diff(learnt.effect(ladder).reshape(200, 30)) >= -1e-12).all()


def test_no_trees_for_few_rows_or_mere_noise() -> None:
    values = drawn(4_000, 6)
    noise = np.random.default_rng(6).normal(size=len(values))
    assert Interactions.fit(values, noise, np.ones(len(values)), [], 1, None) == Interactions.none()
    few = FEWEST_ROWS - 1
    assert Interactions.fit(values[:few], values[:few, 1], np.ones(few), [], 1, None) == Interactions.none()


@pytest.fixture
def with_trees(model: PriceModel, sales: pl.DataFrame) -> Iterator[PriceModel]:
    """The folder's model with trees grown on what it is shown."""
    from pricing.model.prediction import seen_by_trees

    regression, design = model.fitted.regression, model.fitted.design
    seen = seen_by_trees(regression, design.encode(sales[:2400]))
    learnt = Interactions.fit(seen, np.tanh(np.nan_to_num(seen[:, 1])), np.ones(len(seen)), [], 1, 30)
    assert len(learnt.trees) == 30
    before = model.fitted
    model.fitted = replace(before, interactions=learnt)
    yield model
    model.fitted = before


def test_a_fit_keeps_its_trees_to_the_last_digit(with_trees: PriceModel, cars: pl.DataFrame) -> None:
    again = from_bytes(to_bytes(with_trees))
    assert_frame_equal(again.price_range(cars), with_trees.price_range(cars), check_exact=True)


def test_a_fit_made_under_another_version_of_scikit_learn_opens(
    with_trees: PriceModel, cars: pl.DataFrame
) -> None:
    """In a process that names another version of it, and has none of its trees: by arrays alone."""
    payload = to_bytes(with_trees)
    with np.load(io.BytesIO(payload), allow_pickle=False) as archive:
        assert archive["trees.nodes"].dtype == NODE
    program = """
import sys, importlib.metadata as metadata
told = metadata.version
metadata.version = lambda name: "0.0.1" if name == "scikit-learn" else told(name)
from pricing.model.saved import from_bytes
import sklearn.ensemble._hist_gradient_boosting.predictor as predictor
del predictor.TreePredictor
import polars as pl
model = from_bytes(open(sys.argv[1], "rb").read())
model.price_range(pl.read_parquet(sys.argv[2])).write_parquet(sys.argv[3])
"""
    with tempfile.TemporaryDirectory() as folder:
        fit, asked, answered = (Path(folder) / name for name in ("fit", "cars", "prices"))
        fit.write_bytes(payload)
        cars.write_parquet(asked)
        subprocess.run([sys.executable, "-c", program, fit, asked, answered], check=True)
        prices = pl.read_parquet(answered)
    assert_frame_equal(prices, with_trees.price_range(cars), check_exact=True)
