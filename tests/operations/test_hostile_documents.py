"""Small documents and archives that strangers might send, at each function that reads one."""

import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pricing.appraisal.record.form import read_form
from pricing.condition.catalogue import Catalogue
from pricing.condition.inspection_files import open_inspection, read_findings
from pricing.errors import FileError, PricingError
from pricing.intake.mappings.mapping_files import mapping_beside, parse_mapping, read_mapping
from pricing.intake.tables.readers import read_whole
from pricing.money.charges import read_schedule
from pricing.operations.backups import FORMAT, back_up, restore
from pricing.operations.configuration import read_file
from pricing.operations.drafts import keep_photo, new_name, sheet_folder


def _restore(path: Path) -> object:
    return restore(path, path.parent / "restored.duckdb")


DOORS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "mapping": ("toml", read_mapping),
    "schedule": ("toml", read_schedule),
    "form": ("toml", read_form),
    "catalogue": ("toml", Catalogue.open),
    "configuration": ("toml", read_file),
    "inspection": ("json", open_inspection),
    "findings": ("csv", read_findings),
    "archive": ("zip", _restore),
    "records": ("csv", read_whole),
}
WRONG: dict[str, Callable[[Path], object]] = {
    "pipe": os.mkfifo,
    "device": lambda path: path.symlink_to("/dev/zero"),
    "folder": Path.mkdir,
    "deep": lambda path: path.write_text("a = " + "[" * 60_000),
    "deep and closed": lambda path: path.write_text("a = " + "[" * 400 + "]" * 400),
    "long number": lambda path: path.write_text("a = " + "9" * 5000),
    "no text": lambda path: path.write_bytes(b'source = "\xe9\xff'),
    "cut UTF-16": lambda path: path.write_bytes("source = 1".encode("utf-16")[:-1]),
    "nothing": Path.touch,
}


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_document_is_one_sentence(tmp_path: Path, door: str, wrong: str) -> None:
    ending, read = DOORS[door]
    path = tmp_path / f"a.{ending}"
    WRONG[wrong](path)
    if (door, wrong) in (("form", "nothing"), ("configuration", "nothing")):
        read(path)
        return
    with pytest.raises(PricingError) as caught:
        read(path)
    assert "\n" not in str(caught.value)
    assert f"a.{ending}" in str(caught.value)
    assert not (tmp_path / "restored.duckdb").exists()


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("name", ["x" * 300, "a\0b", os.fsdecode(b"caf\xe9 absent"), "none"])
def test_a_name_that_no_file_can_have_is_one_sentence(tmp_path: Path, door: str, name: str) -> None:
    ending, read = DOORS[door]
    with pytest.raises(PricingError) as caught:
        read(tmp_path / f"{name}.{ending}")
    str(caught.value).encode()  # says nothing that cannot be written


def test_a_file_whose_name_is_no_utf8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"caf\xe9.csv")
    path.write_text("make,model\nCorvane,Estelle\n")
    with pytest.raises(FileError, match="its name is not UTF-8"):
        read_whole(path)


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "1e400", '"NaN"', "true"])
@pytest.mark.parametrize("place", ["rate = {}", "rate = 0.1, up_to = {}"])
def test_charges_that_are_no_numbers_are_refused(number: str, place: str) -> None:
    tier = place.format(number)
    text = f'source = "hall"\n[[premium]]\nfrom = 2020-01-01\ncurrency = "EUR"\ntiers = [{{ {tier} }}]\n'
    with pytest.raises(PricingError):
        parse_mapping(text)


def test_a_mapping_that_a_link_leads_out_to_is_not_taken(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (tmp_path / "secret.toml").write_text('source = "hall"')
    (folder / "a.csv.mapping.toml").symlink_to(tmp_path / "secret.toml")
    assert mapping_beside(folder / "a.csv") is None
    assert mapping_beside(folder / ("x" * 250 + ".csv")) is None


def _archive(path: Path, manifest: Any, **files: bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.json", manifest if isinstance(manifest, bytes) else json.dumps(manifest))
        for name, content in files.items():
            archive.writestr(f"{name}.duckdb", content)
    return path


@pytest.mark.parametrize(
    ("manifest", "message"),
    [
        (b"{", "no whole backup"),
        (b"[" * 100_000, "nested too deeply|no whole backup"),
        ([], "no JSON object"),
        ({"format": "other"}, "format is 'other'"),
        ({"format": FORMAT, "digest": "x", "files": {"market.duckdb": "x"}}, "lacks the time"),
        ({"format": FORMAT, "made_at": "x", "digest": "x", "files": {}}, "names no market"),
        ({"format": FORMAT, "made_at": "x", "digest": 1, "files": {"market.duckdb": "x"}}, "lacks the time"),
        (
            {"format": FORMAT, "made_at": "x", "digest": "x", "files": {"market.duckdb": "x", "../a": "x"}},
            "names a file '../a'",
        ),
        (
            {"format": FORMAT, "made_at": "x", "digest": "x", "files": {"market.duckdb": "x"}},
            "does not match its digest",
        ),
        (
            {"format": FORMAT, "made_at": "", "digest": "", "files": {"market.duckdb": "", "x": ""}},
            "names a file 'x'",
        ),
    ],
)  # fmt: skip
def test_a_manifest_is_looked_at_before_anything_is_done(tmp_path: Path, manifest: Any, message: str) -> None:
    path = _archive(tmp_path / "a.zip", manifest, market=b"no market")
    with pytest.raises(FileError, match=message):
        restore(path, tmp_path / "market.duckdb")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.zip"]


def test_an_archive_that_would_fill_the_disk_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    manifest = {"format": FORMAT, "made_at": "x", "digest": "x", "files": {"market.duckdb": "x"}}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.json", json.dumps(manifest))
        with archive.open("market.duckdb", "w", force_zip64=True) as part:
            for _ in range(400):
                part.write(bytes(1 << 20))
    with pytest.raises(FileError, match="unpacks to 419,430,400 bytes"):
        restore(path, tmp_path / "market.duckdb")


def test_a_damaged_archive_is_one_sentence(small_market: Any, tmp_path: Path) -> None:
    good = back_up(small_market.path, tmp_path / "a.zip").path.read_bytes()
    for place in range(200, len(good) - 100, len(good) // 12):
        damaged = bytearray(good)
        damaged[place : place + 30] = bytes(30)
        (tmp_path / "b.zip").write_bytes(damaged)
        with pytest.raises(FileError, match="b.zip"):
            restore(tmp_path / "b.zip", tmp_path / "restored.duckdb")
    assert not (tmp_path / "restored.duckdb").exists()


@pytest.mark.parametrize(
    "content",
    [
        b"\xff\xd8\xff",
        b"\xff\xd8\xff" + b"\xff\xc0\x00\x11" * 1000,
        b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\xff\xff\xff\xff\xff\xff\xff\xff\x08\x02",
        b"\x89PNG\r\n\x1a\n" + b"\x00" * 100,
        b"RIFF\x00\x00\x00\x00WEBPVP8 \xff\xff\xff\xff",
        b"\xff\xd8\xff\xe1\xff\xffExif\x00\x00II*\x00" + b"\xff" * 65_600 + b"\xff\xd9",
    ],
)
def test_a_photo_with_a_damaged_head_is_one_sentence(tmp_path: Path, content: bytes) -> None:
    market, name = tmp_path / "market.duckdb", new_name()
    sheet_folder(market, name).mkdir(parents=True)
    with pytest.raises(FileError, match="the photo") as caught:
        keep_photo(market, name, "body_paint", content)
    assert "\n" not in str(caught.value)
