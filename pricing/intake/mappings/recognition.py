"""What the columns of a file are: by their headings and by what their cells look like together, each with
the reason
and how sure it is; what a person chose goes before both."""

from collections.abc import Mapping as Table
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl
from rapidfuzz import fuzz, process
from scipy.optimize import linear_sum_assignment

from pricing.errors import MappingError
from pricing.intake.mappings.date_parts import date_in_parts
from pricing.intake.mappings.headings import CAR, DAY_WORDS, NEAR, meanings, plain, says_nothing
from pricing.intake.mappings.left_over import SURE_OF_WHAT_IS_LEFT, what_is_left
from pricing.intake.mappings.looks import SURE, car_in_words, looks, shown_alone
from pricing.intake.mappings.mapping import PARTS
from pricing.intake.written.dates import read_serial
from pricing.intake.written.table import DATE_COLUMNS
from pricing.intake.written.words import WORD_COLUMNS, not_known, yes_and_no
from pricing.nearest import did_you_mean
from pricing.records.cells import raw_text
from pricing.records.contract import COLUMNS
from pricing.vocabulary import OPTION_CODES

PROPOSED_FROM: Final = 0.5
"""How sure (0-1) a column has to be to be proposed."""

OPTION: Final = "option "
"""Before the code of an option: what a column of yes and no about it is taken for."""

MAY_BE: Final = (
    CAR,
    *(name for name in COLUMNS if name not in ("record_id", "batch_id", "source", "date_precision")),
    *PARTS,
    *(OPTION + code for code in OPTION_CODES),
)
"""What a column of a file may be taken for."""

OWN_NAME: Final = 0.02
"""By how much our own name for a column goes before other names for it, such as Model before Type."""

FEWEST_CELLS: Final = 3
"""Distinct cells from which they are believed against a heading."""

_CHOSEN: Final = 2.0
"""The score of what a person chose, above any other."""


@dataclass(frozen=True)
class Column:
    """What one of the file's own columns is proposed to be."""

    theirs: str
    ours: str | None
    """One of ``MAY_BE``, None for none."""
    reason: str
    sure: float
    """0 to 1."""
    samples: tuple[str, ...]
    """Three of its cells."""


def recognise(table: pl.DataFrame, chosen: Table[str, str | None]) -> tuple[Column, ...]:
    """Every column of a table, in its order, with what it is taken for; nothing is taken twice.

    ``chosen`` says of some of their columns which of ``MAY_BE`` they are, or None for none.

    Raises:
        MappingError: a choice names no column, is none of ``MAY_BE``, or two are the same.

    >>> told = pl.DataFrame({"Marque": ["Corvane"], "Sold by": ["club"]})
    >>> [column.ours for column in recognise(told, {})]
    ['make', 'channel']
    >>> [column.ours for column in recognise(told, {"Sold by": "notes"})]
    ['make', 'notes']
    """
    _refuse_choices(table, chosen)
    text = table.select(pl.col(pl.String))
    options = {name: ours for name, ours in chosen.items() if ours is not None and ours.startswith(OPTION)}
    for code, name in _option_columns(text.drop(chosen, strict=False)).items():
        if OPTION + code not in options.values():
            options[name] = OPTION + code
    said = {name: ours for name, ours in chosen.items() if name not in options}
    in_parts = {} if chosen else date_in_parts(text)
    told = _columns(table.drop(options), said | in_parts)
    for name in in_parts:
        told[name] = replace(told[name], reason="day, month and year of the event in columns of their own")
    return tuple(
        told[name] if name in told else _option(name, options[name], table[name], name in chosen)
        for name in table.columns
    )


def _refuse_choices(table: pl.DataFrame, chosen: Table[str, str | None]) -> None:
    """Refuse choices that name no column, mean nothing of ours, or mean one thing twice."""
    taken: dict[str, str] = {}
    for theirs, ours in chosen.items():
        if theirs not in table.columns:
            raise MappingError(f"the table has no column {theirs!r}{did_you_mean(theirs, table.columns)}")
        if ours is None:
            continue
        if ours not in MAY_BE:
            raise MappingError(
                f"a column cannot be {ours!r}{did_you_mean(ours, MAY_BE)}; see: pricing format"
            )
        if ours in taken:
            raise MappingError(
                f"two columns are taken for {ours.replace('_', ' ')}: {taken[ours]!r} and {theirs!r}; one of "
                "them is something else, or left out"
            )
        taken[ours] = theirs


def _option(theirs: str, ours: str, cells: pl.Series, chosen: bool) -> Column:
    reason = (
        "chosen" if chosen
        else f"headed like the option {ours.removeprefix(OPTION).replace('_', ' ')}, and yes or no"
    )  # fmt: skip
    return Column(theirs, ours, reason, 1.0 if chosen else 0.95, _samples(_as_text(cells)))


def _option_columns(text: pl.DataFrame) -> dict[str, str]:
    """Option code = a yes/no column headed like it."""
    codes = {code.replace("_", " "): code for code in OPTION_CODES}
    by_code: dict[str, str] = {}
    for theirs in text.columns:
        likest = process.extractOne(plain(theirs), list(codes), scorer=fuzz.ratio, score_cutoff=NEAR)
        words = text[theirs].drop_nulls().str.strip_chars().str.to_lowercase().unique()
        if likest is not None and words.is_in([*yes_and_no()[0], *yes_and_no()[1], *not_known(), ""]).all():
            by_code.setdefault(codes[likest[0]], theirs)
    return by_code


def _columns(table: pl.DataFrame, chosen: Table[str, str | None]) -> dict[str, Column]:
    """Every column of theirs with the column of ours that it and its cells fit best, each of ours once."""
    texts = {name: _as_text(table[name]) for name in table.columns}
    named = {name: {} if name in chosen else meanings(name) for name in table.columns}
    look = {name: {} if name in chosen else looks(cells) for name, cells in texts.items()}
    for name, told_names in named.items():
        if CAR in told_names and "model" not in told_names:  # a club's models may be of two words
            look[name] = {**look[name], CAR: max(look[name].get(CAR, 0.0), car_in_words(texts[name]))}
        if (
            set(plain(name).split()) & DAY_WORDS and texts[name].drop_nulls().len()
        ):  # whole numbers too: a workbook counts days
            serial = texts[name].drop_nulls().unique()
            days = sum(read_serial(cell) is not None for cell in serial) / len(serial)
            look[name] = {
                ours: max(share, days) if ours in DATE_COLUMNS else share
                for ours, share in look[name].items()
            }
    unsaid = [
        name
        for name in table.columns
        if name not in chosen and table.schema[name] == pl.String and not says_nothing(name)
        and _says_nothing(named[name], look[name], texts[name])
    ]  # fmt: skip
    alone = {name: shown_alone(texts[name], look[name]) if name in unsaid else {} for name in table.columns}
    for doubtful in ("amount", "event_date"):
        may_be = [name for name in unsaid if alone[name].get(doubtful, 0.0) >= 0.9]
        if len(may_be) > 1:  # which of them it is, no heading says
            for name in may_be:
                alone[name] = {ours: share for ours, share in alone[name].items() if ours != doubtful}
    others = {column for column in chosen.values() if column is not None}
    ours = sorted({column for told in named.values() for column in told} | set(SURE) | others)
    scores = np.zeros((len(table.columns), len(ours)))
    for row, name in enumerate(table.columns):
        for place, column in enumerate(ours):
            scores[row, place] = _score(column, named[name], look[name], alone[name])
            if scores[row, place] > 0 and plain(name) == column.replace("_", " "):
                scores[row, place] += OWN_NAME
    _one_car_or_its_parts(scores, ours)
    for row, name in enumerate(table.columns):
        if name in chosen:
            scores[row] = 0.0
            if (taken := chosen[name]) is not None:
                scores[:, ours.index(taken)] = 0.0
                scores[row, ours.index(taken)] = _CHOSEN
    told: dict[str, Column] = {}
    rows, places = linear_sum_assignment(np.where(scores < PROPOSED_FROM, 0.0, scores), maximize=True)
    placed = {row: at for row, at in zip(rows.tolist(), places.tolist(), strict=True)
              if scores[row, at] >= PROPOSED_FROM}  # fmt: skip
    _in_place_of(placed, ours, scores, table.columns, chosen)
    left = {
        name: texts[name]
        for row, name in enumerate(table.columns)
        if row not in placed and name not in chosen and not (named[name] or says_nothing(name))
    }
    cars = what_is_left({table.columns[row]: ours[at] for row, at in placed.items()}, left)
    for row, name in enumerate(table.columns):
        chosen_place = placed.get(row)
        sure = 0.0 if chosen_place is None else float(scores[row, chosen_place])
        samples = _samples(texts[name])
        if name in cars:
            told[name] = Column(name, *cars[name], SURE_OF_WHAT_IS_LEFT, samples)
            continue
        if chosen_place is None or sure < PROPOSED_FROM:
            reason = "left out, as chosen" if name in chosen else "neither its heading nor its cells say"
            told[name] = Column(name, None, reason, 0.0, samples)
            continue
        is_ours = ours[chosen_place]
        reason = "chosen" if name in chosen else _reason(name, is_ours, named[name], look[name])
        told[name] = Column(name, is_ours, reason, round(min(sure, 1.0), 2), samples)
    return told


def _says_nothing(named: dict[str, float], look: dict[str, float], cells: pl.Series) -> bool:
    """Whether a heading leaves open what the column is: it is none, or of several cells not one is what it
    says."""
    return not named or (cells.n_unique() > FEWEST_CELLS and not any(look.get(ours, 1.0) for ours in named))


def _score(ours: str, named: dict[str, float], look: dict[str, float], alone: dict[str, float]) -> float:
    """How sure it is (0-1) that a column is one of ours, by its heading and its cells together."""
    if ours in named:
        if not look or ours not in look:
            return named[ours] * (0.97 if look else 0.6)
        least = (
            0.55 if ours in WORD_COLUMNS and ours != "country" and named[ours] >= 0.97 else 0.3
        )  # words of theirs can be told
        if ours in WORD_COLUMNS and look[ours] == 0.0 and look.get("amount", 0.0) >= 0.9:
            least = 0.3  # figures are no words
        if named[ours] >= 0.97 and look[ours] > 0.0:
            least = max(least, 0.5)  # a heading that is known goes before cells that nobody can read
        return named[ours] * (least + (1 - least) * look[ours])
    share = alone.get(ours, 0.0)
    return SURE[ours] * share if share >= 0.9 else 0.0


def _one_car_or_its_parts(scores: np.ndarray, ours: Sequence[str]) -> None:
    """A whole car in a cell is looked for only where make and model are not in columns of their own."""
    place = {column: at for at, column in enumerate(ours)}
    if CAR not in place:
        return
    nothing = np.zeros(len(scores))
    make, model = (scores[:, place[name]] if name in place else nothing for name in ("make", "model"))
    car = scores[:, place[CAR]]
    both = make.max() >= PROPOSED_FROM and model.max() >= PROPOSED_FROM and make.argmax() != model.argmax()
    if both and car.max() < 0.99 + (car.argmax() == model.argmax()):
        scores[:, place[CAR]] = 0.0
    elif car.max() >= PROPOSED_FROM and make.max() < PROPOSED_FROM:
        scores[car.argmax(), [at for at in place.values() if at != place[CAR]]] = 0.0


def _in_place_of(
    placed: dict[int, int],
    ours: list[str],
    scores: np.ndarray,
    theirs: Sequence[str],
    chosen: Table[str, str | None],
) -> None:
    """Where no column is the price, the highest bid is it, as in a list of bids with what came of each; where
    none is the day of the event, the day an offer was listed is."""
    said = {ours[at]: row for row, at in placed.items()}
    instead = (("highest_bid", "amount", "outcome"), ("listed_on", "event_date", "listed_on"))
    for other, wanted, beside in instead:
        row = said.get(other)
        if wanted in said or row is None or beside not in said or wanted not in ours or theirs[row] in chosen:
            continue
        place = ours.index(wanted)
        scores[row, place] = scores[row, placed[row]]
        placed[row] = place


def _reason(name: str, ours: str, named: dict[str, float], look: dict[str, float]) -> str:
    share = look.get(ours)
    cells = (
        "" if share is None
        else ", and all of its cells fit" if share == 1.0
        else f", and {share:.0%} of its cells fit"
    )  # fmt: skip
    if ours not in named:
        return f"no heading says so{cells}"
    near = "headed" if named[ours] >= 0.97 else "headed nearly so:"
    return f"{near} {name!r}{cells}"


def _as_text(cells: pl.Series) -> pl.Series:
    if cells.dtype == pl.String:
        return cells
    return cells.to_frame().select(raw_text(cells.name, cells.dtype)).to_series()


def _samples(cells: pl.Series) -> tuple[str, ...]:
    told = cells.drop_nulls().filter(cells.drop_nulls() != "").unique(maintain_order=True).head(3)
    return tuple(str(cell) for cell in told)
