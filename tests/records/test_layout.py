"""The layout of a file of sale records tells what the contract holds, and its example is a record."""

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pricing.errors import FileError
from pricing.intake.tables.readers import read_whole
from pricing.records.contract import COLUMNS, REQUIRED, check
from pricing.records.layout import MADE_BY_THE_STORE, record_layout
from pricing.reports.template import write_template


def test_every_column_that_a_person_fills_in_is_told() -> None:
    named = [column.name for column in record_layout()]
    assert sorted([*named, *MADE_BY_THE_STORE]) == sorted(COLUMNS)
    assert {column.name for column in record_layout() if column.required} == set(REQUIRED) - set(
        MADE_BY_THE_STORE
    )


def test_the_example_is_a_record() -> None:
    row = {column.name: column.example for column in record_layout()}
    made = {"record_id": "r", "batch_id": "b", "source": "s", "source_ref": "1"}
    assert check(pl.DataFrame([row | made]), date(2025, 1, 1)).rejected.is_empty()


def test_a_word_of_a_closed_list_is_one_that_the_contract_takes() -> None:
    row = {column.name: column.example for column in record_layout()}
    made = {"record_id": "r", "batch_id": "b", "source": "s", "source_ref": "1"}
    for column in record_layout():
        for word in column.words:
            broken = check(pl.DataFrame([row | made | {column.name: word}]), date(2025, 1, 1)).rejected[
                "broken_rules"
            ]
            assert not any(f"{column.name}_unknown" in rules for rules in broken.to_list())


@pytest.mark.parametrize("name", ["sales.csv", "sales.xlsx"])
def test_a_template_has_the_columns_and_is_never_written_over(tmp_path: Path, name: str) -> None:
    write_template(tmp_path / name)
    with pytest.raises(FileError, match="is there already"):
        write_template(tmp_path / name)
    with pytest.raises(FileError, match="holds no rows|header and no rows"):
        read_whole(tmp_path / name)


def test_a_template_of_another_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="a csv or an xlsx"):
        write_template(tmp_path / "sales.doc")
