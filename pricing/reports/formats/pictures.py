"""Pictures of the written documents: the project's charts in one size and type, as SVG and PNG.

A chart is kept as Vega-Lite and drawn as SVG, whose letters are set in the typeface of the PDF; the word
processor gets the same as PNG.
"""

import re
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final

import altair as alt
import polars as pl
import typst
import vl_convert

from pricing.appraisal.facts import Facts
from pricing.appraisal.figures import valued_for
from pricing.charts.design import ASKED, MAIN, PALE, QUIET
from pricing.charts.drawing import drawable
from pricing.charts.encodings import ENDS, colours, name_axis, price_axis
from pricing.charts.evidence import comparables_chart, index_chart
from pricing.charts.valuation import distribution_chart, terms_chart
from pricing.evidence.comparison.comparables import Comparables
from pricing.reports.figure_words import level_words
from pricing.words.language.locale import LocaleWords

WIDTH: Final = 620
"""Of a picture, in points of its own; every document scales it to its text."""

LABEL_WIDTH: Final = 230
"""Of the longest name of a term, on paper."""

TYPEFACE: Final = "Libertinus Serif"

DOTS: Final = 180.0
"""Of a PNG, to the inch."""

VEGA_LITE: Final = "6.1"
"""The grammar the converter is asked for."""

_HIDDEN: Final = re.compile(r"<text[^>]* opacity=\"0\"[^>]*>[^<]*</text>")

Picture = dict[str, Any]


def pictures(facts: Facts, words: LocaleWords) -> dict[str, Picture]:
    """Every picture that there is evidence for, by name: ranges, index, comparables, distribution, terms."""
    evidence, drawn = facts.evidence, ranges_picture(facts, words)
    if evidence.index is not None:
        chart = index_chart(evidence.index, words)
        chart.vconcat = [
            part.properties(width=WIDTH - 60, height=height)
            for part, height in zip(chart.vconcat, (190, 50), strict=True)
        ]
        drawn["index"] = _plain(chart, words, fitted=False)
    if evidence.comparables is not None:
        compared = comparables_chart(_in_client_currency(evidence.comparables, facts), words)
        drawn["comparables"] = _plain(compared, words)
    if evidence.valuation.mid is not None:
        valued = valued_for(evidence)
        columns = distribution_chart(valued, words=words).properties(height=210)
        bars = terms_chart(valued, words, LABEL_WIDTH).properties(height=alt.Step(19))
        drawn |= {"distribution": _plain(columns, words), "terms": _plain(bars, words)}
    return drawn


def _in_client_currency(comparables: Comparables, facts: Facts) -> Comparables:
    """The comparables as the table beside the picture has them: all-in, in the client's currency."""
    into, table = facts.evidence.conversion.from_base, comparables.table
    table = table.with_columns(
        pl.Series(name, [into(price) for price in table[name]], dtype=pl.Decimal(18, 2))
        for name in ("price", "adjusted_price")
    )
    low, high = (None if end is None else into(end) for end in (comparables.low, comparables.high))
    mid, currency = into(comparables.mid), facts.currency
    return replace(comparables, table=table, low=low, mid=mid, high=high, currency=currency)


def ranges_picture(facts: Facts, words: LocaleWords) -> dict[str, Picture]:
    """The picture of the ranges alone; none where there is no range. Of many cars each is the picture of one
    with other data in it, for to draw up a chart takes longer than all else on its page."""
    if facts.model is None and facts.comparables is None:
        return {}
    frame = _ranges_frame(facts, words)
    picture = _drawn_up(tuple(frame["name"]), tuple(frame["part"]), _ranges_title(facts, words), words)
    ((name, _),) = picture["datasets"].items()
    return {"ranges": {**picture, "datasets": {name: drawable(frame.to_dicts())}}}


@lru_cache(maxsize=32)
def _drawn_up(names: tuple[str, ...], parts: tuple[str, ...], title: str, words: LocaleWords) -> Picture:
    """The picture of ranges of these names, whatever they are."""
    empty = {end: [0.0] * len(names) for end in ENDS}
    frame = pl.DataFrame({"name": names, "part": parts, "words": [""] * len(names), **empty})
    return _plain(_ranges_layers(frame, title).properties(height=alt.Step(40)), words)


def ranges_chart(facts: Facts, words: LocaleWords) -> alt.LayerChart:
    """The range of each approach as a bar with its mid price, and the valuer's opinion below them."""
    return _ranges_layers(_ranges_frame(facts, words), _ranges_title(facts, words))


def _ranges_title(facts: Facts, words: LocaleWords) -> str:
    return words.say("{level} price ({currency})", level=level_words(facts, words), currency=facts.currency)


def _ranges_frame(facts: Facts, words: LocaleWords) -> pl.DataFrame:
    rows: list[dict[str, Any]] = []
    for name, span in (
        (words.say("price model"), facts.model),
        (words.say("comparable sales"), facts.comparables),
    ):
        if span is not None:
            figures = dict(zip(ENDS, map(float, span.figures), strict=True))
            rows.append({"name": name, "part": "evidence", **figures})
    if facts.opinion is not None:
        low, high = (float(part) for part in facts.opinion)
        ends = {"low": low, "mid": None if low < high else low, "high": high}
        rows.append({"name": words.say("valuer's opinion"), "part": "opinion", **ends})
    schema = {"name": pl.String, "part": pl.String, **dict.fromkeys(ENDS, pl.Float64)}
    return pl.DataFrame(rows, schema=schema).with_columns(
        words=pl.Series([_ends(row, facts, words) for row in rows], dtype=pl.String)
    )


def _ranges_layers(frame: pl.DataFrame, title: str) -> alt.LayerChart:
    base = alt.Chart(frame).encode(y=name_axis("name:N", frame["name"].to_list(), 160))
    pale, dark = ({"evidence": colour, "opinion": ASKED} for colour in (PALE, MAIN))
    bars = base.mark_bar(height=14).encode(
        x=price_axis("low:Q", title, padding=30), x2="high:Q", color=colours("part:N", pale, None)
    )
    ticks = base.transform_filter("isValid(datum.mid)").mark_tick(thickness=4, size=20)
    middle = base.transform_calculate(middle="(datum.low + datum.high) / 2")
    return alt.layer(
        bars,
        ticks.encode(x="mid:Q", color=colours("part:N", dark, None)),
        middle.mark_text(dy=-15, fontSize=12, color=QUIET).encode(x="middle:Q", text="words:N"),
    ).resolve_scale(color="independent")


def vega_locale(words: LocaleWords) -> dict[str, Any]:
    """How a locale writes numbers and days, as the grammar of charts takes it (``config.locale``, the
    definitions of d3-format and d3-time-format), from the Unicode locale data.

    >>> vega_locale(LocaleWords.of("de_DE"))["number"]["thousands"]
    '.'
    """
    locale = words.locale
    marks = locale.number_symbols["latn"]
    months, days = locale.months["stand-alone"], locale.days["stand-alone"]
    week = (6, 0, 1, 2, 3, 4, 5)  # from Sunday on, which the locale data counts last

    def named(table: Any, width: str, places: Any) -> list[str]:
        return [str(table[width][place]) for place in places]

    return {
        "number": {
            "decimal": marks["decimal"], "thousands": marks["group"], "grouping": [3],
            "currency": ["", ""], "minus": "\u2212", "percent": words.share(0.0).removeprefix("0"),
        },
        "time": {
            "dateTime": "%d %b %Y %H:%M", "date": "%d.%m.%Y", "time": "%H:%M", "periods": ["", ""],
            "days": named(days, "wide", week), "shortDays": named(days, "abbreviated", week),
            "months": named(months, "wide", range(1, 13)),
            "shortMonths": named(months, "abbreviated", range(1, 13)),
        },
    }  # fmt: skip


def svg(picture: Picture) -> str:
    """A picture as SVG text, without the labels that overlap: hidden there, they would still be read out."""
    drawn = str(vl_convert.vegalite_to_svg(picture, vl_version=VEGA_LITE))
    return _HIDDEN.sub("", drawn)


def png(picture: Picture) -> bytes:
    """A picture as PNG, sharp in print: the SVG, its letters set in the same typeface as in the PDF."""
    page = (
        b"#set page(width: auto, height: auto, margin: 0pt)\n"
        b'#image(bytes(sys.inputs.svg), format: "svg", width: 480pt)'
    )
    return typst.compile(page, format="png", ppi=DOTS, sys_inputs={"svg": svg(picture)})


def _ends(row: dict[str, Any], facts: Facts, words: LocaleWords) -> str:
    show = words.money if row["part"] == "opinion" else words.about
    ends = [show(Decimal(str(row[name])), facts.currency) for name in ("low", "high")]
    return ends[0] if row["low"] == row["high"] else " \u2013 ".join(ends)


def _plain(chart: Any, words: LocaleWords, *, fitted: bool = True) -> Picture:
    """A chart as Vega-Lite without a title, which the caption gives, ``WIDTH`` wide with all that is in it,
    its axes as a locale writes numbers and days, and with nothing in it that acts unseen."""
    chart.title = alt.Undefined
    if fitted:
        chart = chart.properties(width=WIDTH, autosize=alt.AutoSizeParams(type="fit-x", contains="padding"))
    chart = chart.configure(font=TYPEFACE).configure_view(strokeWidth=0).configure_text(fontSize=12)
    chart = chart.configure_legend(labelFontSize=12).configure_axis(
        labelFontSize=12, titleFontSize=12, titleFontWeight="normal", gridColor="#e4e4e4"
    )
    picture: Picture = drawable(chart.to_dict(validate=False))
    picture["config"]["locale"] = vega_locale(words)
    return picture
