"""Charts of a backtest: facts in, ``alt.LayerChart`` out; a caption of the same name says what each shows."""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, MAIN, QUIET
from pricing.charts.valuation import UNGRADED
from pricing.model.accuracy.backtest import COVERAGES, SUFFIXES, Backtest
from pricing.words.language.reader import day_words, long_day_form, number_words
from pricing.words.sentences import option_words

MOST_POINTS: Final = 1500
"""Sales drawn as points, evenly spaced in time; more would hide each other."""

WIDTH: Final = 480

PART_WORDS: Final = {
    "evidence": "evidence depth",
    "sale_year": "year of sale",
    "decade": "decade built",
}

_PROMISED: Final = [f"{100 * share:g}% range" for share in COVERAGES]


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
    scores = _by_coverage(backtest, part).drop_nulls("coverage")
    base = alt.Chart(scores)
    axis, colour, offset = _part_axis(scores, part), _colour(), _offset()
    spans = base.mark_rule(strokeWidth=2).encode(
        y=axis,
        yOffset=offset,
        x=alt.X(
            "coverage_low:Q",
            title="sales inside their range (%), with the 95% interval",
            scale=alt.Scale(zero=False, domainMax=100),
        ),
        x2=alt.X2("coverage_high:Q"),
        color=colour,
        tooltip=_tooltip(part, "coverage"),
    )
    points = base.mark_point(filled=True, size=70, opacity=1).encode(
        y=axis,
        yOffset=offset,
        x=alt.X("coverage:Q"),
        color=colour,
        shape=_shape(),
        tooltip=_tooltip(part, "coverage"),
    )
    promised = pl.DataFrame({"promised": [100 * share for share in COVERAGES], "range": _PROMISED})
    rules = (
        alt.Chart(promised)
        .mark_rule(strokeDash=[4, 3], strokeWidth=1.5)
        .encode(x=alt.X("promised:Q"), color=colour)
    )
    return alt.LayerChart(
        layer=[rules, spans, points],
        title=_title("How often ranges held the price paid", backtest),
        width=WIDTH,
        height=alt.Step(30),
    )


def width_chart(backtest: Backtest, part: str = "evidence") -> alt.LayerChart:
    """How wide the ranges were: the median of high over low."""
    scores = _by_coverage(backtest, part).drop_nulls("width")
    base = alt.Chart(scores)
    axis, offset = _part_axis(scores, part), _offset()
    bars = base.mark_bar(height=9).encode(
        y=axis,
        yOffset=offset,
        x=alt.X("one:Q", title="high price over low price (times, median)", scale=alt.Scale(zero=False)),
        x2=alt.X2("width:Q"),
        color=_colour(),
        tooltip=_tooltip(part, "width"),
    )
    words = base.mark_text(align="left", dx=5, fontSize=11, color=QUIET).encode(
        y=axis, yOffset=offset, x=alt.X("width:Q"), text=alt.Text("width:Q", format=".2f")
    )
    return alt.LayerChart(
        layer=[bars, words],
        title=_title("How wide the ranges were", backtest),
        width=WIDTH,
        height=alt.Step(30),
    )


def ratio_chart(backtest: Backtest, currency: str, basis: str = "all-in") -> alt.LayerChart:
    """Mid price over price paid against the car's value: level, likeness, and whether dear cars are missed
    otherwise than cheap ones.

    Value is half price paid and half mid price at the median level, as in the price-related bias: against the
    price paid alone every estimate would seem to flatten prices.
    """
    median = backtest.scores()["median_ratio"][0]
    shown = _drawn(backtest).select(
        "event_date",
        "evidence",
        "mid",
        "actual",
        ratio=pl.col("mid") / pl.col("actual"),
        value=pl.col("actual") / 2 + pl.col("mid") / 2 / (1.0 if median is None else median),
    )
    points = (
        alt.Chart(shown)
        .mark_point(size=22, filled=False, color=MAIN, strokeWidth=1, opacity=0.6)
        .encode(
            x=alt.X(
                "value:Q",
                title=f"value: half price paid, half mid price ({currency}, {basis})",
                scale=alt.Scale(type="log", nice=False, padding=8),
                axis=alt.Axis(format=",.0f", tickCount=6, labelOverlap=True, grid=False),
            ),
            y=alt.Y(
                "ratio:Q",
                title="mid price over price paid (ratio)",
                scale=alt.Scale(type="log", nice=False, padding=8),
                axis=alt.Axis(format="~g", tickCount=6, grid=False),
            ),
            tooltip=[
                alt.Tooltip("event_date:T", title="sold", format=long_day_form()),
                alt.Tooltip("evidence:N", title="evidence depth"),
                alt.Tooltip("mid:Q", title=f"mid price ({currency})", format=",.0f"),
                alt.Tooltip("actual:Q", title=f"price paid ({currency})", format=",.0f"),
                alt.Tooltip("ratio:Q", format=".2f"),
            ],
        )
    )
    lines = pl.DataFrame({"ratio": [1.0, median], "line": ["as paid", "median"]}).drop_nulls()
    dash = alt.Scale(domain=["as paid", "median"], range=[[1, 0], [6, 4]])
    rules = (
        alt.Chart(lines)
        .mark_rule(color=ASKED, strokeWidth=2)
        .encode(
            y=alt.Y("ratio:Q"), strokeDash=alt.StrokeDash("line:N", title=None, scale=dash, legend=_legend())
        )
    )
    return alt.LayerChart(
        layer=[points, rules],
        title=_title("Mid prices beside the prices paid", backtest),
        width=WIDTH,
        height=320,
    )


def coverage_caption(backtest: Backtest, part: str = "evidence") -> str:
    """What ``coverage_chart`` shows."""
    scores = backtest.scores().row(0, named=True)
    withheld = max(scores[f"withheld{suffix}"] for suffix in SUFFIXES)
    kept_back = (
        f" For {number_words(withheld)} sales a range was refused; they are not counted." if withheld else ""
    )
    return (
        f"Each mark is the share of later sales, by {part_words(part)}, whose price fell inside the range "
        "given before; the line through it is where the true share may lie, given so many sales. The dashed "
        f"lines are the shares promised.{kept_back}"
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
    shown, sales = len(_drawn(backtest)), len(backtest.rows)
    drawn = "" if shown == sales else f" {number_words(shown)} of {number_words(sales)} sales are drawn."
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


def _by_coverage(backtest: Backtest, part: str) -> pl.DataFrame:
    """Scores by part with one row a coverage; shares in per cent."""
    scores = backtest.scores(part)
    values = pl.Series("value", [value_words(part, value) for value in scores["value"]], dtype=pl.String)
    columns = ("coverage", "coverage_low", "coverage_high", "ranges", "withheld", "width")
    return pl.concat(
        scores.select(
            values,
            "sales",
            *(pl.col(name + suffix).alias(name) for name in columns),
            pl.lit(promised).alias("range"),
            pl.lit(1.0).alias("one"),
        )
        for suffix, promised in zip(SUFFIXES, _PROMISED, strict=True)
    ).with_columns(pl.col("^coverage.*$") * 100.0)


def _part_axis(scores: pl.DataFrame, part: str) -> alt.Y:
    order = scores["value"].unique(maintain_order=True).to_list()
    return alt.Y("value:N", sort=order, title=part_words(part), axis=alt.Axis(labelLimit=130))


def _colour() -> alt.Color:
    return alt.Color(
        "range:N",
        title=None,
        scale=alt.Scale(domain=_PROMISED, range=[MAIN, ASKED]),
        legend=_legend(),
    )


def _shape() -> alt.Shape:
    scale = alt.Scale(domain=_PROMISED, range=["circle", "square"])
    return alt.Shape("range:N", title=None, scale=scale, legend=_legend())


def _offset() -> alt.YOffset:
    return alt.YOffset("range:N", sort=_PROMISED)


def _tooltip(part: str, measure: str) -> list[alt.Tooltip]:
    measured = {
        "coverage": [
            alt.Tooltip("coverage:Q", title="inside (%)", format=".1f"),
            alt.Tooltip("coverage_low:Q", title="at least (%)", format=".1f"),
            alt.Tooltip("coverage_high:Q", title="at most (%)", format=".1f"),
        ],
        "width": [alt.Tooltip("width:Q", title="high over low (times)", format=".2f")],
    }
    return [
        alt.Tooltip("value:N", title=part_words(part)),
        alt.Tooltip("range:N"),
        *measured[measure],
        alt.Tooltip("ranges:Q", title="ranges given", format=",d"),
        alt.Tooltip("withheld:Q", title="ranges refused", format=",d"),
    ]


def _legend() -> alt.Legend:
    return alt.Legend(orient="bottom", columns=1, labelLimit=300)


def _title(words: str, backtest: Backtest) -> alt.TitleParams:
    days = backtest.rows.select(first=pl.col("event_date").min(), last=pl.col("event_date").max()).row(0)
    first, last = map(day_words, days)
    sales = f"{number_words(len(backtest.rows))} sales from {first} to {last}"
    subtitle = f"{sales}, each priced by a model that had not seen it"
    return alt.TitleParams(words, subtitle=subtitle, subtitleColor=QUIET, anchor="start", fontSize=15)
