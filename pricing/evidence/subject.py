"""The car whose value is asked for, as a row that sales can be held against."""

from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from pricing.errors import EvidenceError
from pricing.records.contract import Contract
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, DRIVE_SIDES, MATCHING_NUMBERS, OPTION_CODES

REQUIRED: Final = ("make", "model", "year")

COLUMNS: Final = (
    *REQUIRED, "variant", "chassis_number", "body_style", "drive_side", "condition_band", "condition_score",
    "odometer_km", "options", "matching_numbers", "history_file", "channel", "country",
)  # fmt: skip

_LISTS: Final = {
    "condition_band": CONDITION_BANDS,
    "drive_side": DRIVE_SIDES,
    "matching_numbers": MATCHING_NUMBERS,
    "channel": CHANNELS,
}
_TYPES: Final = {name: kind for name, kind in pl.Schema(Contract).items() if name in COLUMNS}


def subject_frame(car: Mapping[str, Any]) -> pl.DataFrame:
    """One row with ``COLUMNS``, null where nothing is said.

    Raises:
        EvidenceError: make, model or year is missing, or a value cannot be what its column holds.

    >>> subject_frame({"make": "Corvane", "model": "Six", "year": 1968})["options"].to_list()
    [[]]
    >>> subject_frame({"make": "Corvane", "model": "Six"})
    Traceback (most recent call last):
    pricing.errors.EvidenceError: a subject needs make, model and year; missing: year
    """
    unknown = sorted(set(car) - set(COLUMNS))
    if unknown:
        raise EvidenceError(f"a subject has no {', '.join(unknown)}; it has: {', '.join(COLUMNS)}")
    absent = [name for name in REQUIRED if car.get(name) in (None, "")]
    if absent:
        raise EvidenceError(f"a subject needs make, model and year; missing: {', '.join(absent)}")
    for name, allowed in _LISTS.items():
        if car.get(name) is not None and car[name] not in allowed:
            raise EvidenceError(f"{name} is one of {', '.join(allowed)}; got {car[name]!r}")
    options = car.get("options")
    listed = [] if options is None else list(options)
    strange = [code for code in listed if code not in OPTION_CODES]
    if strange:
        raise EvidenceError(f"no option {strange[0]!r}; options are: {', '.join(OPTION_CODES)}")
    score = car.get("condition_score")
    if score is not None and not 0 <= float(score) <= 100:
        raise EvidenceError(f"a condition score lies between 0 and 100; got {score}")
    try:
        return pl.DataFrame(
            [{**{name: car.get(name) for name in COLUMNS}, "options": listed}],
            schema={name: _TYPES[name] for name in COLUMNS},
        )
    except (pl.exceptions.PolarsError, TypeError, OverflowError) as error:
        raise EvidenceError(f"the subject cannot be read: {str(error).splitlines()[0]}") from None
