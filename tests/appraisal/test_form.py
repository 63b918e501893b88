from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from data_demo import sheets
from pricing.appraisal.contents import missing
from pricing.appraisal.evidence import wanting
from pricing.appraisal.record.form import form_text, read_form, write_form
from pricing.appraisal.record.record import Appraisal, read_record
from pricing.appraisal.record.sections import Assignment
from pricing.condition.assessment import assess
from pricing.condition.inspection_files import open_inspection
from pricing.errors import AppraisalError, FileError
from pricing.evidence.comparison.choices import Choice
from tests.appraisal.test_record import contents
from tests.appraisals import HOSTILE

DEMO = sheets().parent / "appraisals" / "wexcombe_sedge.toml"


@settings(max_examples=30)
@given(contents())
def test_a_form_holds_the_whole_record(content: dict[str, Any]) -> None:
    import tomllib

    content["valuer"] |= {"completed_on": None, "certification": {}}  # acts, which stand in no form
    record = read_record(content)
    record = replace(record, choices=(Choice("r-1", "adjust", 'in "haste"\nand', "date", -8.5),))
    assert read_record(tomllib.loads(form_text(record))) == record


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_stays_what_it_is_in_a_form(text: str, tmp_path: Path) -> None:
    record = Appraisal(assignment=Assignment(client=text.strip(), scope=f"{text}\n\n{text}".strip()))
    write_form(record, tmp_path / "car.toml")
    assert read_form(tmp_path / "car.toml") == record


@pytest.mark.parametrize("name", ["two\nlines", "", 'a "quoted" one', "a.b", "\u00e9", "\x7f"])
def test_any_name_of_an_identity_field_is_kept(name: str, tmp_path: Path) -> None:
    record = read_record({"subject": {"established": {name: "seen"}}})
    write_form(record, tmp_path / "car.toml")
    assert read_form(tmp_path / "car.toml") == record


def test_a_blank_form_asks_every_question_and_answers_none(tmp_path: Path) -> None:
    write_form(Appraisal(), tmp_path / "blank.toml")
    text = (tmp_path / "blank.toml").read_text(encoding="utf-8")
    assert read_form(tmp_path / "blank.toml") == Appraisal()
    for asked in ("who the valuation is for", "one of: auction hammer, auction all-in, dealer, private"):
        assert asked in text


def test_a_choice_in_a_form_has_a_share_with_decimals(tmp_path: Path) -> None:
    lines = ['record_id = "r-1"', 'action = "weigh"', 'reason = "seen"', "per_cent = 62.5"]
    (tmp_path / "car.toml").write_text("\n".join(["[[choice]]", *lines]), encoding="utf-8")
    assert [choice.per_cent for choice in read_form(tmp_path / "car.toml").choices] == [62.5]


def test_files_are_named_from_the_folder_of_the_form(tmp_path: Path) -> None:
    (tmp_path / "car.toml").write_text('[inspection]\nsheet = "walk.json"\n', encoding="utf-8")
    assert read_form(tmp_path / "car.toml").inspection.sheet == str(tmp_path.resolve() / "walk.json")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[assignment", "cannot be read as TOML"),
        (b"\xff\xfe\x00", "not UTF-8 text"),
        (b"a = [" + b"[" * 5_000, "cannot be read as TOML"),
        (b"[assignment]\nclient = 7\n", "assignment.client: got 7, expected a text"),
        (b"x = 1\n", r"no section \[x\]"),
        (b"#" * 2_000_001, "at most 2,000,000 are read"),
    ],
)
def test_a_broken_form_is_refused_in_one_line(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "car.toml"
    path.write_bytes(content)
    with pytest.raises((AppraisalError, FileError), match=words) as refused:
        read_form(path)
    assert str(path) in str(refused.value)


def test_a_form_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="there is no form .*none.toml"):
        read_form(tmp_path / "none.toml")


def test_the_example_form_is_complete_but_for_the_evidence() -> None:
    record = read_form(DEMO)
    assert [content.name for content in missing(record, None)] == ["market evidence"]
    assert wanting(record) == []
    assert not record.completed
    seen = open_inspection(Path(record.inspection.sheet), extensions=sheets())
    assert assess(seen).band == "average"
    assert Path(record.repairs.catalogue).is_file()
