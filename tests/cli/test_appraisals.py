import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from pricing.appraisal.record.form import read_form, write_form
from pricing.cli.main import app
from pricing.condition.inspection_files import save
from pricing.errors import PricingError
from pricing.store.market import Market
from tests.appraisals import full_record, last_day, pdf_pages, pdf_text, sheet_of
from tests.condition.walks import CATALOGUE
from tests.small_market import common_car

Run = Callable[..., str]


@pytest.fixture(scope="module")
def prepared(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a market, a form, an inspection, and an appraisal entered from the form."""
    folder = tmp_path_factory.mktemp("prepared")
    shutil.copy(small_market.path, folder / "market.duckdb")
    record = full_record(common_car(small_market), last_day(small_market))
    save(sheet_of(record), folder / "walk.json")
    write_form(record, folder / "car.toml")
    text = (folder / "car.toml").read_text(encoding="utf-8")
    text = text.replace('sheet = ""', f'sheet = "{(folder / "walk.json").as_posix()}"')
    text = text.replace('catalogue = ""', f'catalogue = "{CATALOGUE.as_posix()}"')
    (folder / "car.toml").write_text(text, encoding="utf-8")
    words = ("new", str(folder / "car.toml"), "--market", str(folder / "market.duckdb"), "--by", "Clerk One")
    said = CliRunner().invoke(app, ["appraise", *words]).output
    assert "appraisal-0001, revision 1" in said
    assert "only the valuer completes it" in said
    return folder


@pytest.fixture
def run(prepared: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command in a copy of the prepared folder; an error of the project is raised."""
    shutil.copytree(prepared, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)

    def command(*words: str, code: int = 0) -> str:
        result = CliRunner().invoke(app, ["appraise", *words])
        if isinstance(result.exception, PricingError):
            raise result.exception
        assert result.exit_code == code, result.output
        return result.output

    return command


def test_an_appraisal_from_its_form_to_its_documents(run: Run, tmp_path: Path) -> None:
    assert "every required content is there" in run("check", "appraisal-0001")
    run("render", "appraisal-0001", "car.pdf", "car.docx", "--paper", "letter")
    run("render", "appraisal-0001", "statement.pdf", "--document", "statement", "--locale", "en_US")
    run("render", "appraisal-0001", "letter.pdf", "--document", "letter")
    assert pdf_pages((tmp_path / "statement.pdf").read_bytes()) == 2
    assert "November 2, 2026" in pdf_text((tmp_path / "statement.pdf").read_bytes())
    assert pdf_pages((tmp_path / "letter.pdf").read_bytes()) == 2
    first = (tmp_path / "car.pdf").read_bytes()
    assert "Reasoning Tau" in pdf_text(first)
    assert "Repair budget" in pdf_text(first)

    said = run(
        "edit", "appraisal-0001", "--set", "opinion.figure=7400", "--by", "Valuer Two", "--reason", "a call"
    )
    assert "appraisal-0001, revision 2" in said
    run("render", "appraisal-0001", "old.pdf", "--paper", "letter", "--revision", "1")
    assert (tmp_path / "old.pdf").read_bytes() == first
    log = run("list", "appraisal-0001")
    for words in ("Valuer Two", "a call", "opinion.figure", "7350", "7400"):
        assert words in log
    assert "appraisal-0001" in run("list") and "draft" in run("list")
    run("edit", "appraisal-0001", "--set", "assignment.kind=model report", "--by", "Clerk")
    assert "draft" not in run("list"), "a model report is not on its way to anything"


def test_check_names_what_is_missing_and_render_refuses(run: Run) -> None:
    run("edit", "appraisal-0001", "--set", "assignment.scope=", "--by", "Clerk")
    assert "scope of work" in run("check", "appraisal-0001", code=1)
    with pytest.raises(PricingError, match="missing: scope of work"):
        run("render", "appraisal-0001", "car.pdf")


def test_a_record_goes_out_as_a_form_and_comes_back(run: Run, tmp_path: Path) -> None:
    run("edit", "appraisal-0001", "--write", "out.toml")
    assert read_form(tmp_path / "out.toml") == read_form(tmp_path / "car.toml")
    with pytest.raises(PricingError, match="nothing is changed"):
        run("edit", "appraisal-0001", "--form", "out.toml", "--by", "Clerk")
    text = (tmp_path / "out.toml").read_text(encoding="utf-8").replace("Client Alpha", "Client Next")
    (tmp_path / "out.toml").write_text(text, encoding="utf-8")
    assert "revision 2" in run("edit", "appraisal-0001", "--form", "out.toml", "--by", "Clerk")


def test_a_blank_form_is_not_written_over_another(run: Run, tmp_path: Path) -> None:
    assert "a blank form" in run("new", "blank.toml", "--blank")
    assert read_form(tmp_path / "blank.toml").assignment.client == ""
    with pytest.raises(PricingError, match="nothing was written"):
        run("new", "car.toml", "--blank")
    assert "no evidence gathered yet" in run("new", "blank.toml", "--by", "Clerk")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("new", "none.toml"), "there is no form none.toml"),
        (("check", "appraisal-0099"), "holds no appraisal"),
        (("render", "appraisal-0001", "car.odt"), "is written as .pdf or .docx"),
        (("render", "appraisal-0001", "car.pdf", "--document", "poem"), "no document 'poem'"),
        (("render", "appraisal-0001", "car.pdf", "--locale", "ja_JP"), "no documents in .ja_JP.: choose one"),
        (("render", "appraisal-0001", "car.pdf", "--paper", "a5"), "no paper"),
        (("render", "appraisal-0001", "nowhere/car.pdf"), "cannot be written"),
        (("edit", "appraisal-0001", "--set", "opinion.figure"), "section.field=answer"),
        (("edit", "appraisal-0001", "--set", "opinion.figure=much"), "expected an amount"),
        (("edit", "appraisal-0001", "--set", "opinion.figure=1", "--by", " "), "needs the name"),
        (("bulk", "car.toml", "--form", "car.toml", "--out", "out"), "of no kind that can be read"),
    ],
)
def test_a_slip_is_answered_in_one_line(run: Run, words: tuple[str, ...], message: str) -> None:
    with pytest.raises(PricingError, match=message) as refused:
        run(*words)
    assert "\n" not in str(refused.value)


def test_a_collection_becomes_a_schedule_and_a_bound_document(
    run: Run, small_market: Market, tmp_path: Path
) -> None:
    car = common_car(small_market)
    named = {"make": car["make"], "model": car["model"]}
    rows = [{"reference": f"shelf {place}", **named, "year": car["year"] + place} for place in range(3)]
    rows.append({"reference": "lost", "make": "No", "model": "Such", "year": 1960})
    pl.DataFrame(rows).write_excel(tmp_path / "cars.xlsx")
    at = last_day(small_market)
    (tmp_path / "shared.toml").write_text(
        '[assignment]\nkind = "model report"\nclient = "Trust"\nintended_use = "insurance"\n'
        'basis = "market value"\nmarket_level = "dealer"\ncurrency = "EUR"\n'
        f"effective_date = {at}\nreport_date = {at}\n[evidence]\ngathered_later = 'tried out later'\n",
        encoding="utf-8",
    )
    off = ("--off-at-once", 0.1, "--because", "one weekend")
    said = run(
        "bulk", "cars.xlsx", "--form", "shared.toml", "--out", "values", "--by", "Clerk", *map(str, off)
    )
    said = " ".join(said.split())
    assert "3 of 4 cars valued; their middles add up to EUR" in said
    assert "sold all at once EUR" in said, said[-900:]
    assert "10% less by judgement (one weekend)" in said
    assert "no record of the make 'No'" in said
    assert pl.read_excel(tmp_path / "values" / "schedule.xlsx", sheet_name="Schedule").height == 6
    text = pdf_text((tmp_path / "values" / "schedule.pdf").read_bytes())
    assert all(f"shelf {place}: {car['year'] + place}" in text for place in range(3))
    assert "not valued" in text
