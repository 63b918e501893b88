"""The photographs of an appraisal record: which, in what order, what each shows, and which is on the cover.

A record names photographs by the digest of their bytes; the market keeps these once (``Market.photographs``).
An edit gives another tuple, as a record never changes.
"""

from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Annotated, Any, Final

from pydantic import ConfigDict, Strict, TypeAdapter, ValidationError, with_config

from pricing.errors import AppraisalError
from pricing.untrusted.photographs import ReadPhotograph
from pricing.validation import Day, sentence_of

MOST: Final = 60
"""Photographs of one appraisal."""

LONGEST_CAPTION: Final = 500
LONGEST_NAME: Final = 200


@with_config(ConfigDict(extra="forbid"))
@dataclass(frozen=True)
class Photograph:
    """A photograph of a record.

    Args:
        file: its plain file name; while ``digest`` is empty the file that is still to be read.
        digest: SHA-256 of its bytes, hexadecimal.
        caption: what it shows, in a person's words.
        check: the check of the inspection sheet whose finding it shows, or nothing.
        cover: whether it is the one on the cover.
        chassis: the chassis number of the car that it was taken in for, where the record had one then.
        taken_on: the day by the camera's clock, where it wrote one.
        removed: what the file tells beside the picture and what is shown does not.
    """

    file: str
    digest: str = ""
    caption: str = ""
    check: str = ""
    cover: Annotated[bool, Strict()] = False
    chassis: str = ""
    taken_on: Day | None = None
    removed: tuple[str, ...] = ()


Photographs = tuple[Photograph, ...]
_PHOTOGRAPHS: Final = TypeAdapter(Photographs)


def read_photographs(rows: object) -> Photographs:
    """Photographs from tables of plain values, as TOML and JSON have them.

    >>> read_photographs([{"file": "front.jpg", "caption": "From the front", "cover": True}])[0].caption
    'From the front'
    >>> read_photographs([{"file": "front.jpg", "title": "From the front"}])
    Traceback (most recent call last):
    pricing.errors.AppraisalError: photograph 'front.jpg': unknown key 'title'

    Raises:
        AppraisalError: an answer is of the wrong kind, two are the same or both on the cover, or there are
            too many.
    """
    try:
        return settled(_PHOTOGRAPHS.validate_python(rows))
    except ValidationError as error:
        raise AppraisalError(sentence_of(error, rows, named_by="file", within="photograph")) from None


def with_added(
    photographs: Photographs, read: ReadPhotograph, file: str, *, chassis: str = "", **words: Any
) -> Photographs:
    """Photographs and one more, last; ``words``: ``caption``, ``check``, ``cover``.

    Raises:
        AppraisalError: it is there already, there are too many, or a word is too long.
    """
    one = Photograph(
        plain_name(file), read.digest, chassis=chassis, taken_on=read.taken_on, removed=read.removed
    )
    return with_changes((*photographs, one), len(photographs) + 1, **words)


def with_changes(
    photographs: Photographs, number: int, *, place: int | None = None, **words: Any
) -> Photographs:
    """Photographs with other words for one, by its number from 1; ``words``: ``caption``, ``check``,
    ``cover`` (which takes it off any other) and ``chassis``. ``place`` is the number that it is to have.

    >>> two = (Photograph("a.jpg", "1", cover=True), Photograph("b.jpg", "2"))
    >>> [(shot.file, shot.cover) for shot in with_changes(two, 2, cover=True, place=1)]
    [('b.jpg', True), ('a.jpg', False)]

    Raises:
        AppraisalError: there is no such number or place, or a word is too long.
    """
    changed = replace(at(photographs, number), **{k: v for k, v in words.items() if v is not None})
    others = list(without(photographs, number))
    if words.get("cover"):
        others = [replace(shot, cover=False) for shot in others]
    wanted = number if place is None else place
    if not 1 <= wanted <= len(photographs):
        raise AppraisalError(f"place {wanted}: there are {len(photographs)} photographs, numbered from 1")
    others.insert(wanted - 1, changed)
    return settled(tuple(others))


def without(photographs: Photographs, number: int) -> Photographs:
    """Photographs without one, by its number from 1. Raises ``AppraisalError`` when there is no such."""
    gone = at(photographs, number)
    return tuple(shot for shot in photographs if shot is not gone)


def at(photographs: Photographs, number: int) -> Photograph:
    """The photograph of a number, from 1. Raises ``AppraisalError`` when there is none."""
    if not photographs:
        raise AppraisalError("the appraisal has no photographs: add one first")
    if not 1 <= number <= len(photographs):
        raise AppraisalError(f"no photograph {number}: the appraisal has 1 to {len(photographs)}")
    return photographs[number - 1]


def on_cover(photographs: Photographs) -> int | None:
    """The number of the photograph that is on the cover, if one is."""
    return next((number for number, shot in enumerate(photographs, 1) if shot.cover), None)


def settled(photographs: Photographs) -> Photographs:
    """Photographs that agree with one another. Raises ``AppraisalError`` for others."""
    if len(photographs) > MOST:
        raise AppraisalError(f"an appraisal holds {MOST} photographs at most: leave some out")
    if sum(shot.cover for shot in photographs) > 1:
        raise AppraisalError("two photographs are said to be on the cover: choose one")
    known: dict[str, int] = {}
    for number, shot in enumerate(photographs, 1):
        for name, most in (("caption", LONGEST_CAPTION), ("file", 4_000), ("check", 100), ("chassis", 200)):
            if len(getattr(shot, name)) > most:
                raise AppraisalError(f"photograph {number}: its {name} has more than {most} characters")
        if not shot.digest and not shot.file:
            raise AppraisalError(f"photograph {number}: name its file")
        if shot.digest and shot.digest in known:
            raise AppraisalError(
                f"{shot.file} is photograph {known[shot.digest]} already: the same bytes are shown once"
            )
        known[shot.digest] = number
    return photographs


def plain_name(file: str) -> str:
    """The name of a file without folders and what acts unseen.

    >>> plain_name("C:\\\\car\\\\sill.jpg"), plain_name("/home/a/sill\\u202e.jpg"), plain_name("")
    ('sill.jpg', 'sill.jpg', 'photograph')
    """
    name = PurePath(file.replace("\\", "/")).name
    printable = "".join(letter for letter in name if letter.isprintable())
    return printable[-LONGEST_NAME:] or "photograph"
