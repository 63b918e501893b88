"""What rose and what fell, in sentences."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from pricing.evidence.movers import TOO_FEW
from pricing.words.language.reader import number_words


def mover_sentence(row: Mapping[str, Any]) -> str:
    """How a model moved in a year (a row of ``movers``), or that its sales cannot tell.

    >>> mover_sentence({"make": "Corvane", "model": "Six", "per_cent": 20.0, "low": 12.0, "high": 29.0,
    ...     "sales": 8, "sales_before": 9, "on_record": 60, "told": "rose"})
    'The Corvane Six rose by 20% in a year (+12% to +29%): 8 like sales against 9 in the year before.'
    """
    name = f"{row['make']} {row['model']}"
    counts = f"{row['sales']} like sales against {row['sales_before']} in the year before"
    if row["per_cent"] is None:
        return f"Whether the {name} rose or fell in a year cannot be told: {counts}."
    sure = f"({row['low']:+.0f}% to {row['high']:+.0f}%): {counts}"
    if row["told"] in ("rose", "fell"):
        return f"The {name} {row['told']} by {abs(row['per_cent']):.0f}% in a year {sure}."
    moved = f": {row['per_cent']:+.0f}%" if round(row["per_cent"]) else ""
    return f"Prices of the {name} neither rose nor fell clearly in a year{moved} {sure}."


def movers_sentence(found: pl.DataFrame) -> str:
    """How many models rose, fell, did neither, or cannot be told (``movers``)."""
    counts = dict(found["told"].value_counts().iter_rows())
    models = "1 model" if found.height == 1 else f"{number_words(found.height)} models"
    told = [
        f"{number_words(counts[told])} {words}"
        for told, words in (
            ("rose", "rose"),
            ("fell", "fell"),
            ("no more than chance", "moved no more than chance would move them"),
            (TOO_FEW, "sold too seldom to tell"),
        )
        if told in counts
    ]
    return f"Of {models} on record, in a year: {', '.join(told)}."


def movers_caption(found: pl.DataFrame, drawn: int) -> str:
    """What ``market_charts.movers_chart`` shows of the models in ``found``."""
    rest = found.height - drawn
    left = f" {number_words(rest)} more {'is' if rest == 1 else 'are'} in the table alone." if rest else ""
    return (
        "Each mark is a model: how far like sales of it moved in a year, the line its 90% interval. A line "
        f"that crosses nought may be chance; filled marks are beyond it.{left}"
    )
