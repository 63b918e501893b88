"""The record as a form: a TOML file that a person fills in, with every question beside its answer."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Final

from pricing.appraisal.record.record import Appraisal, plain_record, read_record
from pricing.appraisal.record.sections import QUESTIONS, is_act
from pricing.errors import AppraisalError, FileError
from pricing.toml_text import toml_line
from pricing.untrusted.documents import read_toml
from pricing.whole_files import write_whole

LARGEST_FORM: Final = 2_000_000
"""Bytes."""

NAMED_FILES: Final = (("inspection", "sheet"), ("repairs", "catalogue"))
"""Answers that name a file, told from the folder of the form."""

_OF_PHOTOGRAPH: Final = ("file", "digest", "caption", "check", "cover", "chassis")
"""What a form says of a photograph; the rest is told by its bytes."""

_HEAD: Final = """\
# A form for one appraisal. Fill in what is known; leave the rest empty. Days are written 2026-06-30, amounts
# 12500 or 12500.50. `pricing appraise check` says what is missing. How each identity field was established
# goes into [subject.established], and every sale chosen by hand into a table of its own:
# [[choice]]
# record_id = ""
# action = "drop"       # add, drop or adjust
# reason = ""
# A photograph (JPEG or PNG) is a table too; its file is told from the folder of this form:
# [[photograph]]
# file = "front.jpg"
# caption = "From the front"
# check = ""            # the check of the inspection sheet whose finding it shows
# cover = true          # one of them is on the cover
"""


def read_form(path: Path) -> Appraisal:
    """The record that a form holds; the files it names are found from the form's folder.

    Raises:
        FileError: it cannot be read as TOML.
        AppraisalError: a section, field or answer makes no sense; the message names it.
    """
    if not os.path.lexists(path):
        raise FileError(
            f"there is no form {path}: `pricing appraise new {path} --blank` writes a blank one to fill in"
        )
    content = read_toml(path, most=LARGEST_FORM, decimals=True)
    for section, table in content.items():
        for name in table if isinstance(table, dict) else ():
            if is_act(section, name):
                raise AppraisalError(
                    f"{path}: {section}.{name} is not a field to fill in: only completing the appraisal "
                    "writes it"
                )
    try:
        record = read_record(content)
    except AppraisalError as error:
        raise AppraisalError(f"{path}: {error}") from None
    for section, field in NAMED_FILES:
        answers = getattr(record, section)
        if getattr(answers, field):
            whole = str((path.parent / getattr(answers, field)).resolve())
            record = replace(record, **{section: replace(answers, **{field: whole})})
    unread = tuple(
        shot if shot.digest else replace(shot, file=str((path.parent / shot.file).resolve()))
        for shot in record.photographs
    )
    return replace(record, photographs=unread)


def write_form(record: Appraisal, path: Path) -> None:
    """Write a record as a form, whole or not at all. Raises ``FileError``."""
    write_whole(path, form_text(record).encode())


def form_text(record: Appraisal) -> str:
    """A record as the text of a form.

    >>> import tomllib
    >>> text = form_text(read_record({"assignment": {"client": "A. \\"B\\" Client", "currency": "GBP"}}))
    >>> read_record(tomllib.loads(text)).assignment.client
    'A. "B" Client'
    """
    content = plain_record(record)
    parts = [_HEAD]
    for name, questions in QUESTIONS.items():
        lines = [f"\n[{name}]"]
        for field, part in questions.items():
            question = part.metadata
            if question["kind"] == "how" or question["act"]:
                continue
            answer = getattr(getattr(record, name), field)
            allowed = f"; one of: {', '.join(question['allowed'])}" if question["allowed"] else ""
            lines.append(f"# {question['asks']}{allowed}")
            lines.append(f"# {field} =" if answer is None else toml_line(field, answer).rstrip("\n"))
        parts.append("\n".join(lines) + "\n")
        if name == "subject":
            how = content[name]["established"]
            parts.append("\n[subject.established]\n" + "".join(map(toml_line, how, how.values())))
    for choice in content["choice"]:
        rows = "".join(toml_line(key, value) for key, value in choice.items() if value is not None)
        parts.append(f"\n[[choice]]\n{rows}")
    for shot in content["photograph"]:
        rows = "".join(toml_line(name, shot[name]) for name in _OF_PHOTOGRAPH)
        parts.append(f"\n[[photograph]]\n{rows}")
    return "".join(parts)
