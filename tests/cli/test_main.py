"""The command line as a person uses it: help, the whole journey on a small market, and slips."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
from datetime import date, timedelta
from decimal import Decimal
from importlib.metadata import version
from pathlib import Path

import polars as pl
import pytest

from pricing.cli import main as cli
from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.store.market import Market
from pricing.words.sentences import range_sentence, standing_sentence
from tests.cars import car_of
from tests.cli.program import Call, caller
from tests.small_market import common_car, write_sales
from tests.test_docs import COMMANDS, command_of


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Call:
    """Call the command line in an empty folder: exit code, standard output, standard error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PRICING_MARKET", raising=False)
    monkeypatch.setenv("COLUMNS", "160")
    return caller(monkeypatch, capfd)


def options_of(market: Market) -> list[str]:
    """The common car as options of ``pricing value``."""
    car = common_car(market)
    words = [f"--option={code}" for code in car.pop("options")]
    car["odometer"] = car.pop("odometer_km")
    words += [f"--{name.replace('_', '-')}={value}" for name, value in car.items() if value is not None]
    return [*words, f"--market={market.path}"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example_of_itself(name: str, call: Call) -> None:
    code, out, err = call(*name.split(), "--help")
    assert (code, err) == (0, "")
    assert f"Example: pricing {name}" in out
    assert command_of(COMMANDS[name].epilog.split()[2:]) == name


def test_help_reads_no_numerical_library() -> None:
    heavy = "{'polars', 'numpy', 'duckdb', 'scipy', 'altair', 'streamlit'}"
    code = f"import sys, pricing.cli.main; print(sorted({heavy} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (run.returncode, run.stdout.strip()) == (0, "[]")


def test_files_become_a_market_a_fit_and_a_price(call: Call, tmp_path: Path) -> None:
    write_sales(tmp_path / "sales.parquet", rows=300)
    code, out, err = call("load", "sales.parquet")
    assert code == 0, err
    assert "300 rows read" in out
    assert "0 already known" in out
    code, out, _ = call("load", "sales.parquet")
    assert code == 0
    assert "0 accepted" in out
    assert "nothing was new" in out
    assert "None" not in out
    assert call("fit")[0] == 0
    market = Market.open(tmp_path / "market.duckdb")
    code, out, err = call("value", *options_of(market), "--asking", "5000")
    assert (code, err) == (0, "")
    assert "What makes up the mid price" in out
    assert "not an appraisal" in out
    frame = pl.read_parquet(tmp_path / "sales.parquet").filter(pl.col("outcome") == "sold")[:1]
    frame.with_columns(record_id=pl.lit("one more"), source_ref=pl.lit("one more")).write_parquet(
        "more.parquet"
    )
    assert call("load", "more.parquet")[0] == 0
    code, _, err = call("value", *options_of(market))
    assert code == 0
    assert err.startswith("note: Records have changed since the price model was fitted")
    code, out, err = call("fit", "--update")
    assert (code, "fitted on" in out) == (0, True), err
    assert call("value", *options_of(market))[2] == ""


def test_value_prints_what_the_library_says(call: Call, small_market: Market) -> None:
    model = load(small_market)
    valuation = value_car(
        small_market, model, car_of(small_market, common_car(small_market)), asking=Decimal("5000")
    )
    code, out, _ = call("value", *options_of(small_market), "--asking", "5000")
    assert code == 0
    said = " ".join(out.split())
    assert range_sentence(valuation) in said
    assert standing_sentence(valuation) in said


def test_value_as_json_holds_every_fact(call: Call, small_market: Market) -> None:
    valuation = value_car(
        small_market,
        load(small_market),
        car_of(small_market, common_car(small_market)),
        asking=Decimal("5000"),
    )
    code, out, _ = call("value", *options_of(small_market), "--asking", "5000", "--json")
    assert code == 0
    assert json.loads(out) == json.loads(json.dumps(valuation.to_dict()))


def test_an_odometer_in_miles_is_the_same_car(call: Call, small_market: Market) -> None:
    words = [word for word in options_of(small_market) if "odometer" not in word]
    facts = [
        json.loads(call("value", *words, "--json", "--odometer", reading, "--odometer-unit", unit)[1])
        for reading, unit in ((160934.4, "km"), (100, "thousand miles"))
    ]
    assert facts[0]["mid"] == facts[1]["mid"]
    assert facts[0]["car"]["odometer_km"] == pytest.approx(160934.4)


def test_a_price_at_an_earlier_date_comes_from_what_was_known_then(call: Call, small_market: Market) -> None:
    last = date.fromisoformat(load(small_market).facts["last_date"])
    at = last - timedelta(days=300)
    code, out, err = call("value", *options_of(small_market), "--as-of", at, "--json")
    assert code == 0, err
    facts = json.loads(out)
    assert facts["as_of"] == at.isoformat()
    assert all(sale["event_date"] <= at.isoformat() for sale in facts["sales"])
    assert small_market.fits().height == 1, "a fit for a date is not kept"


def test_the_version_is_the_packages(call: Call) -> None:
    assert call("--version") == (0, f"pricing {version('classic-car-pricing')}\n", "")


@pytest.mark.parametrize("words", [[], ["appraise"], ["token"]])
def test_a_call_without_a_command_shows_help_and_no_error(words: list[str], call: Call) -> None:
    code, out, err = call(*words)
    assert (code, err) == (2, "")
    assert "Usage: " in out and "Commands" in out
    if not words:
        assert "Exit codes: 0 done; 1 " in " ".join(out.split())


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_can_complete_commands(shell: str) -> None:
    program = Path(sys.executable).with_name("pricing")
    environment = {**os.environ, "_PRICING_COMPLETE": f"source_{shell}"}
    script = subprocess.run([program], env=environment, capture_output=True, text=True, check=True).stdout
    assert f"_PRICING_COMPLETE=complete_{shell}" in script
    words = {"COMP_WORDS": "pricing quar", "COMP_CWORD": "1", "_TYPER_COMPLETE_ARGS": "pricing quar",
             "_TYPER_COMPLETE_FISH_ACTION": "get-args"}  # fmt: skip
    environment |= {"_PRICING_COMPLETE": f"complete_{shell}", **words}
    told = subprocess.run([program], env=environment, capture_output=True, text=True, check=True).stdout
    assert "quarantine" in told and "value" not in told


def test_an_interrupted_command_says_that_nothing_changed(
    call: Call, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, small_market: Market
) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    shutil.copy(small_market.path, tmp_path / "market.duckdb")
    before = small_market.digest()
    monkeypatch.setattr("pricing.model.saved.save", interrupt)
    code, out, err = call("fit")
    assert (code, out) == (130, "")
    assert err.endswith("interrupted: what was not finished has changed nothing\n")
    assert Market.open(tmp_path / "market.duckdb").digest() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["valu"], "No such command 'valu'"),
        (["value"], "Missing option '--make'"),
        (["value", "--make=A", "--model=B", "--year=x"], "Invalid value for '--year'"),
        (["value", "--make=A", "--model=B", "--year=1960", "--colour=red"], "No such option: --colour"),
    ],
)
def test_a_call_that_is_none_is_answered_in_one_line(words: list[str], said: str, call: Call) -> None:
    code, out, err = call(*words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("error: ") and said in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["value", "--make=A", "--model=B", "--year=1960"], "no market file at market.duckdb"),
        (["value", "--make=A", "--model=B", "--year=1960", "--asking=12kk"], "not an amount: got '12kk'"),
        (["value", "--make=A", "--model=B", "--year=1960", "--asking=$900"], "several; write the code"),
        (
            ["appraise", "new", "car.toml"],
            "there is no form car.toml: `pricing appraise new car.toml --blank`",
        ),
        (["value", "--make=A", "--model=B", "--year=1960", "--asking=nan"], "not an amount: got 'nan'"),
        (["value", "--make=A", "--model=B", "--year=1960", "--as-of=May"], "not a day: got 'May'"),
        (
            ["value", "--make=A", "--model=B", "--year=1960", "--odometer-unit=leagues"],
            "'leagues' is none of: km",
        ),
        (["fit"], "no market file at market.duckdb"),
        (["load", "absent.csv"], "absent.csv"),
        (["load", "."], ""),
        (["serve", "--port", "{port}"], "port {port} is in use; choose another with --port"),
        (
            ["serve", "--host", "no.such.invalid", "--port", "8600"],
            "nothing can be served on 'no.such.invalid'",
        ),
    ],
)
def test_a_slip_is_answered_in_one_line(words: list[str], said: str, call: Call) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        code, out, err = call(*(word.replace("{port}", port) for word in words))
    lines = [line for line in err.splitlines() if line.startswith("error: ")]
    assert code == 1
    assert out == ""
    assert len(lines) == 1 and err.endswith(lines[0] + "\n")
    assert said.replace("{port}", port) in lines[0] and "[Errno" not in err
    assert "Traceback" not in err


@pytest.mark.parametrize("content", [b"", b"not a database", b"\x00" * 5000])
def test_a_market_file_of_another_kind_is_refused(content: bytes, call: Call, tmp_path: Path) -> None:
    (tmp_path / "market.duckdb").write_bytes(content)
    for words in (["fit"], ["value", "--make=A", "--model=B", "--year=1960"]):
        code, _, err = call(*words)
        assert (code, len(err.splitlines())) == (1, 1), err
        assert err.startswith("error: ")


def test_an_unknown_model_is_named_with_its_nearest(call: Call, small_market: Market) -> None:
    car = common_car(small_market)
    words = ["--make", car["make"], "--model", "modl 6", "--year", "1960", "--market", small_market.path]
    code, _, err = call("value", *words)
    assert code == 1
    assert "no record of the model 'modl 6'" in err
    assert "did you mean model" in err


def test_the_market_may_be_named_by_the_environment(
    call: Call, small_market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PRICING_MARKET", str(small_market.path))
    words = [word for word in options_of(small_market) if not word.startswith("--market")]
    assert call("value", *words, "--json")[0] == 0


def test_the_demo_does_the_main_job(tmp_path: Path) -> None:
    """The whole demo in a process of its own, but for the server."""
    program = shutil.which("pricing", path=str(Path(sys.executable).parent))
    assert program is not None
    run = subprocess.run(
        [program, "demo", "--no-dashboard"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "COLUMNS": "160"},
    )
    assert run.returncode == 0, run.stderr[-2000:]
    read, accepted, rejected, known = (
        int(word.replace(",", "")) for word in run.stdout.split(" (batch")[0].split() if word[0].isdigit()
    )
    assert read == accepted + rejected + known
    assert read > 7000 and rejected > 0
    assert "Of 100 cars like this one, 80 should sell between EUR" in run.stdout
    assert "The asking price of EUR 4,650 is above what like cars fetch" in run.stdout
    assert "What makes up the mid price" in run.stdout
    assert "Traceback" not in run.stderr


def test_a_failure_that_nobody_foresaw_is_a_code_and_a_log_and_no_traceback(
    call: Call, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fail(*_: object) -> None:
        raise pl.exceptions.PanicException("left == right")

    monkeypatch.setenv("PRICING_COPIES", str(tmp_path / "own"))
    monkeypatch.setattr(cli, "open_market", fail)
    status, out, said = call("fits")
    assert (status, out) == (70, "") and said.count("\n") == 1 and "Traceback" not in said
    log = tmp_path / "own" / "failures.log"
    (code,) = re.findall(r"\((F-[0-9a-f]{8})\)", said)
    assert str(log) in said and code in log.read_text() and "left == right" in log.read_text()
    assert log.stat().st_mode & 0o077 == 0


def test_an_error_line_cannot_steer_the_terminal(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "sales.csv"
    file.write_text("make,mod\x1b]0;owned\x07el\x1b[2J\u202e,year\nWexcombe,Sedge,1966\n")
    for words in (["load", file], ["load", "no\x1b[2J.csv"], ["map", file], ["map", file, "--out", "x.toml"]):
        _, out, said = call(*words)
        assert not {"\x1b", "\x07", "\u202e"} & set(out + said)


def test_columns_and_cells_of_a_stranger_s_file_cannot_steer_the_terminal(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "sales.csv"
    heads = ["note\x1b[2J", "note[/b]", "[link=http://x.invalid]n", "\u202enote", "\u200fnote"]
    cells = ["a\x1b[31m", "[/]", "[red]b", "\u2066c", "\x9b2J"]
    named, row = "make,model,year,outcome,event_date,amount,currency,price_basis", "Wexcombe,Sedge,1966,sold"
    file.write_text(f"{named},{','.join(heads)}\n{row},2020-01-01,-5,EUR,all-in,{','.join(cells)}\n")
    shown = ""
    for words in (["map", file, "--no-write"], ["load", file, "--dry-run"], ["load", file], ["quarantine"]):
        code, out, said = call(*words, "--market", tmp_path / "own.duckdb")
        assert code == 0, said
        assert not {"\x1b", "\x9b", "\u202e", "\u2066", "\u200f"} & set(out + said), words
        shown += out
    assert "note[/b]" in shown, "as it is"
