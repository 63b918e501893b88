"""Charts of a valuation: facts in, ``alt.Chart`` out; ``captions`` says what each one shows.

Colours are those of ``design``, and shape, dash and words say the same again, so that a chart also reads in
grey print.
"""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.decisions.valuation import Valuation
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.reader import long_day_form
from pricing.words.sentences import basis_words, effect_words, term_words

UNGRADED: Final = "not graded"

ROOM: Final = 1.25
"""How far beyond the dearest bar a sale is still drawn."""

MOST_POINTS: Final = 400
"""Sales drawn as points, nearest first; more would hide each other."""


def distribution_chart(
    valuation: Valuation, comparables: pl.DataFrame | None = None, words: LocaleWords = PLAIN
) -> alt.LayerChart:
    """Cars in 100 that would sell in each price bracket, with low, mid, high and the asking price marked.

    ``comparables`` (``Comparables.table``) stand on it as points, at their adjusted prices.
    """
    currency, inside, outside = valuation.currency, words.word(_INSIDE), words.word(_OUTSIDE)
    low, high = float(valuation.low or 0), float(valuation.high or 0)
    middle = (pl.col("from_price") + pl.col("to_price")) / 2
    cars = valuation.distribution.with_columns(
        cars=100 * pl.col("share"),
        part=pl.when(middle.is_between(low, high)).then(pl.lit(inside)).otherwise(pl.lit(outside)),
    )
    bars = (
        alt.Chart(cars)
        .mark_rect(stroke=PAPER, strokeWidth=0.5)
        .encode(
            x=_price_axis("from_price", valuation, words),
            x2=alt.X2("to_price:Q"),
            y2=alt.Y2Datum(0),
            y=alt.Y("cars:Q", title=words.say("cars in 100, per column"), axis=alt.Axis(tickCount=5)),
            color=alt.Color(
                "part:N",
                title=None,
                scale=alt.Scale(domain=[inside, outside], range=[MAIN, PALE]),
                legend=_legend(),
            ),
            tooltip=[
                alt.Tooltip(
                    "from_price:Q", title=words.say("from ({currency})", currency=currency), format=",.0f"
                ),
                alt.Tooltip(
                    "to_price:Q", title=words.say("to ({currency})", currency=currency), format=",.0f"
                ),
                alt.Tooltip("cars:Q", title=words.say("cars in 100"), format=".1f"),
            ],
        )
    )
    names = (words.say("low"), words.say("mid"), words.say("high"))
    marks = [
        {"price": float(price), "mark": name, "words": f"{name} {words.about(price, currency)}"}
        for name, price in zip(names, (valuation.low, valuation.mid, valuation.high), strict=True)
        if price is not None
    ]
    ends = alt.Chart(pl.DataFrame(marks)).encode(
        x=alt.X("price:Q"), tooltip=alt.Tooltip("words:N", title=words.say("range"))
    )
    named = alt.Chart(pl.DataFrame(marks)).mark_text(baseline="bottom", dy=-4, fontSize=12, color=QUIET)
    layers: list[alt.Chart] = [
        bars,
        ends.mark_rule(color=PAPER, strokeWidth=3),
        ends.mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=1.5),
        named.encode(x=alt.X("price:Q"), y=alt.YValue(0), text=alt.Text("mark:N")),
    ]
    beside = [] if comparables is None else [_comparable_points(valuation, comparables)]
    return alt.LayerChart(
        layer=[*layers, *beside, *_asking(valuation, words)],
        title=_title(words.say("What cars like this one sell for"), valuation, words),
        height=420,
    )


def _comparable_points(valuation: Valuation, comparables: pl.DataFrame) -> alt.Chart:
    """Comparable sales at their adjusted prices, just above the axis; those beyond the brackets are left
    out."""
    ends = valuation.distribution.select(low=pl.col("from_price").min(), high=pl.col("to_price").max()).row(0)
    most = float(valuation.distribution["share"].max() or 0)  # type: ignore[arg-type]
    shown = comparables.select(
        pl.col("adjusted_price", "price").cast(pl.Float64),
        pl.col("event_date").dt.to_string(long_day_form()),
        "variant",
        "year",
        pl.col("condition_band").fill_null(UNGRADED),
        "weight",
        "source",
        height=pl.lit(100 * most / 25),
    ).filter(pl.col("adjusted_price").is_between(*ends))
    currency = valuation.currency
    return (
        alt.Chart(shown)
        .mark_point(size=50, filled=True, color=PAPER, stroke=INK, strokeWidth=1.2, opacity=1)
        .encode(
            x=alt.X("adjusted_price:Q"),
            y=alt.Y("height:Q"),
            tooltip=[
                alt.Tooltip("event_date:N", title="sold"),
                alt.Tooltip("variant:N"),
                alt.Tooltip("year:Q", format="d"),
                alt.Tooltip("condition_band:N", title="condition band"),
                alt.Tooltip("price:Q", title=f"price ({currency}, {valuation.basis})", format=",.0f"),
                alt.Tooltip("adjusted_price:Q", title=f"adjusted to this car ({currency})", format=",.0f"),
                alt.Tooltip("weight:Q", format=".0%"),
                alt.Tooltip("source:N"),
            ],
        )
    )


def bands_chart(valuation: Valuation) -> alt.LayerChart:
    """The range of this car in each condition band, the recorded sales of the model, and the asking price."""
    currency = valuation.currency
    order = [*reversed(CONDITION_BANDS), UNGRADED]
    own = valuation.car["condition_band"]
    ranges = valuation.bands.drop_nulls("mid").with_columns(
        part=pl.when(pl.col("condition_band") == pl.lit(own, dtype=pl.String))
        .then(pl.lit("this car"))
        .otherwise(pl.lit("this car in another band")),
    )
    band_axis = alt.Y("condition_band:N", sort=order, title="condition band", axis=alt.Axis(labelLimit=130))
    spans = (
        alt.Chart(ranges)
        .mark_bar(height=16, cornerRadius=2)
        .encode(
            y=band_axis,
            x=_price_axis("low", valuation, PLAIN),
            x2=alt.X2("high:Q"),
            color=alt.Color(
                "part:N",
                title=None,
                scale=alt.Scale(domain=["this car", "this car in another band"], range=[MAIN, PALE]),
                legend=_legend(),
            ),
            tooltip=[
                alt.Tooltip("condition_band:N", title="condition band"),
                *(
                    alt.Tooltip(f"{name}:Q", title=f"{name} ({currency})", format=",.0f")
                    for name in ("low", "mid", "high")
                ),
            ],
        )
    )
    middles = (
        alt.Chart(ranges).mark_tick(color=PAPER, thickness=3, size=16).encode(y=band_axis, x=alt.X("mid:Q"))
    )
    dearest = ranges["high"].to_list() + ([] if valuation.asking is None else [float(valuation.asking)])
    sold = (
        valuation.sales.filter(pl.col("price").cast(pl.Float64) <= ROOM * max(dearest, default=float("inf")))
        .head(MOST_POINTS)
        .with_columns(
            pl.col("condition_band").fill_null(UNGRADED),
            pl.col("price").cast(pl.Float64),
            pl.col("event_date").dt.to_string(long_day_form()),
            pl.col("options").list.join(", ").str.replace_all("_", " "),
        )
        .select(
            "event_date", "variant", "year", "condition_band", "odometer_km", "options", "price", "source"
        )
    )
    points = (
        alt.Chart(sold)
        .mark_point(size=28, filled=False, color=QUIET, strokeWidth=1.2, opacity=0.8, yOffset=14)
        .encode(
            y=band_axis,
            x=alt.X("price:Q"),
            tooltip=[
                alt.Tooltip("event_date:N", title="sold"),
                alt.Tooltip("variant:N"),
                alt.Tooltip("year:Q", format="d"),
                alt.Tooltip("condition_band:N", title="condition band"),
                alt.Tooltip("odometer_km:Q", title="odometer (km)", format=",.0f"),
                alt.Tooltip("options:N"),
                alt.Tooltip("price:Q", title=f"price ({currency}, {valuation.basis})", format=",.0f"),
                alt.Tooltip("source:N"),
            ],
        )
    )
    layers = [spans, middles, points] if ranges.height else [points]
    return alt.LayerChart(
        layer=[*layers, *_asking(valuation, PLAIN, label=False)],
        title=_title("Price by condition band", valuation, PLAIN),
        height=alt.Step(52),
    )


def terms_chart(valuation: Valuation, words: LocaleWords = PLAIN, label_width: int = 170) -> alt.LayerChart:
    """How the price builds up, term by term, from the average sale on record to this car's mid price."""
    raises, lowers = words.word(_RAISES), words.word(_LOWERS)
    steps = valuation.terms.with_columns(after=pl.col("factor").cum_prod()).with_columns(
        before=pl.col("after").shift(1).fill_null(pl.col("after").first()),
        line=pl.int_range(pl.len()),
    )
    steps = steps.with_columns(
        words=pl.Series(
            [term_words(term, words) for term in valuation.terms.iter_rows(named=True)], dtype=pl.String
        ),
        effect=pl.Series(
            [effect_words(factor, words) for factor in valuation.terms["factor"]], dtype=pl.String
        ),
        direction=pl.when(pl.col("factor") >= 1).then(pl.lit(raises)).otherwise(pl.lit(lowers)),
    ).with_columns(
        effect=pl.when(pl.col("line") == 0)
        .then(pl.lit(words.about(steps["after"][0], valuation.currency)))
        .otherwise("effect")
    )
    order = alt.EncodingSortField("line", op="min", order="ascending")
    axis = alt.Y("words:N", sort=order, title=None, axis=alt.Axis(labelLimit=label_width))
    base = alt.Chart(steps)
    bars = base.mark_bar(height=12).encode(
        y=axis,
        x=_price_axis("before", valuation, words, scale=alt.Scale(type="log", nice=False, padding=40)),
        x2=alt.X2("after:Q"),
        color=alt.Color(
            "direction:N",
            title=None,
            scale=alt.Scale(domain=[raises, lowers], range=[MAIN, ASKED]),
            legend=_legend(),
        ),
        tooltip=[
            alt.Tooltip("words:N", title=words.say("term")),
            alt.Tooltip("effect:N"),
            alt.Tooltip(
                "after:Q",
                title=words.say("price so far ({currency})", currency=valuation.currency),
                format=",.0f",
            ),
        ],
    )
    ticks = base.mark_tick(color=QUIET, thickness=2, size=12).encode(y=axis, x=alt.X("after:Q"))
    effects = (
        base.transform_calculate(right="max(datum.before, datum.after)")
        .mark_text(align="left", dx=5, fontSize=11, color=QUIET)
        .encode(y=axis, x=alt.X("right:Q"), text=alt.Text("effect:N"))
    )
    return alt.LayerChart(
        layer=[bars, ticks, effects],
        title=_title(words.say("What makes up the mid price"), valuation, words),
        height=alt.Step(22),
    )


_INSIDE: Final = noted("between low and high")
_OUTSIDE: Final = noted("outside the range")
_RAISES: Final = noted("raises the price")
_LOWERS: Final = noted("lowers the price")


def _legend() -> alt.Legend:
    return alt.Legend(orient="bottom", columns=1, labelLimit=300)


def _title(text: str, valuation: Valuation, words: LocaleWords) -> alt.TitleParams:
    return alt.TitleParams(
        text, subtitle=basis_words(valuation, words), subtitleColor=QUIET, anchor="start", fontSize=15
    )


def _price_axis(
    column: str, valuation: Valuation, words: LocaleWords, scale: alt.Scale | None = None
) -> alt.X:
    return alt.X(
        f"{column}:Q",
        title=words.say(
            "price ({currency}, {basis})", currency=valuation.currency, basis=words.word(valuation.basis)
        ),
        axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
        scale=alt.Scale(zero=False, nice=False, padding=8) if scale is None else scale,
    )


def _asking(valuation: Valuation, words: LocaleWords, label: bool = True) -> list[alt.Chart]:
    if valuation.asking is None:
        return []
    asked = words.say("asking {price}", price=words.whole(valuation.asking, valuation.currency))
    marked = alt.Chart(pl.DataFrame({"price": [float(valuation.asking)], "words": [asked]}))
    rule = marked.mark_rule(color=ASKED, strokeWidth=2.5).encode(
        x=alt.X("price:Q"), tooltip=alt.Tooltip("words:N", title=words.say("price"))
    )
    if not label:
        return [rule]
    text = marked.mark_text(color=ASKED, fontWeight="bold", baseline="bottom", dy=-18, fontSize=12)
    return [rule, text.encode(x=alt.X("price:Q"), y=alt.YValue(0), text=alt.Text("words:N"))]
