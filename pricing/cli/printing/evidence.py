"""What the command line shows of the market evidence, and of how good the price model is."""

from collections.abc import Iterator
from typing import Any, Final

import polars as pl
from rich.text import Text

from pricing.charts.scores import part_words, value_words
from pricing.cli.printing.console import caution, print_table, say
from pricing.decisions.approaches import Difference
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.depth import Depth
from pricing.evidence.indices.index import PriceIndex
from pricing.model.accuracy.backtest import Backtest
from pricing.model.accuracy.ratio_study import EDITION, SUSPICIOUS_COD
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


ROWS_A_PART: Final = 12
"""Values of a part that are shown, those with most sales."""

MEASURES: Final = (
    ("inside their 80% range", "coverage{}_80", ".1%"),
    ("inside their 90% range", "coverage{}_90", ".1%"),
    ("width of 80% ranges", "width_80", ".2f"),
    ("width of 90% ranges", "width_90", ".2f"),
    ("80% ranges refused", "withheld_80", ",d"),
    ("90% ranges refused", "withheld_90", ",d"),
    ("pinball loss", "pinball", ".1f"),
    ("CRPS of log price, times 1,000", "crps", ".1f"),
    ("median ratio", "median_ratio{}", ".3f"),
    ("weighted mean ratio", "weighted_mean{}", ".3f"),
    ("COD", "cod{}", ".1f"),
    ("COV", "cov", ".1f"),
    ("PRD", "prd{}", ".3f"),
    ("PRB", "prb{}", ".3f"),
)
"""What is told of all sales: words, names of the scores (of value and interval, by the braces), form."""


def show_scores(scored: Backtest) -> None:
    """A backtest as a person reads it: all sales, then every part, then what the words mean."""
    days = ", ".join(origin.isoformat() for origin in scored.origins)
    say(f"{len(scored.rows):,} sales scored by models fitted to what was known on {days}.", "")
    overall = scored.scores().row(0, named=True)
    columns: dict[str, Any] = {"all sales": "{words}", "": "{value}", "95% interval": "{interval}"}
    print_table(columns, _whole(overall), figures=True)
    for part in scored.parts:
        rows = scored.scores(part).to_dicts()
        largest = sorted(range(len(rows)), key=lambda place: -rows[place]["sales"])[:ROWS_A_PART]
        columns = {
            part_words(part): lambda row, part=part: _plain(value_words(part, row["value"])),
            "sales": "{sales:,}",
            "inside 80%": lambda row: _share(*_value_and_interval(row, "coverage{}_80")),
            "inside 90%": lambda row: _share(*_value_and_interval(row, "coverage{}_90")),
            "width 80%": lambda row: _number(row["width_80"], ".2f"),
            "pinball": lambda row: _number(row["pinball"], ".1f"),
            "ratio": lambda row: _number(row["median_ratio"], ".2f"),
            "COD": lambda row: _number(row["cod"], ".1f"),
        }
        say("")
        print_table(columns, [rows[place] for place in sorted(largest)], figures=True)
        if len(rows) > len(largest):
            say(f"and {len(rows) - len(largest):,} with fewer sales, which --json lists")
    say(
        "",
        "inside: per cent of the sales whose price lay inside the range given, in square brackets where "
        "the true share may lie (95% interval). width: high over low price, median, of the sales given "
        "both ranges. pinball: mean loss of seven quantiles of log price, times 1,000. ratio: mid price "
        f"over price paid, median. COD (in per cent), PRD and PRB: {EDITION}; nothing official says "
        "which values are good for cars.",
    )
    if overall["suspicious"]:
        say(f"A COD below {SUSPICIOUS_COD:g} is suspicious: are the same sales on record more than once?")


def _whole(scores: dict[str, Any]) -> Iterator[dict[str, str]]:
    """All sales: one line a measure, with its interval."""
    for words, pattern, form in MEASURES:
        value, low, high = _value_and_interval(scores, pattern)
        interval = "" if low is None else f"{low:{form}} to {high:{form}}"
        yield {"words": words, "value": _number(value, form), "interval": interval}


def _value_and_interval(scores: dict[str, Any], pattern: str) -> tuple[Any, Any, Any]:
    """A measure and the ends of its interval, which are None when it has none."""
    ends = ("", "_low", "_high") if "{}" in pattern else ("",)
    value, *interval = (scores[pattern.format(end)] for end in ends)
    low, high = interval if interval else (None, None)
    return value, low, high


def _share(value: float | None, low: float, high: float) -> str:
    return "-" if value is None else f"{100 * value:.0f} [{100 * low:.0f}, {100 * high:.0f}]"


def _number(value: float | int | None, form: str) -> str:
    return "-" if value is None else f"{value:{form}}"


def _plain(name: str) -> str:
    """Text without what would steer a terminal."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name)
