"""Charts of a backtest: facts in, ``alt.LayerChart`` out; a caption of the same name says what each shows."""

from typing import Any, Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, MAIN, QUIET
from pricing.charts.encodings import LEGEND, MONEY, colours, name_axis, tips, titled
from pricing.charts.valuation import UNGRADED
from pricing.model.accuracy.backtest import COVERAGES, SUFFIXES, Backtest
from pricing.words.language.reader import day_words, long_day_form, number_words
from pricing.words.sentences import option_words

MOST_POINTS: Final = 1500
"""Sales drawn as points, evenly spaced in time; more would hide each other."""

WIDTH: Final = 480

PART_WORDS: Final = {"evidence": "evidence depth", "sale_year": "year of sale", "decade": "decade built"}

_PROMISED: Final = {
    f"{100 * share:g}% range": colour for share, colour in zip(COVERAGES, (MAIN, ASKED), strict=True)
}
"""What each range promises to hold, and its colour."""


def part_words(part: str) -> str:
    """What a part of a backtest is called.

    >>> part_words("evidence"), part_words("condition_band")
    ('evidence depth', 'condition band')
    """
    return PART_WORDS.get(part, option_words(part))


def value_words(part: str, value: str | None) -> str:
    """What a value of a part is called.

    >>> value_words("condition_band", None), value_words("decade", "1960")
    ('not graded', '1960s')
    """
    if value is None:
        return UNGRADED if part == "condition_band" else "not said"
    return f"{value}s" if part == "decade" else value


def coverage_chart(backtest: Backtest, part: str = "evidence") -> alt.LayerChart:
    """Share of sales inside their range, with its binomial interval, beside the share promised."""
    base, colour = _by_part(backtest, part, "coverage"), colours("range:N", _PROMISED)
    tooltip = _tips(part, "coverage")
    inside = "sales inside their range (%), with the 95% interval"
    x = alt.X("coverage_low:Q", title=inside, scale=alt.Scale(zero=False, domainMax=100))
    shapes = alt.Scale(domain=list(_PROMISED), range=["circle", "square"])
    promised = pl.DataFrame({"promised": [100 * share for share in COVERAGES], "range": list(_PROMISED)})
    rules = alt.Chart(promised).mark_rule(strokeDash=[4, 3], strokeWidth=1.5)
    layers = [
        rules.encode(x="promised:Q", color=colour),
        base.mark_rule(strokeWidth=2).encode(x=x, x2="coverage_high:Q", color=colour, tooltip=tooltip),
        base.mark_point(filled=True, size=70, opacity=1).encode(
            x="coverage:Q",
            color=colour,
            shape=alt.Shape("range:N", title=None, scale=shapes, legend=LEGEND),
            tooltip=tooltip,
        ),
    ]
    return _scored(layers, "How often ranges held the price paid", backtest)


def width_chart(backtest: Backtest, part: str = "evidence") -> alt.LayerChart:
    """How wide the ranges were: the median of high over low."""
    base = _by_part(backtest, part, "width")
    x = alt.X("one:Q", title="high price over low price (times, median)", scale=alt.Scale(zero=False))
    color = colours("range:N", _PROMISED)
    words = base.mark_text(align="left", dx=5, fontSize=11, color=QUIET)
    layers = [
        base.mark_bar(height=9).encode(x=x, x2="width:Q", color=color, tooltip=_tips(part, "width")),
        words.encode(x="width:Q", text=alt.Text("width:Q", format=".2f")),
    ]
    return _scored(layers, "How wide the ranges were", backtest)


def ratio_chart(backtest: Backtest, currency: str, basis: str = "all-in") -> alt.LayerChart:
    """Mid price over price paid against the car's value: level, likeness, and whether dear cars are missed
    otherwise than cheap ones.

    Value is half price paid and half mid price at the median level, as in the price-related bias: against the
    price paid alone every estimate would seem to flatten prices.
    """
    median = backtest.scores()["median_ratio"][0]
    rows = _drawn(backtest).select(
        "event_date",
        "evidence",
        "mid",
        "actual",
        ratio=pl.col("mid") / pl.col("actual"),
        value=pl.col("actual") / 2 + pl.col("mid") / 2 / (1.0 if median is None else median),
    )
    scale = alt.Scale(type="log", nice=False, padding=8)
    values = alt.Axis(format=MONEY, tickCount=6, labelOverlap=True, grid=False)
    value = f"value: half price paid, half mid price ({currency}, {basis})"
    ratios = alt.Axis(format="~g", tickCount=6, grid=False)
    rings = alt.Chart(rows).mark_point(size=22, filled=False, color=MAIN, strokeWidth=1, opacity=0.6)
    points = rings.encode(
        x=alt.X("value:Q", title=value, scale=scale, axis=values),
        y=alt.Y("ratio:Q", title="mid price over price paid (ratio)", scale=scale, axis=ratios),
        tooltip=tips(
            ("event_date:T", "sold", long_day_form()),
            ("evidence:N", "evidence depth"),
            ("mid:Q", f"mid price ({currency})", MONEY),
            ("actual:Q", f"price paid ({currency})", MONEY),
            ("ratio:Q", "", ".2f"),
        ),
    )
    lines = pl.DataFrame({"ratio": [1.0, median], "line": ["as paid", "median"]}).drop_nulls()
    dash = alt.Scale(domain=["as paid", "median"], range=[[1, 0], [6, 4]])
    rules = alt.Chart(lines).mark_rule(color=ASKED, strokeWidth=2)
    dashes = alt.StrokeDash("line:N", title=None, scale=dash, legend=LEGEND)
    layers = [points, rules.encode(y="ratio:Q", strokeDash=dashes)]
    return _scored(layers, "Mid prices beside the prices paid", backtest, 320)


def coverage_caption(backtest: Backtest, part: str = "evidence") -> str:
    """What ``coverage_chart`` shows."""
    scores = backtest.scores().row(0, named=True)
    withheld = max(scores[f"withheld{suffix}"] for suffix in SUFFIXES)
    refused = f" For {number_words(withheld)} sales a range was refused; they are not counted."
    return (
        f"Each mark is the share of later sales, by {part_words(part)}, whose price fell inside the range "
        "given before; the line through it is where the true share may lie, given so many sales. The dashed "
        f"lines are the shares promised.{refused if withheld else ''}"
    )


def width_caption(backtest: Backtest, part: str = "evidence") -> str:
    """What ``width_chart`` shows."""
    return (
        f"Each bar is how many times its low price the high price of a range was, by {part_words(part)}: "
        "half of the ranges were narrower, among sales for which both were given. A narrow range is worth "
        "having only where it holds what it promises."
    )


def ratio_caption(backtest: Backtest) -> str:
    """What ``ratio_chart`` shows."""
    scores = backtest.scores().row(0, named=True)
    points, sales = len(_drawn(backtest)), len(backtest.rows)
    drawn = "" if points == sales else f" {number_words(points)} of {number_words(sales)} sales are drawn."
    if scores["cod"] is None:
        return f"Each ring is a sale; above the line the mid price was higher than the price paid.{drawn}"
    return (
        "Each ring is a sale; above the full line the mid price was higher than the price paid. Half of the "
        f"ratios are below {scores['median_ratio']:.2f}, the broken line, and on average a ratio is "
        f"{scores['cod']:.0f}% away from it. A cloud that slopes tells of dear cars priced otherwise than "
        f"cheap ones.{drawn}"
    )


def _drawn(backtest: Backtest) -> pl.DataFrame:
    """The rows drawn as points, in order of date."""
    rows = backtest.rows.sort("event_date", maintain_order=True)
    return rows.gather_every(-(-len(rows) // MOST_POINTS))


def _by_part(backtest: Backtest, part: str, measure: str) -> alt.Chart:
    """Scores by part with one row a coverage, shares in per cent, laid out part by part."""
    scores = backtest.scores(part)
    values = pl.Series("value", [value_words(part, value) for value in scores["value"]], dtype=pl.String)
    columns = ("coverage", "coverage_low", "coverage_high", "ranges", "withheld", "width")
    rows = pl.concat(
        scores.select(
            values,
            "sales",
            *(pl.col(name + suffix).alias(name) for name in columns),
            pl.lit(promised).alias("range"),
            pl.lit(1.0).alias("one"),
        )
        for suffix, promised in zip(SUFFIXES, _PROMISED, strict=True)
    ).with_columns(pl.col("^coverage.*$") * 100.0)
    rows = rows.drop_nulls(measure)
    return alt.Chart(rows).encode(
        y=name_axis("value:N", rows["value"].unique(maintain_order=True).to_list(), 130, part_words(part)),
        yOffset=alt.YOffset("range:N", sort=list(_PROMISED)),
    )


_MEASURED: Final = {
    "coverage": (
        ("coverage:Q", "inside (%)", ".1f"),
        ("coverage_low:Q", "at least (%)", ".1f"),
        ("coverage_high:Q", "at most (%)", ".1f"),
    ),
    "width": (("width:Q", "high over low (times)", ".2f"),),
}


def _tips(part: str, measure: str) -> list[alt.Tooltip]:
    counts = ("ranges:Q", "ranges given", ",d"), ("withheld:Q", "ranges refused", ",d")
    return tips(("value:N", part_words(part)), "range:N", *_MEASURED[measure], *counts)


def _scored(layers: list[alt.Chart], text: str, backtest: Backtest, height: Any = None) -> alt.LayerChart:
    """A chart of so high, or as high as its lines need, with the sales that it is of below its title."""
    days = backtest.rows.select(first=pl.col("event_date").min(), last=pl.col("event_date").max()).row(0)
    first, last = map(day_words, days)
    sales = f"{number_words(len(backtest.rows))} sales from {first} to {last}"
    title = titled(text, f"{sales}, each priced by a model that had not seen it")
    return alt.LayerChart(layer=layers, title=title, width=WIDTH, height=height or alt.Step(30))
