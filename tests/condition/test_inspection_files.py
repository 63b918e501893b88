import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.condition.checks import STATES, Sheet
from pricing.condition.inspection import Change, Finding, Inspection
from pricing.condition.inspection_files import open_inspection, read_findings, save, to_csv, to_json
from pricing.errors import CarError, FileError, InspectionError, PricingError
from tests.condition.walks import CAR, EXTENSIONS, walk, walks

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)


def half_done() -> Inspection:
    begun = Inspection.start("separate chassis", {**CAR, "options": ["overdrive"]}, fitted=["overdrive"])
    begun = begun.record(
        "body_paint", "worn", note="bonnet", photo="a.jpg", seen_by="A", seen_on=date(2026, 5, 1)
    )
    return replace(
        begun, changes=(Change("discs", "front_disc_brakes", done="well"),), preservation="original"
    )


def test_a_half_done_sheet_comes_back_whole(tmp_path: Path) -> None:
    save(half_done(), tmp_path / "car.json")
    assert open_inspection(tmp_path / "car.json") == half_done()


@settings(max_examples=25, deadline=None)
@given(walks(), TEXT, TEXT)
def test_any_inspection_comes_back_from_json_and_its_findings_from_csv(
    tmp_path_factory: pytest.TempPathFactory, found: Inspection, note: str, name: str
) -> None:
    found = found.fill([Finding("engine_smoke", "worn", note=note, seen_by=name)])
    folder = tmp_path_factory.mktemp("walk")
    save(found, folder / "car.json")
    save(found, folder / "car.csv")
    assert open_inspection(folder / "car.json") == found
    begun = Inspection.start(found.sheet.construction, CAR)
    filled = begun.fill(read_findings(folder / "car.csv"))
    assert filled.frame().equals(found.frame())


@pytest.mark.parametrize("note", ["=1+1", "+1", "-1", "@x", "'=1", "\t=x"])
def test_a_note_that_a_spreadsheet_would_run_is_quoted_and_comes_back(tmp_path: Path, note: str) -> None:
    found = walk().record("engine_smoke", "worn", note=note)
    assert not any(
        cell.startswith(("=", "+", "-", "@", "\t"))
        for line in to_csv(found).splitlines()
        for cell in line.split(",")
    )
    save(found, tmp_path / "car.csv")
    assert walk().fill(read_findings(tmp_path / "car.csv")).findings["engine_smoke"].note == note


def test_a_sheet_with_a_model_of_its_own_needs_its_extension(tmp_path: Path) -> None:
    begun = Inspection.start(
        "separate chassis", {"make": "Wexcombe", "model": "Sedge"}, extensions=EXTENSIONS
    )
    save(begun.record("sedge_third_gear", "worn"), tmp_path / "car.json")
    assert open_inspection(tmp_path / "car.json", extensions=EXTENSIONS).state("sedge_third_gear") == "worn"
    with pytest.raises(InspectionError, match="car.json: unknown check 'sedge_third_gear'"):
        open_inspection(tmp_path / "car.json")


def test_a_file_with_an_unknown_check_is_refused_with_its_name(tmp_path: Path) -> None:
    (tmp_path / "car.csv").write_text("check,state\nengine_moke,worn\n")
    with pytest.raises(InspectionError, match="unknown check 'engine_moke'"):
        walk().fill(read_findings(tmp_path / "car.csv"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"format": "other"}, "format should be 'inspection 1'; got 'other'"),
        ({"colour": 1}, "unknown key 'colour'"),
        ({"construction": "tubular"}, "unknown construction 'tubular'"),
        ({"construction": None}, "construction should be a text; got 'None'"),
        ({"fitted": [3]}, "fitted.0 should be a text; got '3'"),
        ({"car": []}, "car should be a table"),
        ({"car": {"year": "x"}}, "year unreadable: got 'x', expected a whole number"),
        ({"changes": [{"item": "x", "worth": 3}]}, "changes 1: unknown key 'worth'"),
        ({"preservation": "new"}, "unknown preservation 'new'"),
        ({"findings": {}}, "findings should be a list"),
        ({"findings": [3]}, "findings.0 should be a table; got '3'"),
        ({"findings": [{"check": "engine_smoke"}]}, "findings 'engine_smoke': state is missing"),
        ({"findings": [{"check": "engine_smoke", "state": "bad"}]}, "unknown state 'bad'"),
        ({"findings": [{"check": "x", "state": "worn"}]}, "unknown check 'x'"),
        ({"findings": [{"check": "x", "state": "worn"}] * 2}, "'x' stands there twice"),
        (
            {"findings": [{"check": "engine_smoke", "state": "worn", "seen_on": "today"}]},
            "seen_on: got 'today', expected a day",
        ),
        ({"findings": [{"check": ["x"], "state": "worn"}]}, "check"),
        ({"findings": [{"check": "engine_smoke", "state": ["worn"]}]}, "state should be a text"),
    ],
)
def test_a_file_that_makes_no_sense_is_refused_in_one_line(
    tmp_path: Path, change: dict[str, object], message: str
) -> None:
    content = {**json.loads(to_json(half_done())), **change}
    (tmp_path / "car.json").write_text(json.dumps(content))
    with pytest.raises((CarError, InspectionError), match=message) as caught:
        open_inspection(tmp_path / "car.json")
    assert "\n" not in str(caught.value)
    assert "car.json" in str(caught.value)


@settings(max_examples=60, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | TEXT,
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["format", "construction", "car", "findings", "check", "state", "changes", "item"]
                ),
                inner,
                max_size=5,
            )
        ),
        max_leaves=12,
    )
)
def test_no_json_brings_anything_but_a_refusal(
    tmp_path_factory: pytest.TempPathFactory, content: object
) -> None:
    base = json.loads(to_json(half_done()))
    path = tmp_path_factory.mktemp("walk") / "car.json"
    for key in base:
        path.write_text(json.dumps({**base, key: content}))
        try:
            open_inspection(path)
        except PricingError as error:
            assert "\n" not in str(error).strip()  # noqa: PT017


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("car.json", b"{", "cannot be read as JSON"),
        ("car.json", b"[" * 100_000, "cannot be read as JSON"),
        ("car.json", b"[]", "it should be a table"),
        ("car.json", b"\xff\xfe\x00", "not UTF-8"),
        ("car.csv", b"check;state\n", "the columns check and state are needed"),
        ("car.csv", b"check,state,colour\n", "unknown column 'colour'"),
        ("car.csv", b'check,state\n"x', "cannot be read as CSV"),
        ("car.csv", b"check,state\na,worn,c,d\n", "more cells than the header"),
        ("car.csv", b"", "the columns check and state are needed"),
    ],
)
def test_a_broken_file_is_refused_in_one_line(
    tmp_path: Path, name: str, content: bytes, message: str
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(PricingError, match=message):
        read_findings(tmp_path / name)


def test_a_blank_state_in_a_csv_file_is_not_seen(tmp_path: Path) -> None:
    (tmp_path / "car.csv").write_text(
        "\ufeffcheck,state,note\nengine_smoke,,\nbody_paint,worn,dull\n", "utf-8"
    )
    assert [finding.check for finding in read_findings(tmp_path / "car.csv")] == ["body_paint"]


def test_a_file_that_is_not_there_or_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="nowhere.json cannot be read"):
        open_inspection(tmp_path / "nowhere.json")
    with pytest.raises(FileError, match="cannot be written"):
        save(walk(), tmp_path / "no" / "car.json")
    with pytest.raises(FileError, match="saved as .json or .csv, got '.xlsx'"):
        save(walk(), tmp_path / "car.xlsx")


def test_a_csv_file_has_a_row_a_check() -> None:
    rows = to_csv(walk(state=STATES[1])).strip().splitlines()
    assert len(rows) == 1 + len(Sheet.open("separate chassis").checks)
