"""What people do to records: names misspelt, prices mistyped, rows that break a rule; all of it
remembered."""

from collections.abc import Mapping
from typing import Final

import numpy as np
import polars as pl

from data_demo.offer_records import MONEY

MISSPELT: Final = {
    "Wexcombe": "Wexcomb",
    "Larkfell": "Lark Fell",
    "Brennick": "Brenick",
    "Drovale": "Drovale Motors",
    "Ravensholt": "Ravens-Holt",
    "Penhallick": "Penhalick",
    "Zellkamp": "Zell-Kamp",
    "Steinrode": "Steinrodde",
    "Aubrelle": "Aubrele",
    "Castrevel": "Castrevell",
    "Pellardin": "Pelardin",
    "Veltrana": "Veltranna",
    "Torvani": "Torvanni",
    "Karsund": "Karsunds",
    "Lindvarn": "Lindwarn",
}
"""How the maker's name is typed by those in a hurry."""

NOTES: Final = (
    "One family from new.",
    'Said to be "mostly complete", boxes of spares included',
    "Older restoration, bills on file; engine rebuilt",
    "Stored dry for some years",
    "Hood torn, side screens good",
    "New brake pipes, tyres old",
)


def misspell(market: pl.DataFrame, rng: np.random.Generator, *, share: float = 0.008) -> pl.DataFrame:
    """Some makes misspelt, some models in capitals; ``true_make`` and ``true_model`` keep the names."""
    chance = pl.Series(rng.random(market.height))
    wrong = market["make"].replace_strict(MISSPELT)
    return market.with_columns(
        true_make=pl.col("make"),
        true_model=pl.col("model"),
        make=pl.when(chance < share).then(wrong).otherwise("make"),
        model=pl.when(chance.is_between(share, 2 * share))
        .then(pl.col("model").str.to_uppercase())
        .otherwise("model"),
    )


def mistype(market: pl.DataFrame, rng: np.random.Generator, *, count: int = 14) -> pl.DataFrame:
    """Prices of some sales with a nought too many: plausible to every rule, odd against the market."""
    alone = (pl.col("true_sale").len().over("true_sale") == 1) & pl.col("true_oddity").is_null()
    rows = np.flatnonzero(market.select(alone & (pl.col("outcome") == "sold")).to_series().to_numpy())
    hit = np.zeros(market.height, bool)
    hit[rng.choice(rows, count, replace=False)] = True
    odd = pl.Series(hit)
    return market.with_columns(
        pl.when(odd).then((pl.col(name) * 10).cast(MONEY)).otherwise(name).alias(name)
        for name in ("amount", "premium")
    ).with_columns(true_oddity=pl.when(odd).then(pl.lit("price times ten")).otherwise("true_oddity"))


def annotate(market: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """A note on one row in five."""
    which = rng.integers(0, len(NOTES), market.height)
    noted = pl.Series(rng.random(market.height) < 0.2)
    return market.with_columns(notes=pl.when(noted).then(pl.Series(NOTES)[which]))


def spoil(
    table: pl.DataFrame,
    truth: pl.DataFrame,
    defects: Mapping[str, Mapping[str, object]],
    rng: np.random.Generator,
    *,
    each: int = 2,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Break every rule of ``defects`` in ``each`` rows: rule name to the values, by column of the source,
    that do it.

    Only rows that stand for a sale alone are broken, and only sold ones, whose every field counts.
    ``true_defect`` of the truth names the rule.
    """
    alone = (pl.col("true_sale").len().over("true_sale") == 1) & pl.col("true_oddity").is_null()
    usable = alone & (pl.col("outcome") == "sold") & (pl.col("channel") == "auction")
    places = np.flatnonzero(truth.select(usable.fill_null(False)).to_series().to_numpy())
    rows = rng.choice(places, each * len(defects), replace=False)
    named = pl.DataFrame({"row": rows, "true_defect": np.repeat(list(defects), each)})
    truth = truth.with_row_index("row").with_columns(pl.col("row").cast(pl.Int64))
    truth = truth.join(named, on="row", how="left", maintain_order="left").drop("row")
    for rule, values in defects.items():
        hit = truth["true_defect"].eq_missing(rule)
        table = table.with_columns(
            pl.when(hit).then(pl.lit(value, table.schema[name])).otherwise(name).alias(name)
            for name, value in values.items()
        )
    return table, truth
