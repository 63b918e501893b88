"""What the command line shows of a backtest."""

from typing import Any, Final

from rich.table import Table
from rich.text import Text

from pricing.charts.scores import part_words, value_words
from pricing.cli.printing.terminal import console, figure_table
from pricing.model.accuracy.backtest import Backtest
from pricing.model.accuracy.ratio_study import EDITION, SUSPICIOUS_COD

ROWS_A_PART: Final = 12
"""Values of a part that are shown, those with most sales."""


def show_scores(scored: Backtest) -> None:
    """A backtest as a person reads it: all sales, then every part, then what the words mean."""
    out = console()
    days = ", ".join(origin.isoformat() for origin in scored.origins)
    out.print(f"{len(scored.rows):,} sales scored by models fitted to what was known on {days}.\n")
    overall = scored.scores().row(0, named=True)
    out.print(_whole(overall))
    for part in scored.parts:
        rows = scored.scores(part).to_dicts()
        largest = sorted(range(len(rows)), key=lambda place: -rows[place]["sales"])[:ROWS_A_PART]
        named = [(value_words(part, rows[place]["value"]), rows[place]) for place in sorted(largest)]
        out.print()
        out.print(_parted(part_words(part), named))
        if len(rows) > len(named):
            out.print(f"and {len(rows) - len(named):,} with fewer sales, which --json lists")
    out.print()
    out.print(
        Text(
            "inside: per cent of the sales whose price lay inside the range given, in square brackets where "
            "the true share may lie (95% interval). width: high over low price, median, of the sales given "
            "both ranges. pinball: mean loss of seven quantiles of log price, times 1,000. ratio: mid price "
            f"over price paid, median. COD (in per cent), PRD and PRB: {EDITION}; nothing official says "
            "which values are good for cars."
        )
    )
    if overall["suspicious"]:
        out.print(
            f"A COD below {SUSPICIOUS_COD:g} is suspicious: are the same sales on record more than once?"
        )


def _whole(scores: dict[str, Any]) -> Table:
    """All sales: one line a measure, with its interval."""
    table = figure_table("all sales", "", "95% interval")
    lines = (
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
    for words, pattern, form in lines:
        value, low, high = _value_and_interval(scores, pattern)
        table.add_row(words, _number(value, form), "" if low is None else f"{low:{form}} to {high:{form}}")
    return table


def _parted(name: str, rows: list[tuple[str, dict[str, Any]]]) -> Table:
    """One line a value of a part."""
    table = figure_table(name, "sales", "inside 80%", "inside 90%", "width 80%", "pinball", "ratio", "COD")
    for value, scores in rows:
        cells = [
            f"{scores['sales']:,}",
            *(_share(*_value_and_interval(scores, f"coverage{{}}_{share}")) for share in (80, 90)),
            _number(scores["width_80"], ".2f"),
            _number(scores["pinball"], ".1f"),
            _number(scores["median_ratio"], ".2f"),
            _number(scores["cod"], ".1f"),
        ]
        table.add_row(Text(_plain(value)), *(Text(cell) for cell in cells))
    return table


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
