"""The adjustments of comparable sales, line by line, in the order of the trade.

First what the money is (price basis, currency: the recorded amount becomes the all-in price in the market's
currency), then the sale (its conditions, its date), then the car. Every line works on the price that the
lines above left, so that per cents multiply: -8 %, +5 % and -10 % on 115,500 make 100,415.70, where adding
them up would make 100,485.00. A comparable that is worth 10 % more than the subject is divided by 1.10.
(Common practice of comparable-sales guides.)
"""

from collections.abc import Mapping
from datetime import date
from typing import Final

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.errors import EvidenceError
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.date_line import SOURCE as DATE_SOURCE
from pricing.evidence.comparison.term_effects import GROUP
from pricing.money.currencies import with_rates

BASIS: Final = "price basis"
CURRENCY: Final = "currency"
CONDITIONS: Final = "conditions of sale"
DATE: Final = "date"

LINE_LIMIT: Final = 10.0
NET_LIMIT: Final = 15.0
GROSS_LIMIT: Final = 25.0
"""Per cent of the comparable's price beyond which a line, their sum and the sum of their sizes are flagged
(rules of thumb of comparable-sales guides)."""

UNSURE: Final = "left out: the interval of its effect spans nought"

_CENT: Final = 100.0


def overridden(
    logs: Floats, names: tuple[str, ...], records: list[str], choices: Mapping[tuple[str, str], Choice]
) -> Floats:
    """The log adjustments (n x lines) with what a person says in place of some.

    Raises:
        EvidenceError: a choice names a line that there is none of.
    """
    result = logs.copy()
    place = {record: row for row, record in enumerate(records)}
    for (record, line), choice in choices.items():
        if choice.action != "adjust" or choice.per_cent is None:
            continue
        if line not in names:
            raise EvidenceError(f"no line {line!r} to adjust; the lines are: {', '.join(names)}")
        if record in place:
            result[place[record], names.index(line)] = np.log1p(choice.per_cent / 100.0)
    return result


def adjustment_lines(
    comparables: pl.DataFrame,
    subject: pl.DataFrame,
    logs: Floats,
    names: tuple[str, ...],
    *,
    at: date,
    currency: str,
    model_source: str,
    choices: Mapping[tuple[str, str], Choice],
    left_out: Floats | None = None,
) -> pl.DataFrame:
    """One row a comparable and line, in order: ``record_id``, ``step``, ``line``, ``comparable`` and
    ``subject`` (their values), ``factor``, ``per_cent``, ``money``, ``price_after`` (in ``currency``, to the
    cent; every ``money`` is the difference of two of them), ``source``, ``flag`` (beyond ``LINE_LIMIT``).

    ``logs`` (n x lines) belong to ``names``: conditions of sale, date, group, and the terms of the model.
    ``left_out`` (n x lines) marks lines left out for their
    interval. Lines of the model that are nought where both cars are alike are left out.
    """
    price = comparables["price"].cast(pl.Float64).to_numpy()
    after = np.round(price[:, None] * np.exp(np.cumsum(logs, axis=1)) * _CENT) / _CENT
    before = np.column_stack([price, after[:, :-1]])
    count, width = logs.shape
    ids = comparables["record_id"].to_list()
    theirs, own = _values(comparables, names, at), _values(subject, names, at)
    long = pl.DataFrame(
        {
            "record_id": np.repeat(ids, width),
            "step": np.tile(np.arange(2, width + 2), count),
            "line": np.tile(names, count),
            "comparable": pl.Series([theirs[n][i] for i in range(count) for n in names], dtype=pl.String),
            "subject": pl.Series([own[n][0] for _ in range(count) for n in names], dtype=pl.String),
            "factor": np.exp(logs).ravel(),
            "money": (after - before).ravel(),
            "price_after": after.ravel(),
            "source": [
                UNSURE if left_out is not None and left_out[row, column]
                else _source(record, name, model_source, choices)
                for row, record in enumerate(ids) for column, name in enumerate(names)
            ],
        }
    )  # fmt: skip
    worth_a_line = (
        (pl.col("step") < 6) | pl.col("comparable").ne_missing(pl.col("subject")) | (pl.col("factor") != 1.0)
    )
    every = pl.concat([_translation(comparables, currency), long.filter(worth_a_line)], how="diagonal")
    cents = pl.Decimal(18, 2)
    return every.sort(
        pl.col("record_id").replace_strict({r: k for k, r in enumerate(ids)}), "step"
    ).with_columns(
        pl.col("money", "price_after").cast(cents),
        per_cent=100.0 * (pl.col("factor") - 1.0),
        flag=(pl.col("step") >= 2) & (100.0 * (pl.col("factor") - 1.0).abs() > LINE_LIMIT),
    )  # fmt: skip


def _translation(comparables: pl.DataFrame, currency: str) -> pl.DataFrame:
    """The two lines that turn the recorded amount into the all-in price, from the record and its rate."""
    rates = with_rates(comparables.filter(pl.col("currency") != currency), currency)
    rates = rates.select("record_id", "rate_date", rate=pl.col("base_units") / pl.col("units"))
    at_home = pl.col("currency") == currency
    priced = comparables.join(rates, on="record_id", how="left", maintain_order="left").with_columns(
        price=pl.col("price").cast(pl.Float64), rate=pl.when(at_home).then(1.0).otherwise("rate")
    )
    converted = pl.col("amount").cast(pl.Float64) * pl.col("rate")
    recorded = pl.col("premium").is_not_null() | (pl.col("price_basis") == "all-in")
    basis = priced.select(
        "record_id",
        step=pl.lit(0, dtype=pl.Int64),
        line=pl.lit(BASIS),
        comparable="price_basis",
        subject=pl.lit("all-in"),
        factor=pl.col("price") / converted,
        money=pl.col("price") - converted,
        price_after="price",
        source=pl.when(recorded)
        .then(pl.lit("sale record"))
        .otherwise(pl.lit("schedule of charges in the market file")),
    )
    money = priced.select(
        "record_id",
        step=pl.lit(1, dtype=pl.Int64),
        line=pl.lit(CURRENCY),
        comparable="currency",
        subject=pl.lit(currency),
        factor="rate",
        money=pl.lit(None, dtype=pl.Float64),
        price_after="price",
        source=pl.when(at_home)
        .then(pl.lit("none needed"))
        .when(pl.col("rate_date").is_null())
        .then(pl.lit("own rate in the market file"))
        .otherwise(pl.format("reference rate of {}", pl.col("rate_date"))),
    )
    return pl.concat([basis, money])


def _values(cars: pl.DataFrame, names: tuple[str, ...], at: date) -> dict[str, list[str | None]]:
    """The cars' own values of every line, as text."""
    score = pl.format("score {}", pl.col("condition_score").round(0).cast(pl.Int64))
    graded = pl.concat_str("condition_band", score, separator=", ", ignore_nulls=True)
    texts = {
        CONDITIONS: pl.lit(None),
        DATE: pl.col("event_date") if "event_date" in cars.columns else pl.lit(at),
        GROUP: pl.concat_str("make", "model", "variant", separator=" ", ignore_nulls=True),
        "condition": pl.when(graded != "").then(graded),
    }
    for name in names:
        has = pl.col("options").list.contains(pl.lit(name)).fill_null(False)
        cell = pl.col(name) if name in cars.columns else has
        if cars.schema.get(name, pl.Boolean) == pl.Boolean:
            cell = pl.when(cell).then(pl.lit("yes")).when(cell.not_()).then(pl.lit("no"))
        texts.setdefault(name, cell)
    return cars.select(texts[name].cast(pl.String).alias(name) for name in names).to_dict(as_series=False)


def _source(record: str, line: str, model_source: str, choices: Mapping[tuple[str, str], Choice]) -> str:
    choice = choices.get((record, line))
    if choice is not None and choice.action == "adjust":
        return f"own judgement: {choice.reason}"
    if line == CONDITIONS:
        return "nothing on record: not adjusted"
    return DATE_SOURCE if line == DATE else model_source
