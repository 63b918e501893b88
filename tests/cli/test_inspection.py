from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from pricing.cli.inspection import inspect_app
from pricing.cli.repairs import repair_app
from pricing.condition.inspection_files import open_inspection, save
from pricing.errors import PricingError
from pricing.store.market import Market
from tests.condition.walks import EXTENSIONS, walk, write_graded

Run = Callable[..., str]

app = typer.Typer()
app.add_typer(inspect_app, name="inspect")
app.add_typer(repair_app, name="repair")


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command in an empty folder and give what it printed; an error of the project is raised."""
    monkeypatch.chdir(tmp_path)

    def command(*words: str) -> str:
        result = CliRunner().invoke(app, words)
        if isinstance(result.exception, PricingError):
            raise result.exception
        assert result.exit_code == 0, result.output
        return result.output

    return command


START = ("inspect", "start", "car.json", "--construction", "separate chassis", "--make", "Wexcombe",
         "--model", "Sedge", "--year", "1966")  # fmt: skip


def test_a_walk_round_a_car_from_start_to_print(run: Run) -> None:
    assert "92 checks, none seen yet" in run(*START)
    run(
        "inspect",
        "fill",
        "car.json",
        "--check",
        "sedge_third_gear",
        "--state",
        "needs repair",
        "--note",
        "jumps",
    )
    assert "sedge_third_gear" in run("inspect", "show", "car.json")
    run("inspect", "change", "car.json", "front discs", "--option", "front_disc_brakes", "--done", "well")
    run("inspect", "preserve", "car.json", "original")
    scored = run("inspect", "score", "car.json")
    for words in ("Condition score", "What to look at next", "jack alone", "1 change from the factory state"):
        assert words in scored
    assert "written" in run("inspect", "print", "car.json", "car.html", "--result")
    assert "Condition score" in Path("car.html").read_text("utf-8")
    found = open_inspection(Path("car.json"), extensions=EXTENSIONS)
    assert found.state("sedge_third_gear") == "needs repair"
    assert (found.preservation, found.changes[0].done) == ("original", "well")


def test_findings_go_out_as_csv_and_come_back(run: Run) -> None:
    save(walk(state="worn"), Path("whole.json"))
    run("inspect", "export", "whole.json", "findings.csv")
    run("inspect", "start", "car.json", "--construction", "separate chassis")
    assert "100% of what counts is seen" in run("inspect", "fill", "car.json", "--from", "findings.csv")


def test_a_budget_is_a_range_with_its_notice(run: Run) -> None:
    save(walk(state="needs repair"), Path("car.json"))
    told = run("repair", "budget", "car.json", "--country", "DE")
    for words in ("as likely as not", "P10", "P80", "Invented demo figures", "structure"):
        assert words in told


def test_your_own_quotes_and_rates_are_used(run: Run) -> None:
    save(walk(electrics_charging="needs repair"), Path("car.json"))
    Path("quotes.toml").write_text(
        '[[quote]]\njob = "charging_overhaul"\namount = 100\ncurrency = "EUR"\n'
        'by = "A"\nquoted_on = 2024-05-02\n'
    )
    Path("rates.csv").write_text("currency,rate_date,rate\nEUR,2020-01-01,0.001\n")
    words = ("repair", "budget", "car.json", "--country", "DE", "--quotes", "quotes.toml")
    assert "EUR 100 as likely as not" in run(*words)
    assert "ARS 100,000 as likely" in run(*words, "--currency", "ARS", "--rates", "rates.csv")


def test_mending_is_compared_with_a_better_car(run: Run, small_market: Market) -> None:
    car = small_market.sales().row(0, named=True)
    run(
        "inspect",
        "start",
        "car.json",
        "--construction",
        "monocoque",
        "--make",
        car["make"],
        "--model",
        car["model"],
        "--year",
        str(car["year"]),
    )
    told = run(
        "repair",
        "compare",
        "car.json",
        "--country",
        "DE",
        "--asking",
        "900",
        "--market",
        str(small_market.path),
    )
    for words in ("To top condition: look first", "Only 0% of what counts was seen", "licensed", "Invented"):
        assert words in told


def test_a_market_that_graded_cars_is_compared_with_the_rule(run: Run) -> None:
    write_graded(Path("graded.csv"))
    assert "40 cars; weighted kappa 1.000 as given" in run("inspect", "agreement", "graded.csv")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("inspect", "show", "none.json"), "none.json cannot be read"),
        (
            ("inspect", "start", "car.json", "--construction", "monocoque"),
            "there is a file of that name already",
        ),
        (("inspect", "start", "b.json", "--construction", "tubular"), "unknown construction 'tubular'"),
        (("inspect", "fill", "car.json"), "give either --from FILE, or --check with --state"),
        (("inspect", "fill", "car.json", "--check", "x", "--state", "worn"), "unknown check 'x'"),
        (("inspect", "fill", "car.json", "--check", "body_paint", "--state", "bad"), "unknown state 'bad'"),
        (("inspect", "preserve", "car.json", "new"), "unknown preservation 'new'"),
        (("inspect", "change", "car.json", "x", "--done", "so-so"), "done is 'so-so'"),
        (("inspect", "print", "car.json", "no/car.html"), "cannot be written"),
        (("inspect", "export", "car.json", "car.xlsx"), "saved as .json or .csv"),
        (("inspect", "agreement", "none.csv"), "none.csv cannot be read"),
        (("repair", "budget", "car.json", "--country", "XX"), "no tax rate for country 'XX'"),
        (("repair", "budget", "car.json", "--country", "DE", "--currency", "ARS"), "no rate from EUR to ARS"),
        (("repair", "budget", "car.json", "--country", "DE", "--catalogue", "none.toml"), "cannot be read"),
        (
            ("repair", "budget", "car.json", "--country", "DE", "--rates", "none.csv"),
            "none.csv cannot be read",
        ),
        (("repair", "budget", "car.json", "--country", "DE", "--least", "sound"), "unknown state 'sound'"),
        (("repair", "compare", "car.json", "--country", "DE", "--market", "none.duckdb"), "none.duckdb"),
    ],
)
def test_bad_input_is_one_line_that_names_it(run: Run, words: tuple[str, ...], message: str) -> None:
    save(walk(), Path("car.json"))
    with pytest.raises(PricingError, match=message) as caught:
        run(*words)
    assert "\n" not in str(caught.value).strip()


def test_an_asking_price_must_be_an_amount(run: Run, small_market: Market) -> None:
    save(walk(state="worn"), Path("car.json"))
    with pytest.raises(PricingError, match="the asking price is not an amount: got 'cheap'"):
        run(
            "repair",
            "compare",
            "car.json",
            "--country",
            "DE",
            "--asking",
            "cheap",
            "--market",
            str(small_market.path),
        )
