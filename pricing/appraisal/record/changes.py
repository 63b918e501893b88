"""What differs between two records, field by field, as the log of an appraisal tells it."""

import json
from collections.abc import Mapping
from typing import Any

from pricing.appraisal.record.record import Appraisal, plain_record
from pricing.store.kept.appraisals import FieldChange


def changes(before: Appraisal, after: Appraisal) -> list[FieldChange]:
    """The fields in which two records differ, as text: what each was and is.

    >>> from pricing.appraisal.record.record import with_answer
    >>> changes(Appraisal(), with_answer(Appraisal(), "subject.year", "1966"))
    [('subject.year', '', '1966')]
    """
    old, new = _flat(_listed_photographs(before)), _flat(_listed_photographs(after))
    names = dict.fromkeys((*old, *new))
    return [
        (name, old.get(name, ""), new.get(name, ""))
        for name in names
        if old.get(name, "") != new.get(name, "")
    ]


def _listed_photographs(record: Appraisal) -> dict[str, Any]:
    """The record as plain values, each photograph a field of its own that says which it is."""
    lines = {
        shot.digest[:12]: [str(number), shot.file, shot.caption, shot.check, "cover" if shot.cover else ""]
        for number, shot in enumerate(record.photographs, 1)
    }
    named = {digest: "; ".join(part for part in parts if part) for digest, parts in lines.items()}
    return {**plain_record(record), "photograph": named}


def _flat(content: Mapping[str, Any], front: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for name, value in content.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{front}{name}.")
        elif isinstance(value, list):
            shown = [part if isinstance(part, str) else json.dumps(part, sort_keys=True) for part in value]
            flat[f"{front}{name}"] = "; ".join(shown)
        else:
            flat[f"{front}{name}"] = "" if value is None else str(value)
    return flat
