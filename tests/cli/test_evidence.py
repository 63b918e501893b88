from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

import data_demo
from pricing.cli.evidence import market_app
from pricing.errors import CarError, EvidenceError, FileError, MarketError
from pricing.evidence.comparison.choices import kept
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.store.market import Market

CAR = ["--make", "wexcombe", "--model", "SEDGE", "--year", "1966", "--condition-band", "average"]


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("evidence") / "market.duckdb"
    opened = Market.open(path)
    opened.load(data_demo.files()[:1])
    save(PriceModel(FeatureSpec.cars()).fit(opened.sales()), opened)
    return path


def _run(*words: str, market: Path) -> str:
    result = CliRunner().invoke(
        market_app, [*words, "--market", str(market)], catch_exceptions=False, env={"COLUMNS": "160"}
    )
    assert result.exit_code == 0, result.output
    return result.output


def test_index_prints_draws_and_writes(market: Path, tmp_path: Path) -> None:
    series = tmp_path / "prices.csv"
    series.write_text("date,value\n" + "".join(f"{year}-01-01,{year - 1916}\n" for year in range(2016, 2027)))
    out, chart = tmp_path / "index.csv", tmp_path / "index.json"
    text = _run(
        "index",
        "--period",
        "year",
        "--deflator",
        str(series),
        "--out",
        str(out),
        "--chart",
        str(chart),
        market=market,
    )
    assert "The whole market: prices of like cars stood at " in text and "where 2016 is 100" in text
    frame = pl.read_csv(out)
    assert frame["index"][0] == 100.0
    assert frame["real"][5] == pytest.approx(frame["index"][5] / 1.05)
    assert chart.read_text().startswith("{")


def test_index_of_one_model_says_what_is_missing(market: Path) -> None:
    with pytest.raises(EvidenceError, match="an index needs 10 sales in each of two months"):
        _run("index", "--make", "Wexcombe", "--model", "Sedge", "--period", "month", market=market)


def test_comparables_print_every_line(market: Path, tmp_path: Path) -> None:
    out, chart = tmp_path / "lines.parquet", tmp_path / "comparables.svg"
    text = _run("comparables", *CAR, "--lines", "--out", str(out), "--chart", str(chart), market=market)
    assert "Adjustments multiply" in text
    assert "conditions of sale" in text
    assert "not an appraisal" in text
    lines = pl.read_parquet(out)
    assert lines["record_id"].n_unique() == 12
    assert "<svg" in chart.read_text()


def test_choices_are_kept_and_used_again(market: Path, tmp_path: Path) -> None:
    out = tmp_path / "lines.csv"
    _run("comparables", *CAR, "--out", str(out), market=market)
    ids = pl.read_csv(out)["record_id"].unique(maintain_order=True)
    drop, adjust = f"{ids[0][:10]}=it was a shell", f"{ids[1]}:conditions of sale:-8=sold in haste"
    text = _run("comparables", *CAR, "--drop", drop, "--adjust", adjust, "--subject", "mine", market=market)
    assert "dropped: it was a shell" in text
    again = _run("comparables", *CAR, "--subject", "mine", "--out", str(out), market=market)
    assert "(conditions of sale -8%): sold in haste." in again
    assert ids[0] not in pl.read_csv(out)["record_id"].to_list()
    assert [choice.action for choice in kept(Market.open(market), "mine")] == ["drop", "adjust"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--drop", "abc=shell"], "give the car a name with --subject"),
        (["--drop", "nothing like it=shell", "--subject", "x"], "0 records have an id that begins with"),
        (["--drop", "=shell", "--subject", "x"], "0 records have an id"),
        (["--adjust", "abc", "--subject", "x"], "to adjust is written RECORD:line:per cent=reason"),
        (["--as-of", "yesterday"], "the date is not a day"),
        (["--as-of", "1950-01-01"], "no"),
        (["--count", "1"], "needs 3 comparables at least"),
        (["--variant", "zzz"], "no record of the variant 'zzz'"),
    ],
)
def test_a_bad_request_is_one_sentence(market: Path, words: list[str], message: str) -> None:
    with pytest.raises(Exception, match=message) as raised:
        _run("comparables", *CAR, *words, market=market)
    assert "\n" not in str(raised.value)
    assert type(raised.value).__module__ == "pricing.errors"


def test_a_reason_must_be_given(market: Path) -> None:
    name = Market.open(market).sales()["record_id"][0]
    with pytest.raises(EvidenceError, match="needs a reason in writing"):
        _run("comparables", *CAR, "--drop", name, "--subject", "x", market=market)
    assert kept(Market.open(market), "x") == ()


def test_depth_says_how_much_is_known(market: Path, tmp_path: Path) -> None:
    text = _run("depth", "--make", "Wexcombe", "--chart", str(tmp_path / "bands.html"), market=market)
    assert "sales in the last year" in text
    assert "From asking to sold" in text
    assert (tmp_path / "bands.html").exists()


def test_files_that_cannot_be_are_refused(market: Path, tmp_path: Path) -> None:
    with pytest.raises(MarketError, match="no market file at"):
        _run("depth", market=tmp_path / "absent.duckdb")
    with pytest.raises(FileError, match="drawn into .svg"):
        _run("index", "--period", "year", "--chart", str(tmp_path / "index.bmp"), market=market)
    with pytest.raises(FileError, match="is written as .csv or .parquet"):
        _run("index", "--period", "year", "--out", str(tmp_path / "index.txt"), market=market)
    with pytest.raises(FileError, match="cannot be written"):
        _run("index", "--period", "year", "--out", str(tmp_path / "absent" / "index.csv"), market=market)
    with pytest.raises(FileError, match="cannot be read"):
        _run("index", "--period", "year", "--deflator", str(tmp_path / "absent.csv"), market=market)
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("date,value\nsoon,much\n")
    with pytest.raises(FileError, match="no price series"):
        _run("index", "--period", "year", "--deflator", str(wrong), market=market)
    with pytest.raises(CarError, match="needs its make"):
        _run("index", "--model", "Sedge", market=market)
