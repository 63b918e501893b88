"""What the columns of a file are: by their headings and by what their cells look like together, each with
the reason and how sure it is; what a person chose goes before both."""

from collections.abc import Mapping as Table
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import polars as pl
from rapidfuzz import fuzz, process
from scipy.optimize import linear_sum_assignment

from pricing.errors import MappingError
from pricing.intake.mappings.headings import CAR, DAY_WORDS, NEAR, meanings, plain, says_nothing
from pricing.intake.mappings.looks import (
    SURE,
    SURE_OF_WHAT_IS_LEFT,
    car_in_words,
    date_in_parts,
    distinct,
    looks,
    share,
    shown_alone,
    what_is_left,
)
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
class RecognisedColumn:
    """What one of the file's own columns is proposed to be."""

    theirs: str
    ours: str | None
    """One of ``MAY_BE``, None for none."""
    reason: str
    sure: float
    """0 to 1."""
    samples: tuple[str, ...]
    """Three of its cells."""


def recognise(table: pl.DataFrame, chosen: Table[str, str | None]) -> tuple[RecognisedColumn, ...]:
    """Every column of a table, in its order, with what it is taken for; nothing is taken twice.

    ``chosen`` says of some of their columns which of ``MAY_BE`` they are, or None for none.

    Raises:
        MappingError: a choice names no column, is none of ``MAY_BE``, or two are the same.

    >>> table = pl.DataFrame({"Marque": ["Corvane"], "Sold by": ["club"]})
    >>> [column.ours for column in recognise(table, {})]
    ['make', 'channel']
    >>> [column.ours for column in recognise(table, {"Sold by": "notes"})]
    ['make', 'notes']
    """
    _refuse_choices(table, chosen)
    text = table.select(pl.col(pl.String))
    options = {name: ours for name, ours in chosen.items() if ours is not None and ours.startswith(OPTION)}
    for code, name in _option_columns(text.drop(chosen, strict=False)).items():
        if OPTION + code not in options.values():
            options[name] = OPTION + code
    in_parts = {} if chosen else date_in_parts(text)
    others = {name: ours for name, ours in chosen.items() if name not in options}
    columns = _columns(table.drop(options), others | in_parts)
    for name in in_parts:
        reason = "day, month and year of the event in columns of their own"
        columns[name] = replace(columns[name], reason=reason)
    for name, ours in options.items():
        reason = f"headed like the option {ours.removeprefix(OPTION).replace('_', ' ')}, and yes or no"
        sure, reason = (1.0, "chosen") if name in chosen else (0.95, reason)
        columns[name] = RecognisedColumn(name, ours, reason, sure, _samples(_as_text(table[name])))
    return tuple(columns[name] for name in table.columns)


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


@dataclass
class _Clues:
    """What the heading and the cells of a column say it may be, by column of ours how sure that is (0-1)."""

    heading: str
    cells: pl.Series
    named: dict[str, float] = field(default_factory=dict)
    """By its heading."""
    look: dict[str, float] = field(default_factory=dict)
    """By its cells."""
    alone: dict[str, float] = field(default_factory=dict)
    """By its cells, where the heading leaves it open."""

    @classmethod
    def of(cls, cells: pl.Series) -> "_Clues":
        """What a column of a table says."""
        heading, text = cells.name, _as_text(cells)
        named, look = meanings(heading), looks(text)
        if CAR in named and "model" not in named:  # a club's models may be of two words
            look[CAR] = max(look.get(CAR, 0.0), car_in_words(text))
        if set(plain(heading).split()) & DAY_WORDS:  # whole numbers too: a workbook counts days
            days = share(distinct(text), read_serial)
            look |= {ours: max(look[ours], days) for ours in DATE_COLUMNS if ours in look}
        unlike = text.n_unique() > FEWEST_CELLS and not any(look.get(ours, 1.0) for ours in named)
        is_open = cells.dtype == pl.String and not says_nothing(heading) and (unlike or not named)
        return cls(heading, text, named, look, shown_alone(text, look) if is_open else {})

    def score(self, ours: str) -> float:
        """How sure it is that the column is one of ours, by its heading and its cells together."""
        by_cells = self.alone.get(ours, 0.0)
        score = SURE[ours] * by_cells if by_cells >= 0.9 else 0.0
        if ours in self.named:
            score = self._named_score(ours, self.named[ours])
        is_own_name = score > 0 and plain(self.heading) == ours.replace("_", " ")
        return score + OWN_NAME if is_own_name else score

    def _named_score(self, ours: str, named: float) -> float:
        if ours not in self.look:
            return named * (0.97 if self.look else 0.6)
        look, known, least = self.look[ours], named >= 0.97, 0.3
        figures = look == 0.0 and self.look.get("amount", 0.0) >= 0.9  # which are no words
        if ours in WORD_COLUMNS and ours != "country" and known and not figures:
            least = 0.55  # words of theirs can be told
        elif known and look > 0.0:
            least = 0.5  # a heading that is known goes before cells that nobody can read
        return named * (least + (1 - least) * look)

    def reason(self, ours: str) -> str:
        """Why the column is taken for one of ours, as a person reads it."""
        fitting = self.look.get(ours)
        many = "" if fitting is None else "all" if fitting == 1.0 else f"{fitting:.0%}"
        cells = many and f", and {many} of its cells fit"
        if ours not in self.named:
            return f"no heading says so{cells}"
        return f"{'headed' if self.named[ours] >= 0.97 else 'headed nearly so:'} {self.heading!r}{cells}"


def _columns(table: pl.DataFrame, chosen: Table[str, str | None]) -> dict[str, RecognisedColumn]:
    """Every column of theirs with the column of ours that it and its cells fit best, each of ours once."""
    clues = [
        _Clues(name, _as_text(table[name])) if name in chosen else _Clues.of(table[name])
        for name in table.columns
    ]
    for doubtful in ("amount", "event_date"):
        may_be = [clue for clue in clues if clue.alone.get(doubtful, 0.0) >= 0.9]
        if len(may_be) > 1:  # which of them it is, no heading says
            for clue in may_be:
                del clue.alone[doubtful]
    ours = sorted({*SURE, *filter(None, chosen.values())}.union(*(clue.named for clue in clues)))
    scores = np.array([[clue.score(column) for column in ours] for clue in clues])
    scores = scores.reshape(len(clues), len(ours))
    _one_car_or_its_parts(scores, ours)
    for row, name in enumerate(table.columns):
        if name in chosen:
            scores[row] = 0.0
            if (taken := chosen[name]) is not None:
                scores[:, ours.index(taken)] = 0.0
                scores[row, ours.index(taken)] = _CHOSEN
    rows, places = linear_sum_assignment(np.where(scores < PROPOSED_FROM, 0.0, scores), maximize=True)
    pairs = zip(rows.tolist(), places.tolist(), strict=True)
    placed = {row: place for row, place in pairs if scores[row, place] >= PROPOSED_FROM}
    _in_place_of(placed, ours, scores, table.columns, chosen)
    left = {
        clue.heading: clue.cells
        for row, clue in enumerate(clues)
        if row not in placed and clue.heading not in chosen and not (clue.named or says_nothing(clue.heading))
    }
    cars = what_is_left({table.columns[row]: ours[place] for row, place in placed.items()}, left)
    columns: dict[str, RecognisedColumn] = {}
    for row, clue in enumerate(clues):
        name, is_chosen = clue.heading, clue.heading in chosen
        if name in cars:
            column, reason, sure = *cars[name], SURE_OF_WHAT_IS_LEFT
        elif row in placed:
            column, sure = ours[placed[row]], round(min(float(scores[row, placed[row]]), 1.0), 2)
            reason = "chosen" if is_chosen else clue.reason(column)
        else:
            column, sure = None, 0.0
            reason = "left out, as chosen" if is_chosen else "neither its heading nor its cells say"
        columns[name] = RecognisedColumn(name, column, reason, sure, _samples(clue.cells))
    return columns


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
    row_of = {ours[place]: row for row, place in placed.items()}
    instead = (("highest_bid", "amount", "outcome"), ("listed_on", "event_date", "listed_on"))
    for other, wanted, beside in instead:
        row = row_of.get(other)
        if row is None or beside not in row_of or wanted in row_of or wanted not in ours:
            continue
        if theirs[row] not in chosen:
            place = ours.index(wanted)
            scores[row, place] = scores[row, placed[row]]
            placed[row] = place


def _as_text(cells: pl.Series) -> pl.Series:
    if cells.dtype == pl.String:
        return cells
    return cells.to_frame().select(raw_text(cells.name, cells.dtype)).to_series()


def _samples(cells: pl.Series) -> tuple[str, ...]:
    return tuple(map(str, cells.filter(cells != "").unique(maintain_order=True).head(3)))
