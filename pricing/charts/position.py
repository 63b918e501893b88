"""Where a car sits, as one picture: what like cars sell for with the price asked, the nearest sales, and
the car in each of the four bands, all on one axis of prices."""

from collections.abc import Mapping
from typing import Any, Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.decisions.valuation import Valuation
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.reader import about_words
from pricing.words.sentences import basis_words, exact_words, money_words

CHOSEN: Final = "sale"
"""Name of the selection that a pressed point makes; its field is ``record_id``."""

HEIGHT: Final = 430
"""Of the picture, in points."""

_SALES_AT: Final = -0.1
_FIRST_BAND: Final = -0.34
_BAND_STEP: Final = 0.24
_TOP: Final = 1.24
"""Where the parts lie above one another; the tallest column of the distribution reaches 1."""

_INSIDE: Final = "where 80 in 100 sell"
_OUTSIDE: Final = "the rest"


def position_chart(valuation: Valuation, comparables: pl.DataFrame | None = None) -> alt.LayerChart:
    """Cars in 100 by price bracket, low, mid and high, the price asked; below, the nearest sales
    (``Comparables.table``) at their adjusted prices; below those, the range in each condition band.

    Of another car only the data differ, so that a browser keeps the picture it has.
    """
    sales = _sales(comparables)
    x = alt.X(
        "price:Q",
        title=f"price ({valuation.currency}, {valuation.basis})",
        axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
        scale=alt.Scale(zero=False, nice=False, padding=10),
    )
    chosen = alt.selection_point(name=CHOSEN, fields=["record_id"], on="click")
    bars, names = _bands(valuation, x)
    layers = [
        *_columns(valuation, x),
        *bars,
        *_marks(valuation, x),
        *names,
        _points(valuation, sales, x).add_params(chosen),
    ]
    title = alt.TitleParams("Where this car sits", subtitle=basis_words(valuation))
    return alt.LayerChart(layer=layers, title=title, height=HEIGHT)


def _level(place: float | str) -> alt.Y:
    """A place in the picture, of which the axis is not drawn."""
    return alt.Y(f"{place}:Q", axis=None, scale=alt.Scale(domain=[_lowest(), _TOP], nice=False))


def _lowest() -> float:
    return _FIRST_BAND - _BAND_STEP * (len(CONDITION_BANDS) - 1) - 0.1


def _columns(valuation: Valuation, x: alt.X) -> list[alt.Chart]:
    """The distribution, its tallest column reaching 1."""
    low, high = float(valuation.low or 0), float(valuation.high or 0)
    middle = (pl.col("from_price") + pl.col("to_price")) / 2
    frame = valuation.distribution.select(
        price="from_price",
        end="to_price",
        cars=100 * pl.col("share"),
        top=pl.col("share") / pl.col("share").max(),
        ground=pl.lit(0.0),
        part=pl.when(middle.is_between(low, high)).then(pl.lit(_INSIDE)).otherwise(pl.lit(_OUTSIDE)),
    )
    colour = alt.Color(
        "part:N",
        title=None,
        scale=alt.Scale(domain=[_INSIDE, _OUTSIDE], range=[MAIN, PALE]),
        legend=None,
    )
    bars = (
        alt.Chart(frame)
        .mark_rect(stroke=PAPER, strokeWidth=1)
        .encode(
            x=x,
            x2=alt.X2("end:Q"),
            y=_level("top"),
            y2=alt.Y2("ground:Q"),
            color=colour,
            tooltip=[
                alt.Tooltip("price:Q", title=f"from ({valuation.currency})", format=",.0f"),
                alt.Tooltip("end:Q", title=f"to ({valuation.currency})", format=",.0f"),
                alt.Tooltip("cars:Q", title="cars in 100", format=".1f"),
            ],
        )
    )
    return [bars]


def _bands(valuation: Valuation, x: alt.X) -> tuple[list[alt.Chart], list[alt.Chart]]:
    """A bar for each band; and its name and range above it, on the side that has room."""
    places = {band: _FIRST_BAND - _BAND_STEP * row for row, band in enumerate(reversed(CONDITION_BANDS))}
    own = pl.col("condition_band") == pl.lit(valuation.car["condition_band"], dtype=pl.String)
    found = valuation.bands.drop_nulls("mid")
    ends = found["high"].to_list() + valuation.distribution["to_price"].to_list()
    begins = found["low"].to_list() + valuation.distribution["from_price"].to_list()
    centre = (max(ends, default=0.0) + min(begins, default=0.0)) / 2
    frame = found.select(
        "condition_band",
        price="low",
        middle="mid",
        end="high",
        level=pl.col("condition_band").replace_strict(places, return_dtype=pl.Float64),
        part=pl.when(own).then(pl.lit(_INSIDE)).otherwise(pl.lit(_OUTSIDE)),
        to_left=pl.col("low") > centre,
        words=pl.Series(
            [
                f"{row['condition_band']}: {about_words(row['low'])} to {about_words(row['high'])}"
                for row in found.iter_rows(named=True)
            ],
            dtype=pl.String,
        ),
    )
    base = alt.Chart(frame)
    level = _level("level")
    tooltip = [
        alt.Tooltip("condition_band:N", title="condition"),
        *(
            alt.Tooltip(f"{name}:Q", title=f"{words} ({valuation.currency})", format=",.0f")
            for name, words in (("price", "low"), ("middle", "mid"), ("end", "high"))
        ),
    ]
    colour = alt.Color("part:N", scale=alt.Scale(domain=[_INSIDE, _OUTSIDE], range=[MAIN, PALE]), legend=None)
    bars = base.mark_rule(strokeWidth=11, strokeCap="butt").encode(
        x=x, x2=alt.X2("end:Q"), y=level, color=colour, tooltip=tooltip
    )
    notches = base.mark_tick(color=PAPER, thickness=3, size=11).encode(x=alt.X("middle:Q"), y=level)
    named = [
        base.transform_filter(f"{'' if left else '!'}datum.to_left")
        .mark_text(align="right" if left else "left", dy=-13, fontSize=12, **ground)
        .encode(x=alt.X("end:Q" if left else "price:Q"), y=level, text=alt.Text("words:N"))
        for left in (False, True)
        for ground in ({"stroke": PAPER, "strokeWidth": 5, "color": PAPER}, {"color": INK})
    ]
    return [bars, notches], named


def _marks(valuation: Valuation, x: alt.X) -> list[alt.Chart]:
    """Low, mid and high over the columns, the price asked through the whole picture."""
    rows: list[Mapping[str, Any]] = [
        {"price": float(price), "words": name, "top": 1.03, "ground": 0.0, "text_at": 1.03}
        for name, price in (("low", valuation.low), ("mid", valuation.mid), ("high", valuation.high))
        if price is not None
    ]
    ends = alt.Chart(pl.DataFrame(rows))
    rules = ends.mark_rule(color=INK, strokeDash=[2, 3], strokeWidth=1.2)
    names = ends.mark_text(baseline="bottom", dy=-2, color=QUIET, fontSize=12)
    shown = [
        rules.encode(x=x, y=_level("top"), y2=alt.Y2("ground:Q")),
        names.encode(x=x, y=_level("text_at"), text=alt.Text("words:N")),
    ]
    if valuation.asking is None:
        return shown
    asked = float(valuation.asking)
    right = valuation.distribution.select((pl.col("to_price").max() + pl.col("from_price").min()) / 2).item()
    label = pl.DataFrame(
        {
            "price": [asked],
            "words": [f"asked: {exact_words(asked, valuation.currency)}"],
            "top": [_TOP - 0.1],
            "ground": [_lowest()],
            "to_left": [asked > right],
        }
    )
    base = alt.Chart(label)
    shown.append(
        base.mark_rule(color=ASKED, strokeWidth=3).encode(x=x, y=_level("top"), y2=alt.Y2("ground:Q"))
    )
    shown += [
        base.transform_filter(f"{'' if left else '!'}datum.to_left")
        .mark_text(
            align="right" if left else "left",
            baseline="bottom",
            dx=2 if left else -2,
            dy=-3,
            color=ASKED,
            fontSize=13,
            fontWeight=600,
        )
        .encode(x=x, y=_level("top"), text=alt.Text("words:N"))
        for left in (False, True)
    ]
    return shown


def _sales(comparables: pl.DataFrame | None) -> pl.DataFrame:
    """The nearest sales as the picture draws them; no rows without any."""
    schema = {
        "record_id": pl.String, "price": pl.Float64, "paid": pl.Float64, "sold": pl.String, "car": pl.String,
        "condition_band": pl.String, "level": pl.Float64,
    }  # fmt: skip
    if comparables is None:
        return pl.DataFrame(schema=schema)
    return comparables.select(
        "record_id",
        price=pl.col("adjusted_price").cast(pl.Float64),
        paid=pl.col("price").cast(pl.Float64),
        sold=pl.col("event_date").dt.to_string("%-d %B %Y"),
        car=pl.concat_str(pl.col("year").cast(pl.String), pl.col("variant").fill_null(""), separator=" "),
        condition_band=pl.col("condition_band").fill_null("not graded"),
        level=pl.lit(_SALES_AT),
    )


def _points(valuation: Valuation, sales: pl.DataFrame, x: alt.X) -> alt.Chart:
    """The nearest sales within the brackets and bands that are drawn."""
    ends = valuation.distribution.select(low=pl.col("from_price").min(), high=pl.col("to_price").max()).row(0)
    return (
        alt.Chart(sales.filter(pl.col("price").is_between(*ends)))
        .mark_point(
            size=130, filled=True, color=PAPER, stroke=INK, strokeWidth=1.5, opacity=1, cursor="pointer"
        )
        .encode(
            x=x,
            y=_level("level"),
            tooltip=[
                alt.Tooltip("sold:N"),
                alt.Tooltip("car:N"),
                alt.Tooltip("condition_band:N", title="condition"),
                alt.Tooltip("paid:Q", title=f"paid ({valuation.currency})", format=",.0f"),
                alt.Tooltip("price:Q", title=f"brought to this car ({valuation.currency})", format=",.0f"),
            ],
        )
    )


def position_caption(valuation: Valuation, comparables: int = 0) -> str:
    """What ``position_chart`` shows, with so many sales on it, in words."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return "There is no range to draw."
    low, high = (money_words(price, valuation.currency) for price in (valuation.low, valuation.high))
    asked = "" if valuation.asking is None else " The thick upright line is the price asked."
    nearest = (
        f" The {comparables} rings are the nearest sales, brought to this car: press one to open it."
        if comparables
        else ""
    )
    return (
        f"The columns show how many of 100 such cars sell at each price; the strong ones lie between {low} "
        f"and {high}."
        f"{asked}{nearest} The bars below are this car in each condition, on the same prices; the strong "
        f"one is the "
        "condition you gave, the notch its middle."
    )
