"""What the command line shows of the market evidence."""

from typing import Any

import polars as pl
from rich.text import Text

from pricing.cli.printing.console import caution, print_table, say
from pricing.decisions.approaches import Difference
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.depth import Depth
from pricing.evidence.indices.index import PriceIndex
from pricing.words.approaches import difference_sentence
from pricing.words.depth import depth_sentences
from pricing.words.evidence import index_sentence, lines_in_words, reconciliation_sentences
from pricing.words.language.reader import day_words
from pricing.words.sentences import CAUTION, money_words, option_words

ID_SHOWN = 12
"""Of a record's id; so much of it, or less, names it on the command line too."""


def show_index(index: PriceIndex) -> None:
    """An index, a row a period."""

    def interval(row: dict[str, Any]) -> str | Text:
        if row["index"] is None:
            return Text(row["note"], style="dim")
        return "not known" if row["low"] is None else f"{row['low']:.1f} to {row['high']:.1f}"

    say(index_sentence(index))
    columns: dict[str, Any] = {"period": "{period}", "sales": "{sales:,}", "index": "{index:.1f}"}
    columns["interval"] = interval
    if index.frame["real"].is_not_null().any():
        columns["deflated"] = "{real:.1f}"
    print_table(columns, index.frame, figures=True)


def show_comparables(comparables: Comparables, apart: Difference | None, *, lines: bool) -> None:
    """Comparable sales and the reconciled value, with every line of adjustment on request."""

    def beyond(row: dict[str, Any]) -> Text:
        return Text("; ".join(option_words(flag.partition(" over")[0]) for flag in row["flags"]), style="dim")

    currency = comparables.currency
    ends = {"low": comparables.low, "mid": comparables.mid, "high": comparables.high}
    values = (f"{name} {money_words(end, currency)}" for name, end in ends.items() if end is not None)
    say(", ".join(values), style="bold")
    say(f"all-in prices in {currency} at {day_words(comparables.as_of)}", "")
    columns: dict[str, Any] = {
        "record": f"{{record_id:.{ID_SHOWN}}}",
        "sold": "{event_date}",
        "band": lambda row: row["condition_band"] or "not graded",
        "price": "{price:,.0f}",
        "net": "{net_per_cent:+.0f}%",
        "gross": "{gross_per_cent:.0f}%",
        "adjusted": "{adjusted_price:,.0f}",
        "weight": "{weight:.0%}",
        "beyond": beyond,
    }
    print_table(columns, comparables.table, figures=True)
    for record in comparables.table["record_id"] if lines else ():
        _print_lines(comparables, record)
    say(*reconciliation_sentences(comparables), *([] if apart is None else [difference_sentence(apart)]), "")
    reasons = comparables.left_out.select("reason", "sales").group_by("reason", maintain_order=True).sum()
    print_table({"left out": "{reason}", "sales": "{sales:,}"}, reasons, figures=True, empty="")
    caution(CAUTION)


def show_depth(depth: Depth) -> None:
    """How much is known."""

    def premium(row: dict[str, Any]) -> str | Text:
        known = row["per_cent"] is not None
        return f"{row['per_cent']:+.0f}%" if known else Text("not enough sales", style="dim")

    say(*depth_sentences(depth))
    columns: dict[str, Any] = {
        "hammer price over": lambda row: option_words(row["against"]),
        "sales": "{sales:,}",
        "middle": "{median:.2f}",
        "interval": "{low:.2f} to {high:.2f}",
        "below": "{below:.0%}",
    }
    print_table(columns, depth.against.filter(pl.col("sales") != 0), figures=True, empty="")
    columns = {
        "condition band": "{band}",
        "to": lambda row: day_words(row["to_date"]),
        "over the next below": premium,
        "interval": "{low:+.0f}% to {high:+.0f}%",
        "sales": "{sales:,}",
    }
    print_table(columns, depth.band_premiums, figures=True, empty="")


def _print_lines(comparables: Comparables, record: str) -> None:
    columns: dict[str, Any] = {
        "line": "{line}",
        "sale": "{comparable}",
        "subject": "{subject}",
        "per cent": "{per_cent:+.1f}%",
        "money": "{money:+,.2f}",
        "price after": "{price_after:,.2f}",
        "source": lambda row: Text(row["source"], style="dim"),
    }
    print_table(columns, lines_in_words(comparables, record), figures=True, title=f"Sale {record}")
