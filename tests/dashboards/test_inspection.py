"""The page that goes round a car: what it says is the library's, and a half-done sheet survives
everything."""

import io
import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from pricing.condition.assessment import assess
from pricing.condition.checks import PAPER_STATES, STATES
from pricing.errors import FileError
from pricing.operations import drafts
from pricing.operations.bundled import EXTENSIONS
from pricing.store.market import Market
from pricing.untrusted.limits import LONGEST_SIDE
from pricing.words.condition import score_sentence
from tests.dashboards.pages import a_page, at_car, press, said
from tests.small_market import common_car


@pytest.fixture
def market(small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A market beside which sheets may be kept."""
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    monkeypatch.setenv("PRICING_MARKET", str(copy))
    return copy


@pytest.fixture
def started(market: Path, small_market: Market) -> AppTest:
    page = at_car(a_page("inspection"), common_car(small_market))
    assert [button.disabled for button in page.button if button.label == "Start"] == [True]
    page.selectbox(key="construction").select("monocoque").run()
    press(page, "Start")
    assert not page.exception
    return page


def name_of(page: AppTest) -> str:
    named = page.query_params["sheet"]
    return str(named[0] if isinstance(named, list) else named)


def kept(market: Path, page: AppTest) -> Any:
    return drafts.open_sheet(market, name_of(page), EXTENSIONS)


def test_nothing_is_kept_before_the_sheet_is_started(market: Path, small_market: Market) -> None:
    at_car(a_page("inspection"), common_car(small_market))
    assert not market.with_suffix(".inspections").exists()


def test_a_finding_is_kept_at_once_and_scored_as_the_library_scores_it(
    market: Path, started: AppTest
) -> None:
    car = kept(market, started).car
    check = kept(market, started).sheet.checks[0]
    started.button_group[2].set_value("worn").run()
    assert not started.exception
    inspection = kept(market, started)
    assert inspection.state(check.id) == "worn"
    assert inspection.car == car
    assert "1 of 5 seen here" in said(started)
    started.selectbox(key="area").select("structure").run()
    started.button_group[2].set_value("structural or missing").run()
    inspection = kept(market, started)
    (bar,) = started.get("progress")
    assert score_sentence(assess(inspection)) in bar.proto.text.replace("\\", "")


def test_a_half_done_sheet_comes_back_from_its_address_alone(market: Path, started: AppTest) -> None:
    started.button_group[2].set_value("needs repair").run()
    again = a_page("inspection")
    again.query_params["sheet"] = name_of(started)
    again.run()
    assert not again.exception
    answered = [group.value for group in again.button_group if str(group.key).startswith("state-")]
    assert answered[-1] == "needs repair" and set(answered[:-1]) == {"not seen"}  # the next one stands first
    assert "1 of 5 seen here" in said(again)


def test_what_it_says_is_the_librarys_and_is_carried_to_the_car(market: Path, started: AppTest) -> None:
    inspection = kept(market, started)
    inspection = inspection.record(inspection.sheet.checks[5].id, "structural or missing")
    drafts.keep_sheet(market, name_of(started), inspection)
    started.button_group[0].set_value("What it says").run()
    assert not started.exception
    result = assess(inspection)
    assert [metric.value for metric in started.metric][0] == f"{result.score:.0f}"
    assert score_sentence(result) in said(started)
    assert all(caution in said(started) for caution in result.cautions)
    press(started, f"Price the car at a score of {result.score:.0f}")
    assert started.session_state["condition_score"] == round(result.score)
    assert started.session_state["condition_band"] == result.band


def test_a_name_that_is_none_is_refused_and_reads_no_file(market: Path) -> None:
    page = a_page("inspection")
    page.query_params["sheet"] = "../../etc/passwd"
    page.run()
    assert not page.exception
    assert "The address names no inspection sheet" in said(page)


def test_a_photo_is_checked_made_smaller_and_stripped(market: Path, started: AppTest) -> None:
    large = Image.new("RGB", (4000, 3000), "red")
    exif = Image.Exif()
    exif[0x010E] = "taken at home"
    written = io.BytesIO()
    large.save(written, "JPEG", exif=exif)
    check = kept(market, started).sheet.checks[0]
    file = drafts.keep_photo(market, name_of(started), check.id, written.getvalue())
    path = drafts.photo(market, name_of(started), file)
    assert path is not None
    with Image.open(path) as photo:
        assert max(photo.size) == LONGEST_SIDE
        assert not photo.getexif()
    assert b"taken at home" not in path.read_bytes()


@pytest.mark.parametrize("content", [b"", b"GIF89a", b"\xff\xd8\xff and nothing more", b"\x89PNG\r\n\x1a\n"])
def test_what_is_no_photo_is_refused(market: Path, started: AppTest, content: bytes) -> None:
    with pytest.raises(FileError, match="photo"):
        drafts.keep_photo(market, name_of(started), "engine_smoke", content)
    assert not list(market.with_suffix(".inspections").rglob("*.jpg"))


def test_every_state_of_a_check_can_be_chosen(started: AppTest) -> None:
    assert tuple(started.button_group[2].options) == (*PAPER_STATES.values(), "not seen")
    started.selectbox(key="area").select("structure").run()
    assert tuple(started.button_group[2].options) == (*STATES, "not seen")


def test_a_sheet_is_a_file_of_the_command_line(market: Path, started: AppTest) -> None:
    path = drafts.sheet_folder(market, name_of(started)) / "inspection.json"
    assert json.loads(path.read_text())["format"] == "inspection 1"
