"""Photographs of appraisals between files and a market: read from files that a person names, written out as
they came."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pricing.appraisal.record.photographs import (
    MOST,
    Photograph,
    Photographs,
    plain_name,
    settled,
    with_added,
)
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry, taken_in_for
from pricing.decisions.plain import plain
from pricing.errors import AppraisalError, FileError
from pricing.store.market import Market
from pricing.untrusted.files import bounded_bytes
from pricing.untrusted.photographs import LARGEST, SUFFIXES, ReadPhotograph, read_photograph

MOST_AT_ONCE = 1_000_000_000
"""Bytes of all photographs that one list of cars brings: they are in memory until all rows are entered."""

_PICTURES = (".jpg", ".jpeg", ".png")


def read_file(path: Path) -> ReadPhotograph:
    """A photograph from a file. Raises ``FileError`` when it is none, or too large."""
    return read_photograph(bounded_bytes(path, LARGEST), path.name)


def taken_in(record: Appraisal, market: Market) -> tuple[Appraisal, list[ReadPhotograph]]:
    """A record whose photographs' files are read, and what was read of them.

    Raises:
        FileError: a file cannot be read, or is no photograph.
        AppraisalError: two of them are the same.
    """
    read, shots = [], []
    for shot in record.photographs:
        if not shot.digest:
            one = read_file(Path(shot.file))
            read.append(one)
            own = record.subject.chassis_number
            chassis = shot.chassis or taken_in_for(market, one.digest, own)
            shot = replace(shot, file=plain_name(shot.file), digest=one.digest, chassis=chassis)
        shots.append(shot)
    return replace(record, photographs=settled(tuple(shots))), read


def folder_reader(market: Market) -> Callable[[Appraisal, str], tuple[Appraisal, list[ReadPhotograph]]]:
    """Takes the photographs of a folder into a record, in order of name, the first on the cover; of all the
    folders that it is asked for ``MOST_AT_ONCE`` bytes at most."""
    left = MOST_AT_ONCE

    def take_in(record: Appraisal, folder: str) -> tuple[Appraisal, list[ReadPhotograph]]:
        nonlocal left
        try:
            files = sorted(each for each in Path(folder).iterdir() if each.suffix.lower() in _PICTURES)
        except OSError as error:
            raise FileError(
                f"{folder} cannot be read ({error.strerror}): name a folder of photographs"
            ) from None
        if not 0 < len(files) <= MOST:
            raise AppraisalError(
                f"{folder} has {len(files)} JPEG or PNG files; expected 1 to {MOST} photographs of the car"
            )
        shots = tuple(Photograph(str(file), cover=not nth) for nth, file in enumerate(files))
        with_them, read = taken_in(replace(record, photographs=shots), market)
        left -= sum(len(one.content) for one in read)
        if left < 0:
            raise AppraisalError(
                f"the photographs of one list have {MOST_AT_ONCE // 1_000_000:,} MB at most, and {folder} is "
                "beyond that: value its row and those after it in a list of their own"
            )
        return with_them, read

    return take_in


def of_sheet(entry: Entry) -> dict[str, Path]:
    """The photographs that an entry's inspection sheet names and that lie beside it, by check."""
    record, evidence = entry.record, entry.evidence
    findings = None if evidence is None else evidence.findings
    if findings is None or not record.inspection.sheet or "check" not in findings.sheet.columns:
        return {}
    folder = Path(record.inspection.sheet).parent
    named = findings.sheet.select("check", "photo").iter_rows()
    return {check: folder / Path(photo).name for check, photo in named if photo}


def with_those_of_sheet(entry: Entry) -> tuple[Photographs, list[ReadPhotograph]]:
    """The photographs of an entry and those of its sheet, each tied to its finding; one that is there already
    is passed over. They come without what cameras wrote: the sheet keeps none of it.

    Raises:
        FileError: one cannot be read, or is no photograph.
    """
    shots, read = entry.record.photographs, []
    for check, path in of_sheet(entry).items():
        one = read_file(path)
        if one.digest not in {shot.digest for shot in shots}:
            read.append(one)
            own = entry.record.subject.chassis_number
            shots = with_added(shots, one, path.name, chassis=own, check=check)
    return shots, read


def photograph_facts(market: Market, record: Appraisal) -> list[dict[str, Any]]:
    """What programs are told of the photographs of a record, in order: number, what the record says, kind,
    width and height (pixels, upright) and size (bytes)."""
    described = market.photographs.described([shot.digest for shot in record.photographs])
    kept = {row["digest"]: row for row in described.iter_rows(named=True)}
    return [
        {"number": number, **shot}
        | {name: kept[shot["digest"]][name] for name in ("kind", "width", "height", "size")}
        for number, shot in enumerate(plain(record.photographs), 1)
    ]


def write_originals(
    market: Market, photographs: Sequence[tuple[int, Photograph]], folder: Path
) -> list[Path]:
    """Write photographs as they came, byte for byte, into a folder, each named by its number and file; none
    is written over another file.

    Raises:
        FileError: there is a file of that name, or it cannot be written.
        MarketError: one was altered.
    """
    described = market.photographs.described([shot.digest for _, shot in photographs])
    kinds = dict(described.select("digest", "kind").iter_rows())
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, shot in photographs:
            path = folder / original_name(number, shot, kinds[shot.digest])
            content = market.photographs.original(shot.digest)
            with path.open("xb") as file:
                file.write(content)
            written.append(path)
    except FileExistsError as error:
        raise FileError(
            f"{error.filename}: there is a file of that name already; name another folder"
        ) from None
    except OSError as error:
        raise FileError(f"{folder}: cannot be written to: {error.strerror}") from None
    return written


def original_name(number: int, shot: Photograph, kind: str) -> str:
    """The name of a photograph that is handed out: its number, and its file's name with the ending of its
    kind.

    >>> from pricing.appraisal.record.photographs import Photograph
    >>> original_name(3, Photograph("sill left.JPG"), "JPEG"), original_name(12, Photograph("a:b"), "PNG")
    ('03 sill left.jpg', '12 a_b.png')
    """
    stem = Path(shot.file).stem or "photograph"
    plain = "".join(letter if letter.isalnum() or letter in " .-_()" else "_" for letter in stem)
    return f"{number:02d} {plain[:80].strip(' .')}{SUFFIXES[kind]}"
