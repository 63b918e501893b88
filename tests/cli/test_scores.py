"""``pricing score`` as a person uses it: a table, JSON, a file, and slips of the finger."""

import json
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pricing.cli import main as cli
from pricing.cli.printing.evidence import ROWS_A_PART, show_scores
from pricing.model.accuracy.backtest import Backtest, backtest, rolling_origins
from pricing.model.features.spec import FeatureSpec
from pricing.store.market import Market

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Call:
    """Call ``pricing score`` in an empty folder: exit code, standard output, standard error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PRICING_MARKET", raising=False)

    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["pricing", "score", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            cli.run()
        said = capfd.readouterr()
        return int(stopped.value.code or 0), said.out, said.err

    return run


@pytest.fixture(scope="module")
def scored(small_market: Market) -> Backtest:
    sales, spec = small_market.sales(), FeatureSpec.cars()
    return backtest(sales, spec, rolling_origins(sales, spec, 1), known=small_market.sales)


def test_the_facts_are_the_librarys(
    call: Call, small_market: Market, scored: Backtest, tmp_path: Path
) -> None:
    code, out, err = call("--market", small_market.path, "--origins", 1, "--json", "--csv", "rows.csv")
    assert code == 0, err
    assert "fit at each origin, score what came" in err
    facts = json.loads(out)
    assert (facts.pop("currency"), facts.pop("basis")) == ("EUR", "all-in")
    assert facts == json.loads(json.dumps(scored.to_dict()))
    assert facts["ratio_study"] == "IAAO Standard on Ratio Studies, 2013"
    assert facts["scores"][0]["sales"] == len(scored.rows)
    rows = pl.read_csv(tmp_path / "rows.csv", infer_schema_length=None)
    assert rows.columns == scored.rows.columns
    assert rows["record_id"].to_list() == scored.rows["record_id"].to_list()
    assert rows["0.9"].to_list() == pytest.approx(scored.rows["0.9"].to_list())


def test_the_table_prints_the_scores(
    scored: Backtest, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    show_scores(scored)
    out = capfd.readouterr().out
    overall = scored.scores().row(0, named=True)
    assert f"{len(scored.rows)} sales scored" in out
    assert f"{overall['coverage_80']:.1%}" in out
    assert f"{overall['cod']:.1f}" in out
    for words in ("evidence depth", "condition band", "make", "channel", "year of sale", "decade built"):
        assert words in out
    assert "not graded" in out
    assert "suspicious" not in out


def test_estimates_that_have_seen_the_prices_are_pointed_out(
    scored: Backtest, capfd: pytest.CaptureFixture[str]
) -> None:
    rows = scored.rows.with_columns(mid=pl.col("actual"))
    show_scores(Backtest(rows, scored.origins, scored.parts))
    assert "A COD below 5 is suspicious" in capfd.readouterr().out


def test_only_the_largest_makes_are_listed_and_names_cannot_steer_the_terminal(
    scored: Backtest, capfd: pytest.CaptureFixture[str]
) -> None:
    many = scored.rows.with_columns(
        make=pl.lit("\x1b[31mmake ") + (pl.int_range(pl.len()) % (ROWS_A_PART + 3)).cast(pl.String)
    )
    show_scores(Backtest(many, scored.origins, {"make": ()}))
    out = capfd.readouterr().out
    assert "and 3 with fewer sales" in out
    assert "\x1b" not in out


def test_text_that_a_spreadsheet_would_run_goes_out_as_text(
    call: Call, small_market: Market, scored: Backtest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rows = scored.rows.with_columns(make=pl.lit("=HYPERLINK(1)"))
    monkeypatch.setattr(
        "pricing.model.accuracy.backtest.backtest",
        lambda *_, **__: Backtest(rows, scored.origins, scored.parts),
    )
    code, _, err = call("--market", small_market.path, "--csv", "rows.csv", "--json")
    assert code == 0, err
    written = pl.read_csv(tmp_path / "rows.csv", infer_schema_length=None)
    assert written["make"].unique().to_list() == ["'=HYPERLINK(1)"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--market", "absent.duckdb"], "no market file at absent.duckdb"),
        (["--origins", "0"], "Invalid value for '--origins'"),
        (["--origins", "some"], "Invalid value for '--origins'"),
    ],
)
def test_a_slip_is_answered_in_one_line(words: list[str], said: str, call: Call) -> None:
    code, out, err = call(*words)
    assert (code, out) == (1 if "absent" in said else 2, "")
    assert err.startswith("error: ") and err.count("\n") == 1
    assert said in err


def test_a_file_is_never_written_over(call: Call, small_market: Market, tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text("precious")
    code, _, err = call("--market", small_market.path, "--csv", "mine.csv")
    assert (code, err) == (1, "error: mine.csv exists already; name a file that does not\n")
    assert (tmp_path / "mine.csv").read_text() == "precious"
    code, _, err = call("--market", small_market.path, "--csv", "nowhere/new.csv")
    assert (code, err) == (1, "error: there is no folder nowhere to write new.csv to\n")


def test_a_market_without_sales_says_so(call: Call, tmp_path: Path) -> None:
    Market.open(tmp_path / "market.duckdb")
    code, _, err = call()
    assert code == 1
    assert "a backtest needs sales on several days; got 0 on 0" in err.splitlines()[-1]
