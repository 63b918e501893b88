"""What the command line shows of a backtest."""

from collections.abc import Iterator
from typing import Any, Final

from pricing.charts.scores import part_words, value_words
from pricing.cli.printing.console import print_table, say
from pricing.model.accuracy.backtest import Backtest
from pricing.model.accuracy.ratio_study import EDITION, SUSPICIOUS_COD

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
