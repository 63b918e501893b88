"""Where a car sits, as one picture: what like cars sell for with the price asked, the nearest sales, and
the car in each of the four bands, all on one axis of prices."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.charts.drawing import Picture
from pricing.decisions.valuation import Valuation
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.language.reader import about_words, long_day_form
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


def position_picture(valuation: Valuation, comparables: pl.DataFrame | None = None) -> Picture:
    """Cars in 100 by price bracket, low, mid and high, the price asked; below, the nearest sales
    (``Comparables.table``) at their adjusted prices; below those, the range in each condition band.

    Of another car only the data differ, so that a browser keeps the picture it has; the layout is made once.
    """
    layout = _layout(valuation.currency, valuation.basis, asked=valuation.asking is not None)
    title = {"text": "Where this car sits", "subtitle": basis_words(valuation)}
    return Picture({**layout, "title": title}, _tables(valuation, comparables))


def _tables(valuation: Valuation, comparables: pl.DataFrame | None) -> dict[str, pl.DataFrame]:
    """The data, by the names that the layers have for them."""
    tables = {"columns": _columns(valuation), "bands": _bands(valuation), "ends": _ends(valuation),
              "sales": _within(valuation, _sales(comparables))}  # fmt: skip
    if valuation.asking is not None:
        tables["asked"] = _asked(valuation)
    return tables


@lru_cache(16)
def _layout(currency: str, basis: str, *, asked: bool) -> dict[str, Any]:
    x = alt.X(
        "price:Q",
        title=f"price ({currency}, {basis})",
        axis=alt.Axis(format=",.0f", tickCount=5, labelOverlap=True),
        scale=alt.Scale(zero=False, nice=False, padding=10),
    )
    chosen = alt.selection_point(name=CHOSEN, fields=["record_id"], on="click")
    bars, names = _band_layers(currency, x)
    layers = [
        _column_layer(currency, x),
        *bars,
        *_end_layers(x),
        *(_asked_layers(x) if asked else ()),
        *names,
        _point_layer(currency, x).add_params(chosen),
    ]
    found: dict[str, Any] = alt.LayerChart(layer=layers, height=HEIGHT).to_dict(validate=False)
    return found


def _level(place: float | str) -> alt.Y:
    """A place in the picture, of which the axis is not drawn."""
    return alt.Y(f"{place}:Q", axis=None, scale=alt.Scale(domain=[_lowest(), _TOP], nice=False))


def _lowest() -> float:
    return _FIRST_BAND - _BAND_STEP * (len(CONDITION_BANDS) - 1) - 0.1


def _columns(valuation: Valuation) -> pl.DataFrame:
    """The distribution, its tallest column reaching 1."""
    low, high = float(valuation.low or 0), float(valuation.high or 0)
    middle = (pl.col("from_price") + pl.col("to_price")) / 2
    return valuation.distribution.select(
        price="from_price",
        end="to_price",
        cars=100 * pl.col("share"),
        top=pl.col("share") / pl.col("share").max(),
        ground=pl.lit(0.0),
        part=pl.when(middle.is_between(low, high)).then(pl.lit(_INSIDE)).otherwise(pl.lit(_OUTSIDE)),
    )


def _column_layer(currency: str, x: alt.X) -> alt.Chart:
    return (
        alt.Chart(alt.NamedData("columns"))
        .mark_rect(stroke=PAPER, strokeWidth=1)
        .encode(
            x=x,
            x2=alt.X2("end:Q"),
            y=_level("top"),
            y2=alt.Y2("ground:Q"),
            color=_part(),
            tooltip=[
                alt.Tooltip("price:Q", title=f"from ({currency})", format=",.0f"),
                alt.Tooltip("end:Q", title=f"to ({currency})", format=",.0f"),
                alt.Tooltip("cars:Q", title="cars in 100", format=".1f"),
            ],
        )
    )


def _part() -> alt.Color:
    """Strong where 80 in 100 sell, and where the condition is the car's own."""
    scale = alt.Scale(domain=[_INSIDE, _OUTSIDE], range=[MAIN, PALE])
    return alt.Color("part:N", title=None, scale=scale, legend=None)


def _bands(valuation: Valuation) -> pl.DataFrame:
    """A bar for each band; its name and range stand above it, on the side that has room."""
    places = {band: _FIRST_BAND - _BAND_STEP * row for row, band in enumerate(reversed(CONDITION_BANDS))}
    own = pl.col("condition_band") == pl.lit(valuation.car["condition_band"], dtype=pl.String)
    found = valuation.bands.drop_nulls("mid")
    ends = found["high"].to_list() + valuation.distribution["to_price"].to_list()
    begins = found["low"].to_list() + valuation.distribution["from_price"].to_list()
    centre = (max(ends, default=0.0) + min(begins, default=0.0)) / 2
    return found.select(
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


def _band_layers(currency: str, x: alt.X) -> tuple[list[alt.Chart], list[alt.Chart]]:
    """The bars, and what is written above them."""
    base = alt.Chart(alt.NamedData("bands"))
    level = _level("level")
    tooltip = [
        alt.Tooltip("condition_band:N", title="condition"),
        *(
            alt.Tooltip(f"{name}:Q", title=f"{words} ({currency})", format=",.0f")
            for name, words in (("price", "low"), ("middle", "mid"), ("end", "high"))
        ),
    ]
    bars = base.mark_rule(strokeWidth=11, strokeCap="butt").encode(
        x=x, x2=alt.X2("end:Q"), y=level, color=_part(), tooltip=tooltip
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


def _ends(valuation: Valuation) -> pl.DataFrame:
    """Low, mid and high over the columns."""
    rows: list[Mapping[str, Any]] = [
        {"price": float(price), "words": name, "top": 1.03, "ground": 0.0, "text_at": 1.03}
        for name, price in (("low", valuation.low), ("mid", valuation.mid), ("high", valuation.high))
        if price is not None
    ]
    return pl.DataFrame(rows)


def _end_layers(x: alt.X) -> list[alt.Chart]:
    ends = alt.Chart(alt.NamedData("ends"))
    rules = ends.mark_rule(color=INK, strokeDash=[2, 3], strokeWidth=1.2)
    names = ends.mark_text(baseline="bottom", dy=-2, color=QUIET, fontSize=12)
    return [
        rules.encode(x=x, y=_level("top"), y2=alt.Y2("ground:Q")),
        names.encode(x=x, y=_level("text_at"), text=alt.Text("words:N")),
    ]


def _asked(valuation: Valuation) -> pl.DataFrame:
    """The price asked, through the whole picture."""
    asked = float(valuation.asking or 0)
    right = valuation.distribution.select((pl.col("to_price").max() + pl.col("from_price").min()) / 2).item()
    return pl.DataFrame(
        {
            "price": [asked],
            "words": [f"asked: {exact_words(asked, valuation.currency)}"],
            "top": [_TOP - 0.1],
            "ground": [_lowest()],
            "to_left": [asked > right],
        }
    )


def _asked_layers(x: alt.X) -> list[alt.Chart]:
    base = alt.Chart(alt.NamedData("asked"))
    line = base.mark_rule(color=ASKED, strokeWidth=3).encode(x=x, y=_level("top"), y2=alt.Y2("ground:Q"))
    return [line] + [
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
        sold=pl.col("event_date").dt.to_string(long_day_form()),
        car=pl.concat_str(pl.col("year").cast(pl.String), pl.col("variant").fill_null(""), separator=" "),
        condition_band=pl.col("condition_band").fill_null("not graded"),
        level=pl.lit(_SALES_AT),
    )


def _within(valuation: Valuation, sales: pl.DataFrame) -> pl.DataFrame:
    """The sales within the brackets that are drawn."""
    ends = valuation.distribution.select(low=pl.col("from_price").min(), high=pl.col("to_price").max()).row(0)
    return sales.filter(pl.col("price").is_between(*ends))


def _point_layer(currency: str, x: alt.X) -> alt.Chart:
    return (
        alt.Chart(alt.NamedData("sales"))
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
                alt.Tooltip("paid:Q", title=f"paid ({currency})", format=",.0f"),
                alt.Tooltip("price:Q", title=f"brought to this car ({currency})", format=",.0f"),
            ],
        )
    )


def position_caption(valuation: Valuation, comparables: int = 0) -> str:
    """What ``position_picture`` shows, with so many sales on it, in words."""
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
