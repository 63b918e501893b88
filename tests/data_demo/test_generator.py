"""The demo market holds what it is meant to hold, and its truth is the truth of its files."""

import io
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import data_demo
from data_demo.duplicates import COUNTS, add_duplicates
from data_demo.generator import FOLDER, SEED, generate
from data_demo.market import draw_market
from data_demo.parameters import CHANNELS, TIME_TO_SALE
from data_demo.process import describe_cars, log_price
from data_demo.sources import EXCHANGE_DEFECTS, REGISTER_DEFECTS, WORKBOOK_DEFECTS
from pricing.arrays import Floats
from pricing.intake.mappings.mapping_files import read_mapping
from pricing.intake.tables.readers import read_file
from pricing.records.contract import ROW_RULES, check

TODAY = date(2026, 11, 25)
SOLD, AUCTION = pl.col("outcome") == "sold", pl.col("channel") == "auction"


def floats(column: pl.Series) -> Floats:
    """A column of numbers, days or yes/no as floats, nulls left out."""
    values: Floats = column.drop_nulls().cast(pl.Float64).to_numpy()
    return values


@pytest.fixture(scope="module")
def market() -> pl.DataFrame:
    """The market as it happened, every offer once."""
    return draw_market(np.random.default_rng(SEED))[0]


@pytest.fixture(scope="module")
def written(market: pl.DataFrame) -> pl.DataFrame:
    """The market with second records of some sales."""
    return add_duplicates(market, np.random.default_rng(3))


@pytest.fixture(scope="module")
def truth() -> pl.DataFrame:
    return pl.read_parquet(data_demo.true_records())


@pytest.fixture(scope="module")
def fresh() -> dict[str, bytes]:
    """The demo market's files, written anew."""
    return generate()


def test_same_seed_gives_the_same_bytes_and_another_seed_other_ones(fresh: dict[str, bytes]) -> None:
    again, other = generate(), generate(6)
    assert again == fresh
    assert all(other[name] != fresh[name] for name in fresh)


def test_committed_files_are_the_ones_the_generator_writes(fresh: dict[str, bytes]) -> None:
    """Texts to the letter; a few amounts may differ where a processor rounds the last bit another way."""
    assert sorted(fresh) == sorted(path.relative_to(FOLDER).as_posix() for path in _outputs())
    made = pl.read_csv(fresh["raw/quenmoor_register.csv"], infer_schema=False)
    kept = pl.read_csv(data_demo.files()[0], infer_schema=False)
    assert made.columns == kept.columns
    names = ["Entry", "Make", "Model", "Date", "Result"]
    assert made.select(names).equals(kept.select(names))
    assert floats(made["Price"].eq_missing(kept["Price"])).mean() > 0.999
    parquet = pl.read_parquet(io.BytesIO(fresh["raw/kelderhaag_exchange.parquet"]))
    assert parquet.drop("value", "fee").equals(pl.read_parquet(data_demo.files()[2]).drop("value", "fee"))


def _outputs() -> list[Path]:
    kinds = (".csv", ".xlsx", ".parquet", ".json")
    return [
        path for folder in ("raw", "truth") for path in FOLDER.glob(f"{folder}/*") if path.suffix in kinds
    ]


def test_every_raw_row_has_its_truth(truth: pl.DataFrame) -> None:
    register, workbook, exchange = data_demo.files()
    sheets = pl.read_excel(workbook, sheet_id=0)
    references = {
        register.name: pl.read_csv(register, infer_schema=False)["Entry"],
        workbook.name: pl.concat([sheet["Objekt"] for sheet in sheets.values()]),
        exchange.name: pl.read_parquet(exchange)["reference"],
    }
    for name, given in references.items():
        assert given.sort().to_list() == truth.filter(file=name)["source_ref"].sort().to_list()
    assert truth.select("file", "source_ref").is_unique().all()


def test_size_and_makeup(written: pl.DataFrame, truth: pl.DataFrame) -> None:
    assert 7_500 <= written.height <= 8_500
    assert written["make"].n_unique() == truth["make"].n_unique() == 15
    assert written.select("make", "model").n_unique() == 120
    sales = written.filter(SOLD).group_by("make", "model").len()
    few = 120 - sales.filter(pl.col("len") >= 10).height
    assert 0.28 <= few / 120 <= 0.39
    assert 0.33 <= floats(written["condition_band"].is_null()).mean() <= 0.38
    assert set(written["currency"]) == {"EUR", "GBP", "SEK"}
    assert set(written["channel"]) == {"auction", "dealer", "private"}
    assert set(written["outcome"]) == {"sold", "unsold", "asking", "withdrawn"}
    assert set(written["price_basis"]) == {"hammer", "all-in", "asking"}
    days = written["event_date"].sort()
    assert date(2016, 6, 1) < days[0] < date(2016, 7, 5)
    assert date(2026, 6, 20) < days[-1] <= date(2026, 6, 30)
    graded = written.drop_nulls("condition_band")
    assert 0.3 < floats(graded["condition_score"].is_not_null()).mean() < 0.5


def test_clean_rows_keep_every_rule(written: pl.DataFrame) -> None:
    made_by_the_store = pl.lit("x")
    rows = written.with_columns(
        record_id=made_by_the_store, source_ref=made_by_the_store, batch_id=made_by_the_store
    )
    assert check(rows, TODAY).rejected.is_empty()


NOT_SAID = ["channel_missing", "country_missing"]
"""Defects of the raw files that a record may have: a notebook does not always say."""


def test_rows_are_rejected_for_their_defects_and_no_others(truth: pl.DataFrame) -> None:
    for path in data_demo.files():
        mapping = read_mapping(path.with_name(path.name + ".mapping.toml"))
        parts = [mapping.apply(part.frame) for part in read_file(path, mapping.layout)]
        rows = pl.concat(parts, how="vertical_relaxed")
        rows = rows.with_columns(record_id="source_ref", batch_id="source_ref")
        rejected = check(rows, TODAY).rejected.select("source_ref", "broken_rules")
        expected = truth.filter(pl.col("defect").is_not_null(), file=path.name).filter(
            ~pl.col("defect").is_in(NOT_SAID)
        )
        joined = expected.join(rejected, on="source_ref", how="full")
        assert rows.height == truth.filter(file=path.name).height
        assert joined.height == expected.height == rejected.height
        assert joined.select(pl.col("broken_rules").list.contains(pl.col("defect"))).to_series().all()


def test_every_rule_of_the_contract_is_broken(truth: pl.DataFrame) -> None:
    broken = set(truth["defect"].drop_nulls())
    assert broken == {*REGISTER_DEFECTS, *WORKBOOK_DEFECTS, *EXCHANGE_DEFECTS}
    assert len(ROW_RULES) > 20
    assert set(ROW_RULES) <= broken


@pytest.mark.parametrize(
    ("worst", "best", "low", "high"),
    [
        (0, 25, 0, 1000),
        (25, 50, 1000, 2000),
        (50, 75, 3000, 5000),
        (73, 78, 5000, 6000),
        (83, 98, 8000, 10000),
    ],
)
def test_modest_saloon_has_the_prices_of_common_practice(worst: int, best: int, low: int, high: int) -> None:
    """Today's typical price by condition score: project, solid restorable, average, above average without
    being special, best condition (common practice, no source)."""
    parameters = draw_market(np.random.default_rng(SEED))[1]
    assert parameters.models.row(0)[:2] == ("Wexcombe", "Sedge")
    cars = describe_cars(parameters, np.zeros(20_000, np.int64), np.random.default_rng(1))
    month = np.full(20_000, parameters.months.height - 1)
    prices = np.exp(log_price(parameters, cars, np.zeros(20_000, np.int64), month))
    inside = (cars.score >= worst) & (cars.score < best)
    assert inside.sum() > 100
    assert low < np.median(prices[inside]) < high


def test_better_condition_never_costs_less() -> None:
    parameters = draw_market(np.random.default_rng(SEED))[1]
    assert (np.diff(parameters.models["condition"].to_numpy(), axis=1) > 0).all()


def test_unsold_lots_are_decided_by_their_price(market: pl.DataFrame) -> None:
    lots = market.filter(AUCTION)
    wanted = pl.coalesce("reserve", "low_estimate")
    unsold = lots.filter(outcome="unsold")
    assert lots.filter(pl.col("reserve") > pl.col("low_estimate")).is_empty()
    assert lots.filter(pl.col("low_estimate") > pl.col("high_estimate")).is_empty()
    assert unsold.filter(pl.col("highest_bid") >= wanted).is_empty()
    assert 0.12 < unsold.height / lots.height < 0.30
    assert floats(unsold["true_noise"]).mean() < -0.1
    # Sold lots alone overstate: their departures are above zero by many standard errors.
    sold = floats(lots.filter(SOLD)["true_noise"])
    assert sold.mean() > 5 * sold.std() / np.sqrt(sold.size)


def test_sold_amounts_are_what_the_truth_says(market: pl.DataFrame) -> None:
    sold = market.filter(SOLD)
    paid = floats(sold["amount"] + sold["premium"].fill_null(0)) / floats(sold["true_rate"])
    departure = np.log(paid) - floats(sold["true_log_price"] + sold["true_noise"])
    assert np.abs(departure).max() < 0.03  # bids go in steps
    assert abs(departure.mean()) < 0.001


def test_asking_gap_and_time_to_sale(market: pl.DataFrame) -> None:
    asking = market.filter(outcome="asking").with_columns(
        gap=(pl.col("amount").cast(pl.Float64) / pl.col("true_rate")).log()
        - pl.col("true_log_price")
        - pl.col("true_noise"),
        days=(pl.col("event_date") - pl.col("listed_on")).dt.total_days().cast(pl.Float64).log(),
    )
    for channel, gap in CHANNELS.select("channel", "asking_gap").tail(2).iter_rows():
        assert floats(asking.filter(channel=channel)["gap"]).mean() == pytest.approx(gap, abs=0.02)
    slope = np.polyfit(asking["gap"].to_numpy(), asking["days"].to_numpy(), 1)[0]
    assert slope == pytest.approx(TIME_TO_SALE["elasticity"], rel=0.15)


def test_duplicates_are_of_one_car_and_of_one_sale(written: pl.DataFrame) -> None:
    second = written.filter(pl.col("true_kind").is_not_null())
    assert dict(second["true_kind"].value_counts().iter_rows()) == COUNTS
    pairs = second.join(written.filter(pl.col("true_kind").is_null()), on="true_sale", suffix="_first")
    assert pairs.height == second.height
    assert pairs.select((pl.col("true_car") == pl.col("true_car_first")).all()).item()
    assert pairs.select((pl.col("true_best") != pl.col("true_best_first")).all()).item()
    apart = floats((pairs["event_date"] - pairs["event_date_first"]).dt.total_days())
    assert np.abs(apart).max() < 400
    two = pairs.filter(true_kind="two sources")
    assert (two["amount"] == two["amount_first"] + two["premium_first"]).all()
    assert (two["source"] != two["source_first"]).all()
    listing = pairs.filter(true_kind="listing that became a sale")
    assert (listing["event_date"] <= listing["event_date_first"]).all()
    assert (listing["outcome_first"] == "sold").all()
    again = pairs.filter(true_kind="listed again")
    assert (again["amount"] < again["amount_first"]).all()


def test_a_resale_is_a_sale_of_its_own(market: pl.DataFrame) -> None:
    between = pl.col("event_date").sort().diff().dt.total_days().min().alias("days")
    assert floats(market.group_by("true_car").agg(between)["days"]).min() >= 400
    makes = pl.col("make").n_unique()
    shared = market.drop_nulls("chassis_number").group_by("chassis_number").agg(makes)
    assert shared.filter(pl.col("make") > 1).height > 20  # two makers may share a number


def test_example_car_is_plentiful_and_its_options_exist(truth: pl.DataFrame) -> None:
    car = data_demo.example_car()
    same = truth.filter(pl.col("make") == pl.lit(car["make"]), pl.col("model") == pl.lit(car["model"]))
    assert same.height > 200
    assert same.height == truth.group_by("make", "model").len()["len"].sort()[-1]
