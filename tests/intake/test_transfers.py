"""Uploads are bounded, held against their kind, and gone afterwards."""

import io
import zipfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.errors import FileError, MappingError
from pricing.intake import transfers
from pricing.intake.transfers import packed, received


def parquet() -> bytes:
    written = io.BytesIO()
    pl.DataFrame({"make": ["Corvane"]}).write_parquet(written)
    return written.getvalue()


def workbook() -> bytes:
    written = io.BytesIO()
    pl.DataFrame({"make": ["Corvane"]}).write_excel(written)
    return written.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b"make\nCorvane\n"),
        ("a.CSV", "make\nMaladie\n".encode("utf-16")),
        ("a.jsonl", b'{"make": "Corvane"}\n'),
        ("a.html", b"<!doctype html><p>"),
        ("a.parquet", parquet()),
        ("a.xlsx", workbook()),
    ],
)
def test_an_upload_is_a_file_for_as_long_as_it_is_read(name: str, content: bytes) -> None:
    with received(name, content) as path:
        assert path.name == name
        assert path.read_bytes() == content
        (path.parent / "beside.toml").write_text("source = 'a'")
    assert not path.parent.exists()


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.exe", b"MZ", "of no kind that can be read"),
        ("csv", b"make", "of no kind that can be read"),
        ("a.csv", b"", "a.csv is empty"),
        ("a.csv", workbook(), "csv is text, and this is not"),
        ("a.txt", parquet(), "txt is text, and this is not"),
        ("a.html", b"%PDF-1.7", "html is text, and this is not"),
        ("a.jsonl", b"{\0}", "jsonl is text, and this is not"),
        ("a.xlsx", b"make,model", "does not begin like xlsx"),
        ("a.parquet", workbook(), "does not begin like parquet"),
    ],
)
def test_what_is_not_what_it_says_is_refused(name: str, content: bytes, message: str) -> None:
    with pytest.raises(FileError, match=message), received(name, content):
        pass


def test_an_upload_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(transfers, "LARGEST_UPLOAD", 4)
    with received("a.csv", b"make"):
        pass
    with pytest.raises(FileError, match="has 5 bytes and an upload at most 4"), received("a.csv", b"makes"):
        pass


def test_errors_do_not_show_where_it_was_kept() -> None:
    with pytest.raises(MappingError, match="^a.csv: odd$") as raised, received("a.csv", b"make") as path:
        raise MappingError(f"{path}: odd")
    assert not path.parent.exists()
    assert "odd" in str(raised.value)


@given(st.text(max_size=300))
def test_no_name_leaves_the_folder(name: str) -> None:
    with received(f"{name}.csv", b"make") as path:
        assert path.resolve().parent == path.parent.resolve()
        assert path.suffix == ".csv"
    assert not path.exists()


def test_a_folder_goes_out_whole(tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text("make")
    (tmp_path / "a.toml").write_text("source")
    with zipfile.ZipFile(io.BytesIO(packed(tmp_path))) as archive:
        assert archive.namelist() == ["a.toml", "b.csv"]
        assert archive.read("b.csv") == b"make"
