"""What the command line shows of the market evidence."""

from rich.table import Table
from rich.text import Text

from pricing.cli.printing.terminal import console, figure_table
from pricing.decisions.approaches import Difference
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.depth import Depth
from pricing.evidence.indices.index import PriceIndex
from pricing.words.approaches import difference_sentence
from pricing.words.depth import depth_sentences
from pricing.words.evidence import (
    index_sentence,
    lines_in_words,
    reconciliation_sentences,
)
from pricing.words.language.reader import day_words
from pricing.words.sentences import CAUTION, money_words, option_words

ID_SHOWN = 12
"""Of a record's id; so much of it, or less, names it on the command line too."""


def show_index(index: PriceIndex) -> None:
    """An index, a row a period."""
    out = console()
    deflated = index.frame["real"].is_not_null().any()
    table = figure_table("period", "sales", "index", "interval", *(["deflated"] if deflated else []))
    for row in index.frame.iter_rows(named=True):
        if row["index"] is None:
            table.add_row(row["period"], f"{row['sales']:,}", "", Text(row["note"], style="dim"))
            continue
        real = [] if not deflated else ["" if row["real"] is None else f"{row['real']:.1f}"]
        interval = "not known" if row["low"] is None else f"{row['low']:.1f} to {row['high']:.1f}"
        table.add_row(row["period"], f"{row['sales']:,}", f"{row['index']:.1f}", interval, *real)
    out.print(Text(index_sentence(index)))
    out.print(table)


def show_comparables(comparables: Comparables, apart: Difference | None, *, lines: bool) -> None:
    """Comparable sales and the reconciled value, with every line of adjustment on request."""
    out = console()
    ends = {"low": comparables.low, "mid": comparables.mid, "high": comparables.high}
    said = [
        f"{name} {money_words(end, comparables.currency)}" for name, end in ends.items() if end is not None
    ]
    out.print(Text(", ".join(said), style="bold"))
    out.print(Text(f"all-in prices in {comparables.currency} at {day_words(comparables.as_of)}"))
    out.print()
    table = figure_table("record", "sold", "band", "price", "net", "gross", "adjusted", "weight", "beyond")
    for row in comparables.table.iter_rows(named=True):
        table.add_row(
            Text(row["record_id"][:ID_SHOWN]),
            row["event_date"].isoformat(),
            row["condition_band"] or "not graded",
            f"{row['price']:,.0f}",
            f"{row['net_per_cent']:+.0f}%",
            f"{row['gross_per_cent']:.0f}%",
            f"{row['adjusted_price']:,.0f}",
            f"{row['weight']:.0%}",
            Text("; ".join(option_words(flag.partition(" over")[0]) for flag in row["flags"]), style="dim"),
        )
    out.print(table)
    if lines:
        for record in comparables.table["record_id"]:
            out.print(_lines_table(comparables, record))
    for sentence in reconciliation_sentences(comparables):
        out.print(Text(sentence))
    if apart is not None:
        out.print(Text(difference_sentence(apart)))
    out.print()
    left = figure_table("left out", "sales")
    counted = comparables.left_out.select("reason", "sales").group_by("reason", maintain_order=True).sum()
    for reason, sales in counted.iter_rows():
        left.add_row(Text(reason), f"{sales:,}")
    if left.row_count:
        out.print(left)
    out.print(Text(CAUTION, style="italic"))


def show_depth(depth: Depth) -> None:
    """How much is known."""
    out = console()
    for sentence in depth_sentences(depth):
        out.print(Text(sentence))
    against = figure_table("hammer price over", "sales", "middle", "interval", "below")
    for row in depth.against.iter_rows(named=True):
        if row["sales"]:
            interval = "" if row["low"] is None else f"{row['low']:.2f} to {row['high']:.2f}"
            middle = f"{row['median']:.2f}"
            against.add_row(
                option_words(row["against"]), f"{row['sales']:,}", middle, interval, f"{row['below']:.0%}"
            )
    if against.row_count:
        out.print(against)
    bands = figure_table("condition band", "to", "over the next below", "interval", "sales")
    for row in depth.band_premiums.iter_rows(named=True):
        if row["per_cent"] is None:
            bands.add_row(
                row["band"],
                day_words(row["to_date"]),
                Text("not enough sales", style="dim"),
                "",
                f"{row['sales']:,}",
            )
            continue
        interval = f"{row['low']:+.0f}% to {row['high']:+.0f}%"
        bands.add_row(
            row["band"], day_words(row["to_date"]), f"{row['per_cent']:+.0f}%", interval, f"{row['sales']:,}"
        )
    if bands.row_count:
        out.print(bands)


def _lines_table(comparables: Comparables, record: str) -> Table:
    table = figure_table(
        "line", "sale", "subject", "per cent", "money", "price after", "source", title=f"Sale {record}"
    )
    for row in lines_in_words(comparables, record).iter_rows(named=True):
        table.add_row(
            Text(row["line"]),
            Text(row["comparable"]),
            Text(row["subject"]),
            "" if row["per_cent"] is None else f"{row['per_cent']:+.1f}%",
            "" if row["money"] is None else f"{row['money']:+,.2f}",
            f"{row['price_after']:,.2f}",
            Text(row["source"], style="dim"),
        )
    return table
