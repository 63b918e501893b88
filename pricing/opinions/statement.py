"""A statement of what cars fetch: who says it, on which day, of which cars in which state, and between which
prices a share of the sales lies.

A statement is no sale. It has a contract and a table of its own, and no function that reads sales sees it.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import polars as pl

from pricing.errors import OpinionError, TableError
from pricing.money.currencies import CURRENCIES
from pricing.records.cells import raw_text, read_cells
from pricing.records.contract import (
    COUNTRIES,
    HIGHEST_AMOUNT,
    LONGEST_WORD,
    LOWEST_AMOUNT,
    SMALL_UNITS,
    amount_meant,
)
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, FIRST_YEAR, PRICE_BASES, SPANS

_AMOUNT: Final = pl.Decimal(18, 3)

TYPES: Final[dict[str, pl.DataType]] = {
    "source": pl.String(),
    "standing": pl.String(),
    "stated_on": pl.Date(),
    "make": pl.String(),
    "model": pl.String(),
    "variant": pl.String(),
    "year_from": pl.Int16(),
    "year_to": pl.Int16(),
    "country": pl.String(),
    "channel": pl.String(),
    "condition_band": pl.String(),
    "condition_score": pl.Float64(),
    "low": _AMOUNT,
    "middle": _AMOUNT,
    "high": _AMOUNT,
    "currency": pl.String(),
    "price_basis": pl.String(),
    "holds": pl.String(),
}
"""What a statement says. ``standing`` is who the source is, in own words; ``holds`` a key of
``vocabulary.SPANS``, the share of the sales meant to lie between ``low`` and ``high``, as many of the others
below as above; either end may be left open. ``middle`` is the price that half of the sales are below, where
it was asked for."""

REQUIRED: Final = ("source", "stated_on", "make", "model", "currency", "price_basis", "holds")

BASES: Final = tuple(basis for basis in PRICE_BASES if basis != "asking")
"""A statement is of what cars fetch, not of what is asked for them."""

SUBJECT: Final = (
    "source", "make", "model", "variant", "year_from", "year_to", "country", "channel", "condition_band",
    "condition_score",
)  # fmt: skip
"""What two statements have in common of which the later one supersedes the earlier."""

MOST_TOLD: Final = 5
"""Wrong rows that a refusal names."""

_AMOUNTS: Final = ("low", "middle", "high")

_TEXT: Final = pl.col(pl.String)


def checked(cells: pl.DataFrame, today: date) -> pl.DataFrame:
    """Statements in the types of ``TYPES``, out of a frame of text or of those types.

    Raises:
        TableError: a column is unknown, or one that a statement needs is absent.
        OpinionError: a statement breaks a rule; up to ``MOST_TOLD`` are named by their row.

    >>> cells = pl.DataFrame({"source": ["A. Rowe"], "stated_on": ["2026-05-01"], "make": ["Corvane"],
    ...     "model": ["Six"], "condition_band": ["average"], "low": ["3000"], "high": ["5000"],
    ...     "currency": ["GBP"], "price_basis": ["all-in"], "holds": ["eight in ten"]})
    >>> checked(cells, date(2026, 6, 1))["low"].to_list()
    [Decimal('3000.000')]
    """
    unknown = sorted({*cells.columns} - {*TYPES, "row_number", "opinion_id"})
    if unknown:
        raise TableError(f"a statement has no column {', '.join(unknown)}; it has: {', '.join(TYPES)}")
    absent = [name for name in REQUIRED if name not in cells.columns]
    if absent:
        raise TableError(f"statements need the column {', '.join(absent)}")
    read = read_cells(cells, TYPES).with_columns(_TEXT.exclude("unreadable").str.strip_chars())
    places = cells["row_number"] if "row_number" in cells.columns else pl.Series(range(1, len(cells) + 1))
    names = pl.col("unreadable").list.eval(pl.element().str.strip_suffix("_unreadable")).list.join(", ")
    rules = [
        pl.when(pl.col("unreadable").list.len() > 0).then(pl.lit("cannot be read: ") + names),
        *(pl.when(broken.fill_null(False)).then(pl.lit(sentence)) for sentence, broken in _rules(today)),
    ]
    faults = read.select(fault=pl.concat_str(rules, separator="; ", ignore_nulls=True))["fault"]
    wrong = pl.DataFrame({"place": places, "fault": faults}).filter(pl.col("fault") != "")
    if wrong.height:
        lines = [f"row {place}: {fault}" for place, fault in wrong.head(MOST_TOLD).rows()]
        more = f"; and {wrong.height - MOST_TOLD} more" if wrong.height > MOST_TOLD else ""
        raise OpinionError(
            f"{wrong.height} of {len(read)} statements cannot be kept, and none was: {'; '.join(lines)}{more}"
        )
    return read.select(*TYPES)


def _rules(today: date) -> list[tuple[str, pl.Expr]]:
    """Sentences and where they apply."""
    low, middle, high = (pl.col(name) for name in _AMOUNTS)
    expected = (
        f"{LOWEST_AMOUNT:,} to {HIGHEST_AMOUNT:,}, {SMALL_UNITS:,} times that in a currency of small units"
    )
    score = pl.col("condition_score")
    graded = pl.col("condition_band").is_not_null(), score.is_not_null()
    years = pl.col("year_from"), pl.col("year_to")
    words = {
        "condition_band": CONDITION_BANDS, "channel": CHANNELS, "price_basis": BASES, "holds": tuple(SPANS),
    }  # fmt: skip
    return [
        *(
            (f"{name} is missing", pl.col(name).is_null() | (pl.col(name).cast(pl.String) == ""))
            for name in REQUIRED
        ),
        *(
            (f"{name} is one of: {', '.join(known)}", pl.col(name).is_in(known).not_())
            for name, known in words.items()
        ),
        ("currency is no code of ISO 4217", pl.col("currency").is_in(sorted(CURRENCIES)).not_()),
        ("country is no code of ISO 3166", pl.col("country").is_in(sorted(COUNTRIES)).not_()),
        ("the state is said once: a condition band or a score from 0 to 100", graded[0] == graded[1]),
        ("the score is from 0 to 100", score.is_between(0.0, 100.0).not_()),
        ("low or high is needed", low.is_null() & high.is_null()),
        *((f"{name} absurd: expected {expected}", amount_meant(pl.col(name)).not_()) for name in _AMOUNTS),
        ("low is below high", low >= high),
        (
            "the middle is between low and high",
            (middle <= low).fill_null(False) | (middle >= high).fill_null(False),
        ),
        ("it is said on a day after today", pl.col("stated_on") > today),
        ("the first year is after the last", years[0] > years[1]),
        *(("a year is before the first motor car", year < FIRST_YEAR) for year in years),
        *(
            (f"{name} is longer than {LONGEST_WORD} characters", pl.col(name).str.len_chars() > LONGEST_WORD)
            for name in ("source", "standing", "make", "model", "variant")
        ),
    ]


def named(statements: pl.DataFrame) -> pl.DataFrame:
    """Statements with ``opinion_id``, a name made of all that each says: the same said twice is one."""
    text = statements.select(raw_text(name, kind) for name, kind in TYPES.items()).select(
        pl.concat_str(pl.all().fill_null(""), separator="\x1f")
    )
    ids = [hashlib.sha256(line.encode()).hexdigest()[:16] for line in text.to_series()]
    return statements.with_columns(opinion_id=pl.Series(ids, dtype=pl.String))


@dataclass(frozen=True)
class RepeatedQuestion:
    """What a source is asked again: ``sentence`` says why."""

    source: str
    sentence: str


def in_force(statements: pl.DataFrame) -> pl.DataFrame:
    """The last that each source said of each kind of car, in order of the day."""
    return statements.sort("stated_on", maintain_order=True).unique(
        [*SUBJECT], keep="last", maintain_order=True
    )


def inversions(statements: pl.DataFrame) -> list[RepeatedQuestion]:
    """Where a source in force says that a better band fetches less: both ends lower, or the middle of a span
    below that of a worse band.

    >>> rows = [("average", 3000.0, 5000.0), ("top condition", 2000.0, 4000.0)]
    >>> stated = pl.DataFrame([{"source": "A. Rowe", "make": "Corvane", "model": "Six", "variant": None,
    ...     "year_from": None, "year_to": None, "country": None, "channel": None, "currency": "GBP",
    ...     "condition_band": band, "condition_score": None, "stated_on": date(2026, 5, 1), "low": low,
    ...     "middle": None, "high": high} for band, low, high in rows])
    >>> [question.sentence for question in inversions(stated)]
    ["A. Rowe says that a Corvane Six in 'top condition' fetches less than one in 'average': is that meant?"]
    """
    places = {band: place for place, band in enumerate(CONDITION_BANDS)}
    kinds = [name for name in (*SUBJECT, "currency") if name not in ("condition_band", "condition_score")]
    ends = [pl.col(name).cast(pl.Float64) for name in _AMOUNTS]
    level = pl.coalesce(ends[1], pl.when(ends[0].is_not_null()).then((ends[0] * ends[2]).sqrt()), ends[2])
    banded = (
        in_force(statements)
        .filter(pl.col("condition_band").is_not_null())
        .with_columns(
            level=pl.coalesce(level, ends[0]),
            place=pl.col("condition_band").replace_strict(places, return_dtype=pl.Int8, default=None),
        )
        .sort(*kinds, "place", maintain_order=True)
        .with_columns(
            before=pl.col("level").shift().over(kinds), worse=pl.col("condition_band").shift().over(kinds)
        )
        .filter(pl.col("level") < pl.col("before"))
    )
    return [
        RepeatedQuestion(
            row["source"],
            f"{row['source']} says that a {row['make']} {row['model']} in '{row['condition_band']}' "
            f"fetches less than one in '{row['worse']}': is that meant?",
        )
        for row in banded.iter_rows(named=True)
    ]


def changes(statements: pl.DataFrame) -> pl.DataFrame:
    """Statements by which a source changed what it had said of the same cars: both spans and days, and
    ``change``, the ratio of the middles less one."""
    low, middle, high = (pl.col(name).cast(pl.Float64) for name in _AMOUNTS)
    keys = [*SUBJECT, "currency"]
    return (
        statements.sort("stated_on", maintain_order=True)
        .with_columns(centre=pl.coalesce(middle, (low * high).sqrt(), high, low))
        .with_columns(
            pl.col(name).shift().over(keys).alias(f"{name}_before")
            for name in ("stated_on", "low", "high", "centre")
        )
        .filter(pl.col("centre_before").is_not_null(), pl.col("centre") != pl.col("centre_before"))
        .with_columns(change=pl.col("centre") / pl.col("centre_before") - 1.0)
        .drop("centre", "centre_before")
    )


def said_again(questions: Sequence[RepeatedQuestion]) -> str:
    """The questions as one sentence to refuse with."""
    return " ".join(question.sentence for question in questions)
