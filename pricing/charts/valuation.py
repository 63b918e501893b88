"""Charts of a valuation: facts in, ``alt.Chart`` out; a caption of the same name says what each shows.

Colours are those of ``design``, and shape, dash and words say the same again, so that a chart also reads in
grey print.
"""

from typing import Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.charts.encodings import MONEY, colours, name_axis, price_axis, range_tips, tips, titled
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
            x2="to_price:Q",
            y2=alt.Y2Datum(0),
            y=alt.Y("cars:Q", title=words.say("cars in 100, per column"), axis=alt.Axis(tickCount=5)),
            color=colours("part:N", {inside: MAIN, outside: PALE}),
            tooltip=tips(
                ("from_price:Q", words.say("from ({currency})", currency=currency), MONEY),
                ("to_price:Q", words.say("to ({currency})", currency=currency), MONEY),
                ("cars:Q", words.say("cars in 100"), ".1f"),
            ),
        )
    )
    names = (words.say("low"), words.say("mid"), words.say("high"))
    marks = alt.Chart(
        pl.DataFrame(
            [
                {"price": float(price), "mark": name, "words": f"{name} {words.about(price, currency)}"}
                for name, price in zip(names, (valuation.low, valuation.mid, valuation.high), strict=True)
                if price is not None
            ]
        )
    )
    ends = marks.encode(x="price:Q", tooltip=alt.Tooltip("words:N", title=words.say("range")))
    named = marks.mark_text(baseline="bottom", dy=-4, fontSize=12, color=QUIET)
    layers: list[alt.Chart] = [
        bars,
        ends.mark_rule(color=PAPER, strokeWidth=3),
        ends.mark_rule(color=INK, strokeDash=[4, 3], strokeWidth=1.5),
        named.encode(x="price:Q", y=alt.YValue(0), text="mark:N"),
    ]
    beside = [] if comparables is None else [_comparable_points(valuation, comparables)]
    return alt.LayerChart(
        layer=[*layers, *beside, *_asking(valuation, words)],
        title=titled(words.say("What cars like this one sell for"), basis_words(valuation, words)),
        height=420,
    )


def _comparable_points(valuation: Valuation, comparables: pl.DataFrame) -> alt.Chart:
    """Comparable sales at their adjusted prices, just above the axis; those beyond the brackets are left
    out."""
    ends = valuation.distribution.select(low=pl.col("from_price").min(), high=pl.col("to_price").max()).row(0)
    most = float(valuation.distribution["share"].max() or 0)  # type: ignore[arg-type]
    inside = comparables.select(
        pl.col("adjusted_price", "price").cast(pl.Float64),
        pl.col("event_date").dt.to_string(long_day_form()),
        "variant",
        "year",
        pl.col("condition_band").fill_null(UNGRADED),
        "weight",
        "source",
        height=pl.lit(100 * most / 25),
    ).filter(pl.col("adjusted_price").is_between(*ends))
    adjusted = ("adjusted_price:Q", f"adjusted to this car ({valuation.currency})", MONEY)
    points = alt.Chart(inside).mark_point(
        size=50, filled=True, color=PAPER, stroke=INK, strokeWidth=1.2, opacity=1
    )
    return points.encode(
        x="adjusted_price:Q",
        y="height:Q",
        tooltip=[*_car_tips(), *_paid_tips(valuation, adjusted, ("weight:Q", "", ".0%"))],
    )


def _car_tips() -> list[alt.Tooltip]:
    """Which car was sold."""
    return tips(
        ("event_date:N", "sold"), "variant:N", ("year:Q", "", "d"), ("condition_band:N", "condition band")
    )


def _paid_tips(valuation: Valuation, *more: tuple[str, ...]) -> list[alt.Tooltip]:
    """What was paid for it, and who says so."""
    return tips(("price:Q", f"price ({valuation.currency}, {valuation.basis})", MONEY), *more, "source:N")


def bands_chart(valuation: Valuation) -> alt.LayerChart:
    """The range of this car in each condition band, the recorded sales of the model, and the asking price."""
    own, other = "this car", "this car in another band"
    is_own = pl.col("condition_band") == pl.lit(valuation.car["condition_band"], dtype=pl.String)
    ranges = valuation.bands.drop_nulls("mid").with_columns(
        part=pl.when(is_own).then(pl.lit(own)).otherwise(pl.lit(other))
    )
    band_axis = name_axis("condition_band:N", [*reversed(CONDITION_BANDS), UNGRADED], 130, "condition band")
    base = alt.Chart(ranges)
    spans = base.mark_bar(height=16, cornerRadius=2).encode(
        y=band_axis,
        x=_price_axis("low", valuation, PLAIN),
        x2="high:Q",
        color=colours("part:N", {own: MAIN, other: PALE}),
        tooltip=[*tips(("condition_band:N", "condition band")), *range_tips(valuation.currency)],
    )
    middles = base.mark_tick(color=PAPER, thickness=3, size=16).encode(y=band_axis, x="mid:Q")
    dearest = ranges["high"].to_list() + ([] if valuation.asking is None else [float(valuation.asking)])
    sold = (
        valuation.sales.filter(pl.col("price").cast(pl.Float64) <= ROOM * max(dearest, default=float("inf")))
        .head(MOST_POINTS)
        .select(
            pl.col("event_date").dt.to_string(long_day_form()),
            "variant",
            "year",
            pl.col("condition_band").fill_null(UNGRADED),
            "odometer_km",
            pl.col("options").list.join(", ").str.replace_all("_", " "),
            pl.col("price").cast(pl.Float64),
            "source",
        )
    )
    rings = alt.Chart(sold).mark_point(
        size=28, filled=False, color=QUIET, strokeWidth=1.2, opacity=0.8, yOffset=14
    )
    odometer = ("odometer_km:Q", "odometer (km)", MONEY)
    points = rings.encode(
        y=band_axis,
        x="price:Q",
        tooltip=[*_car_tips(), *tips(odometer, "options:N"), *_paid_tips(valuation)],
    )
    layers = [spans, middles, points] if ranges.height else [points]
    return alt.LayerChart(
        layer=[*layers, *_asking(valuation, PLAIN, label=False)],
        title=titled("Price by condition band", basis_words(valuation)),
        height=alt.Step(52),
    )


def terms_chart(valuation: Valuation, words: LocaleWords = PLAIN, label_width: int = 170) -> alt.LayerChart:
    """How the price builds up, term by term, from the average sale on record to this car's mid price."""
    raises, lowers, terms = words.word(_RAISES), words.word(_LOWERS), valuation.terms
    steps = terms.with_columns(
        after=pl.col("factor").cum_prod(),
        line=pl.int_range(pl.len()),
        words=pl.Series([term_words(term, words) for term in terms.iter_rows(named=True)], dtype=pl.String),
        effect=pl.Series([effect_words(factor, words) for factor in terms["factor"]], dtype=pl.String),
        direction=pl.when(pl.col("factor") >= 1).then(pl.lit(raises)).otherwise(pl.lit(lowers)),
    )
    first = words.about(steps["after"][0], valuation.currency)
    steps = steps.with_columns(
        before=pl.col("after").shift(1).fill_null(pl.col("after").first()),
        effect=pl.when(pl.col("line") == 0).then(pl.lit(first)).otherwise("effect"),
    )
    order = alt.EncodingSortField("line", op="min", order="ascending")
    axis = alt.Y("words:N", sort=order, title=None, axis=alt.Axis(labelLimit=label_width))
    base = alt.Chart(steps)
    so_far = words.say("price so far ({currency})", currency=valuation.currency)
    bars = base.mark_bar(height=12).encode(
        y=axis,
        x=_price_axis("before", valuation, words, scale=alt.Scale(type="log", nice=False, padding=40)),
        x2="after:Q",
        color=colours("direction:N", {raises: MAIN, lowers: ASKED}),
        tooltip=tips(("words:N", words.say("term")), "effect:N", ("after:Q", so_far, MONEY)),
    )
    ticks = base.mark_tick(color=QUIET, thickness=2, size=12).encode(y=axis, x="after:Q")
    effects = (
        base.transform_calculate(right="max(datum.before, datum.after)")
        .mark_text(align="left", dx=5, fontSize=11, color=QUIET)
        .encode(y=axis, x="right:Q", text="effect:N")
    )
    return alt.LayerChart(
        layer=[bars, ticks, effects],
        title=titled(words.say("What makes up the mid price"), basis_words(valuation, words)),
        height=alt.Step(22),
    )


_INSIDE: Final = noted("between low and high")
_OUTSIDE: Final = noted("outside the range")
_RAISES: Final = noted("raises the price")
_LOWERS: Final = noted("lowers the price")


def _price_axis(
    column: str, valuation: Valuation, words: LocaleWords, scale: alt.Scale | None = None
) -> alt.X:
    basis = words.word(valuation.basis)
    title = words.say("price ({currency}, {basis})", currency=valuation.currency, basis=basis)
    return price_axis(f"{column}:Q", title, scale)


def _asking(valuation: Valuation, words: LocaleWords, label: bool = True) -> list[alt.Chart]:
    if valuation.asking is None:
        return []
    asking = words.say("asking {price}", price=words.whole(valuation.asking, valuation.currency))
    marked = alt.Chart(pl.DataFrame({"price": [float(valuation.asking)], "words": [asking]}))
    rule = marked.mark_rule(color=ASKED, strokeWidth=2.5).encode(
        x="price:Q", tooltip=alt.Tooltip("words:N", title=words.say("price"))
    )
    if not label:
        return [rule]
    text = marked.mark_text(color=ASKED, fontWeight="bold", baseline="bottom", dy=-18, fontSize=12)
    return [rule, text.encode(x="price:Q", y=alt.YValue(0), text="words:N")]


def distribution_caption(valuation: Valuation, comparables: int = 0, words: LocaleWords = PLAIN) -> str:
    """What ``distribution_chart`` shows, with so many comparable sales on it."""
    first, end = valuation.distribution.select("from_price", "to_price").row(0)
    width = words.about(end - first, valuation.currency)
    sentences = [
        words.say(
            "Each column is a price bracket of {width}; its height is how many of 100 cars like this one "
            "would sell in it.",
            width=width,
        ),
        words.say("The darker columns lie between the low and the high price.")
        if valuation.asking is None
        else words.say(
            "The darker columns lie between the low and the high price; the thick line is the asking price."
        ),
    ]
    if comparables:
        sentences.append(
            words.many(
                "The point is {number} comparable sale, adjusted to this car.",
                "The points are {number} comparable sales, adjusted to this car.",
                comparables,
            )
        )
    return " ".join(sentences)


def bands_caption(valuation: Valuation) -> str:
    """What ``bands_chart`` shows."""
    asking = "" if valuation.asking is None else " The thick line is the asking price."
    return (
        "Each bar runs from low to high for this car in that condition band; the notch is the mid price. "
        "Rings are recorded sales of the model at the price paid on the day, not adjusted to this car; those "
        f"far dearer than any bar are left out.{asking}"
    )


def terms_caption(valuation: Valuation, words: LocaleWords = PLAIN) -> str:
    """What ``terms_chart`` shows."""
    return words.say(
        "From the average sale on record, each line moves the price up or down; the last one ends at this "
        "car's mid price. The effects multiply."
    )
