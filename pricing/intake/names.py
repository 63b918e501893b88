"""Names of cars as people spell them: brought together by settled aliases, near misses proposed for a person.

Spellings that differ in capitals and spaces only are one name, written as most records write it. Everything
else stays apart until it is settled.
"""

from typing import Final

import numpy as np
import polars as pl
from rapidfuzz import fuzz, process

from pricing.nearest import ALIKE, FAR_MORE, figures

WITHIN: Final[dict[str, tuple[str, ...]]] = {"make": (), "model": ("make",), "variant": ("make", "model")}
FIELDS: Final = tuple(WITHIN)
"""Names that can be settled, each within those of the fields that it stands in."""

ALIASES: Final = {
    "field": pl.String(), "make": pl.String(), "model": pl.String(), "typed": pl.String(), "name": pl.String()
}  # fmt: skip
"""The alias table: ``typed`` (lower case) is ``name``; ``make`` and ``model`` say within which, where they
matter."""

_NEAR_MISSES: Final = pl.Schema({
    "field": pl.String(), "make": pl.String(), "model": pl.String(), "typed": pl.String(),
    "records": pl.Int64(), "name": pl.String(), "name_records": pl.Int64(), "likeness": pl.Float64(),
})  # fmt: skip
MOST_COMPARED: Final = 4_000
MOST_COMPARED_TO: Final = 2_000
"""Names of one field, within a make or model, of which near misses are looked for, and those that they are
held against: the most common of each. A file of as many makes as rows would else take memory and time by the
square of them."""

BLOCK: Final = 500


def fold(name: pl.Expr) -> pl.Expr:
    """A name without what capitals and spaces make different."""
    return name.str.strip_chars().str.to_lowercase().str.replace_all(r"\s+", " ")


def settled_names(spellings: pl.DataFrame, aliases: pl.DataFrame) -> pl.DataFrame:
    """The name of each spelling.

    ``spellings``: make, model, variant, records (how many have it). Added are ``settled_make``,
    ``settled_model`` and ``settled_variant``.

    >>> rows = [("Corvane", "Six", "saloon", 9), ("Corvaine", "SIX", "saloon", 1)]
    >>> spellings = pl.DataFrame(rows, schema=[*FIELDS, "records"], orient="row")
    >>> aliases = pl.DataFrame([["make"], [None], [None], ["corvaine"], ["Corvane"]], schema=ALIASES)
    >>> settled_names(spellings, aliases).select("settled_make", "settled_model").rows()
    [('Corvane', 'Six'), ('Corvane', 'Six')]
    """
    frame = spellings
    for field, within in WITHIN.items():
        key = [*(f"settled_{outer}" for outer in within), "typed"]
        frame = frame.with_columns(fold(pl.col(field)).alias("typed"))
        # The spelling that most records have; the first in the alphabet where two have as many.
        common = (
            frame.drop_nulls("typed")
            .group_by(*key, field)
            .agg(pl.col("records").sum())
            .sort("records", field, descending=[True, False])
            .unique(key, keep="first", maintain_order=True)
            .select(*key, pl.col(field).str.strip_chars().alias("common"))
        )
        settled = (
            aliases.filter(pl.col("field") == field)
            .rename({"name": "alias", "make": "settled_make", "model": "settled_model"})
            .select(*key, "alias")
        )
        frame = (
            frame.join(common, on=key, how="left", maintain_order="left", nulls_equal=True)
            .join(settled, on=key, how="left", maintain_order="left")
            .with_columns(pl.coalesce("alias", "common").alias(f"settled_{field}"))
            .drop("typed", "common", "alias")
        )
    return frame


def near_misses(spellings: pl.DataFrame, aliases: pl.DataFrame) -> pl.DataFrame:
    """Names so like a more common one that they may be the same: field, make, model, typed, records, name,
    name_records, likeness.

    A name that was settled, even as itself, is not proposed again.
    """
    named = settled_names(spellings, aliases)
    pairs = pl.concat(_near(field, named) for field in FIELDS)
    return pairs.join(aliases, on=["field", "typed", "make", "model"], how="anti", nulls_equal=True).sort(
        "records", "likeness", "typed", descending=[False, True, False]
    )


def with_doubtful_names(spellings: pl.DataFrame, listed: pl.DataFrame) -> pl.DataFrame:
    """Names with ``make_doubtful``, ``model_doubtful`` and ``variant_doubtful``: whether each is proposed
    to be another one that far more records have.

    ``listed``: see ``Market.names``.

    >>> rows = [("Corvane", "Six", None), ("Corvaine", "Six", None)]
    >>> names = pl.DataFrame(rows, schema=dict.fromkeys(FIELDS, pl.String), orient="row")
    >>> row = {"field": "make", "make": None, "model": None, "typed": "corvaine", "records": 1}
    >>> row |= {"name": "Corvane", "name_records": 40, "state": "proposed"}
    >>> listed = pl.DataFrame([row], schema_overrides={"make": pl.String, "model": pl.String})
    >>> with_doubtful_names(names, listed)["make_doubtful"].to_list()
    [False, True]
    """
    waiting = listed.filter(
        pl.col("state") == "proposed", pl.col("name_records") >= FAR_MORE * pl.col("records")
    )
    for field, within in WITHIN.items():
        key = [*within, "typed"]
        doubtful = waiting.filter(pl.col("field") == field).select(
            *key, pl.lit(True).alias(f"{field}_doubtful")
        )
        spellings = (
            spellings.with_columns(fold(pl.col(field)).alias("typed"))
            .join(doubtful.unique(), on=key, how="left", maintain_order="left")
            .with_columns(pl.col(f"{field}_doubtful").fill_null(False))
            .drop("typed")
        )
    return spellings


def _near(field: str, named: pl.DataFrame) -> pl.DataFrame:
    """Near misses among the names of one field, within each make or model."""
    names = named.select("records", name=f"settled_{field}", make="settled_make", model="settled_model")
    outside = [pl.lit(None, pl.String).alias(name) for name in ("make", "model") if name not in WITHIN[field]]
    counts = (
        names.drop_nulls("name")
        .with_columns(outside)
        .group_by("make", "model", "name")
        .agg(pl.col("records").sum())
        .sort("records", "name", descending=[True, False])
    )
    groups = counts.partition_by("make", "model", maintain_order=True)
    pairs = [_pairs(group, field != "make") for group in groups if group.height > 1]
    listed = [
        pair.with_columns(field=pl.lit(field)).select(*_NEAR_MISSES).cast(_NEAR_MISSES) for pair in pairs
    ]
    return pl.concat([_NEAR_MISSES.to_frame(), *listed])


def _pairs(group: pl.DataFrame, within_make: bool) -> pl.DataFrame:
    """For each name the likest of the more common ones, if it is like enough."""
    group = group.head(MOST_COMPARED)
    words = group.select(fold(pl.col("name"))).to_series().to_list()
    best, likeness = np.zeros(len(words), int), np.zeros(len(words), np.float32)
    for first in range(0, len(words), BLOCK):
        block = words[first : first + BLOCK]
        alike = _likeness(block, words[: min(first + len(block), MOST_COMPARED_TO)], within_make)
        alike = np.tril(alike, first - 1)
        rows = slice(first, first + len(block))
        best[rows], likeness[rows] = alike.argmax(axis=1), alike.max(axis=1)
    numbers = [figures(word) for word in words]
    same_numbers = pl.Series([numbers[row] == numbers[other] for row, other in enumerate(best)])
    return group.with_columns(
        typed=pl.Series(words),
        name=group["name"].gather(best),
        name_records=group["records"].gather(best),
        likeness=pl.Series(likeness).cast(pl.Float64).round(1),
    ).filter((pl.col("likeness") >= ALIKE) & same_numbers)


def _likeness(words: list[str], others: list[str], within_make: bool) -> np.ndarray:
    letters = process.cdist(words, others, scorer=fuzz.ratio)
    if within_make:
        return letters
    # A make with and without a word such as Motors: all words of the one are in the other.
    return np.maximum(letters, process.cdist(words, others, scorer=fuzz.token_set_ratio) - 1.0)
