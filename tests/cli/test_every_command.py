"""Every command of the program answers as JSON, and quietly: what was asked for and not a word more."""

import json
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl
import pytest

from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.record.form import write_form
from pricing.cli import main as cli
from pricing.condition.inspection_files import save
from pricing.store.market import Market
from tests.appraisals import full_record, last_day, sheet_of
from tests.cli.test_output import SERVING
from tests.condition.walks import write_graded
from tests.drawn_photographs import drawn_photograph
from tests.opinion_market import cells
from tests.small_market import common_car
from tests.test_docs import COMMANDS, command_of

ANSWERING = {
    "fits", "value", "appraise check", "appraise bases", "profiles list", "appraise grid", "appraise list",
    "appraise photographs list",
    "inspect show", "inspect score", "inspect agreement",
    "repair budget", "repair compare", "records list", "records show", "names", "batches", "quarantine",
    "suspicions", "duplicates", "map", "format", "index", "comparables", "depth", "score", "buy", "sell",
    "doctor", "config", "handbook", "token new", "token list", "opinions list", "opinions score",
    "cars list", "cars show", "cars compare",
}  # fmt: skip
"""Commands that are asked something, and answer when quiet too; of what others do the quiet say nothing."""

Call = Callable[..., str]


@pytest.fixture
def folder(small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a market, and a file of each kind that commands read."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PRICING_MARKET", raising=False)
    shutil.copy(small_market.path, "market.duckdb")
    shutil.copy(small_market.path.with_suffix(".parquet"), "sales.parquet")
    car, at = common_car(small_market), last_day(small_market)
    record = full_record(car, at)
    save(sheet_of(record), Path("walk.json"))
    write_form(record, Path("car.toml"))
    shared = ('kind = "model report"', 'client = "Trust"', 'intended_use = "insurance"', 'currency = "EUR"',
              'basis = "market value"', 'market_level = "dealer"', f"effective_date = {at}",
              f"report_date = {at}")  # fmt: skip
    Path("shared.toml").write_text("\n".join(["[assignment]", *shared]))
    pl.DataFrame({name: [car[name]] for name in ("make", "model", "year")}).write_csv("cars.csv")
    Path("rates.csv").write_text(f"currency,rate_date,rate\nEUR,{at},1.2\n")
    cells().write_csv("said.csv")
    Path("front.jpg").write_bytes(drawn_photograph())
    Path("sill.png").write_bytes(drawn_photograph(kind="PNG"))
    write_graded(Path("graded.csv"))
    return tmp_path


def calls(market: Market, known: dict[str, str]) -> Iterator[list[str]]:
    """A call of every command, in an order in which each has what it needs; ``known`` holds names that
    earlier answers gave."""
    car = common_car(market)
    named = [f"--make={car['make']}", f"--model={car['model']}", f"--year={car['year']}"]
    record = market.sales().row(0, named=True)["record_id"]
    at = last_day(market)
    sale = [f"make={car['make']}", f"model={car['model']}", f"year={car['year']}", "channel=private",
            "country=GB", "outcome=sold", f"event_date={at}", "amount=4321", "currency=EUR",
            "price_basis=all-in"]  # fmt: skip
    yield from (
        ["load", "sales.parquet"], ["map", "sales.parquet", "--no-write"], ["format"], ["fits"], ["batches"],
        ["value", *named], ["comparables", *named], ["index", "--period=year"], ["depth"], ["score"],
        ["buy", *named, "--certainty=.7", "--channel=private", "--asking=5000"],
        ["sell", *named, "--discount=0.02"],
        ["records", "list"], ["records", "show", record], ["records", "export", "rows.csv"],
        ["names"], ["quarantine"], ["suspicions"], ["duplicates"], ["doctor"], ["config"],
        ["inspect", "start", "new.json", *named, "--construction=separate chassis"],
        ["inspect", "fill", "new.json", "--check=body_paint", "--state=worn"],
        ["inspect", "change", "new.json", "front discs"], ["inspect", "preserve", "new.json", "original"],
        ["inspect", "show", "new.json"], ["inspect", "score", "walk.json"],
        ["inspect", "print", "new.json", "new.html"], ["inspect", "export", "new.json", "found.csv"],
        ["inspect", "agreement", "graded.csv"],
        ["repair", "budget", "walk.json", "--country=GB"],
        ["repair", "compare", "walk.json", "--country=GB", "--asking=3200"],
        ["appraise", "new", "car.toml", "--by=Clerk"], ["appraise", "list"],
        ["appraise", "edit", "appraisal-0001", "--set=opinion.figure=7400", "--by=Clerk", "--reason=a call"],
        ["appraise", "check", "appraisal-0001"], ["appraise", "bases"],
        ["profiles", "keep", "desk", "--kind=valuer", "--from=appraisal-0001"], ["profiles", "list"],
        ["appraise", "edit", "appraisal-0001", "--set=valuer.contact=gone", "--by=Clerk", "--reason=moved"],
        ["profiles", "use", "desk", "appraisal-0001", "--by=Clerk"], ["profiles", "forget", "desk"],
        ["appraise", "grid", "appraisal-0001", "--search=2026"], ["appraise", "grid", "appraisal-0001"],
        ["appraise", "choose", "appraisal-0001", "--drop=2", "--weigh=1=50", "--reason=looked at",
        "--by=Clerk"], ["appraise", "render", "appraisal-0001", "letter.pdf", "--document=letter"],
        ["appraise", "photographs", "add", "appraisal-0001", "front.jpg", "sill.png", "--by=Clerk"],
        ["appraise", "photographs", "change", "appraisal-0001", "2", "--cover", "--to=1", "--by=Clerk"],
        ["appraise", "photographs", "list", "appraisal-0001"],
        ["appraise", "photographs", "export", "appraisal-0001", "originals"],
        ["appraise", "photographs", "remove", "appraisal-0001", "2", "--by=Clerk"],
        ["appraise", "complete", "appraisal-0001", "--by=Valuer Phi",
         *(f"--certify={point}=so" for point in CERTIFICATION)],
        ["appraise", "bulk", "cars.csv", "--form=shared.toml", "--out=values", "--by=Clerk"],
        ["token", "new", "desk"], ["token", "list"], ["token", "revoke", "token-0001"],
        ["setup", "server", "--out=server"], ["handbook", "--out=book", "--no-open"],
        ["cars", "keep", *named, "--name=green"], ["cars", "keep", *named, "--name=red"],
        ["cars", "price", "green", "4.650"], ["cars", "change", "green", "--notes=sills welded"],
        ["cars", "photo", "green", "front.jpg"],
        ["cars", "list"], ["cars", "show", "green"], ["cars", "compare", "green", "red"],
        ["cars", "export", "cars.json"],
        ["cars", "delete", "green"],
        ["opinions", "load", "said.csv"],
        ["opinions", "add", "--source=A. Rowe", "--make=Corvane", "--model=Six", "--holds=half",
         "--currency=EUR", "--top=8000:12000"],
        ["opinions", "list"], ["opinions", "score"],
    )  # fmt: skip
    yield ["opinions", "withdraw", known["opinion"], "--reason=mistyped"]
    yield ["cars", "sold", "red", "4111", f"--on={at}"]
    yield ["add", *sale]
    yield ["correct", record, f"year={car['year']}", "--reason=seen on the plate"]
    yield ["remove", record, "--reason=entered twice"]
    yield ["undo", "batch-0002"]
    yield ["fit", "--update"]
    yield ["backup", "kept.zip"]
    yield ["restore", "kept.zip", "--market=restored.duckdb"]
    yield ["salvage", "saved.duckdb"]
    yield ["copy", "market.duckdb", "copied.duckdb"]
    yield ["currency", "GBP"]
    yield ["rates", "rates.csv"]


@pytest.mark.parametrize("asked", ["--json", pytest.param("--quiet", marks=pytest.mark.soak)])
def test_every_command_answers_as_it_is_asked_to(
    asked: str, folder: Path, small_market: Market, monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    known: dict[str, str] = {}
    walked, wrong = set(), []
    for words in calls(small_market, known):
        name = command_of(words)
        walked.add(name)
        if asked == "--quiet" and name in ANSWERING - {"token new"}:
            continue  # the walk for JSON asks them to be quiet too
        options = ["--json", "--quiet"] if name in ANSWERING else [asked]
        monkeypatch.setattr(sys, "argv", ["pricing", *words, *options])
        with pytest.raises(SystemExit) as stopped:
            cli.run()
        out, err = capfd.readouterr()
        if stopped.value.code not in (0, None):
            wrong.append(f"{name}: {stopped.value.code}, {err}")
        elif "--json" in options:
            try:
                json.loads(out)
            except ValueError:
                wrong.append(f"{name}: no JSON but {out[:200]!r}")
            if err and name in ANSWERING:
                wrong.append(f"{name}: {err!r}")
        elif err or out:
            wrong.append(f"{name}: {out[:200]!r}, {err!r}")
        if name == "opinions add":
            opinions = Market.open("market.duckdb", create=False).opinions()
            known["opinion"] = opinions["opinion_id"][0]
    assert not wrong, "\n".join(wrong)
    assert walked == set(COMMANDS) - set(SERVING)
