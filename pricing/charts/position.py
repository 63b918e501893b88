"""Where a car sits, as one picture: what like cars sell for with the price asked, the nearest sales, and
the car in each of the four bands, all on one axis of prices."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

import altair as alt
import polars as pl

from pricing.charts.design import ASKED, INK, MAIN, PALE, PAPER, QUIET
from pricing.charts.drawing import Picture
from pricing.charts.encodings import ENDS, MONEY, colours, price_axis, tips
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
_LOWEST: Final = _FIRST_BAND - _BAND_STEP * (len(CONDITION_BANDS) - 1) - 0.1
_TOP: Final = 1.24
"""Where the parts lie above one another; the tallest column of the distribution reaches 1."""

_INSIDE: Final = "where 80 in 100 sell"
_OUTSIDE: Final = "the rest"


def position_picture(valuation: Valuation, comparables: pl.DataFrame | None = None) -> Picture:
    """Cars in 100 by price bracket, low, mid and high, the price asked; below, the nearest sales
    (``Comparables.table``) at their adjusted prices; below those, the range in each condition band.

    Of another car only the data differ, so that a browser keeps the picture it has; the layout is made once.
    """
    layout = _layout(valuation.currency, valuation.basis, asking=valuation.asking is not None)
    title = {"text": "Where this car sits", "subtitle": basis_words(valuation)}
    tables = {"columns": _columns(valuation), "bands": _bands(valuation), "ends": _ends(valuation),
              "sales": _sales(valuation, comparables)}  # fmt: skip
    if valuation.asking is not None:
        tables["asked"] = _asking(valuation)
    return Picture({**layout, "title": title}, tables)


@lru_cache(16)
def _layout(currency: str, basis: str, *, asking: bool) -> dict[str, Any]:
    x = price_axis("price:Q", f"price ({currency}, {basis})", padding=10)
    chosen = alt.selection_point(name=CHOSEN, fields=["record_id"], on="click")
    bars, names = _band_layers(currency, x)
    layers = [
        _column_layer(currency, x),
        *bars,
        *_end_layers(x),
        *(_asking_layers(x) if asking else ()),
        *names,
        _point_layer(currency, x).add_params(chosen),
    ]
    layout: dict[str, Any] = alt.LayerChart(layer=layers, height=HEIGHT).to_dict(validate=False)
    return layout


def _level(place: str) -> alt.Y:
    """A place in the picture, of which the axis is not drawn."""
    return alt.Y(f"{place}:Q", axis=None, scale=alt.Scale(domain=[_LOWEST, _TOP], nice=False))


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
    columns = alt.Chart(alt.NamedData("columns")).mark_rect(stroke=PAPER, strokeWidth=1)
    ends = ("price:Q", f"from ({currency})", MONEY), ("end:Q", f"to ({currency})", MONEY)
    return columns.encode(
        x=x,
        x2="end:Q",
        y=_level("top"),
        y2="ground:Q",
        color=_part(),
        tooltip=tips(*ends, ("cars:Q", "cars in 100", ".1f")),
    )


def _part() -> alt.Color:
    """Strong where 80 in 100 sell, and where the condition is the car's own."""
    return colours("part:N", {_INSIDE: MAIN, _OUTSIDE: PALE}, None)


def _bands(valuation: Valuation) -> pl.DataFrame:
    """A bar for each band; its name and range stand above it, on the side that has room."""
    places = {band: _FIRST_BAND - _BAND_STEP * row for row, band in enumerate(reversed(CONDITION_BANDS))}
    own = pl.col("condition_band") == pl.lit(valuation.car["condition_band"], dtype=pl.String)
    bands = valuation.bands.drop_nulls("mid")
    ends = bands["high"].to_list() + valuation.distribution["to_price"].to_list()
    begins = bands["low"].to_list() + valuation.distribution["from_price"].to_list()
    centre = (max(ends, default=0.0) + min(begins, default=0.0)) / 2
    words = [
        f"{band}: {about_words(low)} to {about_words(high)}"
        for band, low, high in bands.select("condition_band", "low", "high").iter_rows()
    ]
    return bands.select(
        "condition_band",
        price="low",
        middle="mid",
        end="high",
        level=pl.col("condition_band").replace_strict(places, return_dtype=pl.Float64),
        part=pl.when(own).then(pl.lit(_INSIDE)).otherwise(pl.lit(_OUTSIDE)),
        to_left=pl.col("low") > centre,
        words=pl.Series(words, dtype=pl.String),
    )


def _band_layers(currency: str, x: alt.X) -> tuple[list[alt.Chart], list[alt.Chart]]:
    """The bars, and what is written above them."""
    base = alt.Chart(alt.NamedData("bands")).encode(y=_level("level"))
    ends = zip(("price", "middle", "end"), ENDS, strict=True)
    amounts = ((f"{name}:Q", f"{words} ({currency})", MONEY) for name, words in ends)
    bars = base.mark_rule(strokeWidth=11, strokeCap="butt").encode(
        x=x, x2="end:Q", color=_part(), tooltip=tips(("condition_band:N", "condition"), *amounts)
    )
    notches = base.mark_tick(color=PAPER, thickness=3, size=11).encode(x="middle:Q")
    named = [
        _to_side(base, left, dy=-13, fontSize=12, **ground).encode(
            x="end:Q" if left else "price:Q", text="words:N"
        )
        for left in (False, True)
        for ground in ({"stroke": PAPER, "strokeWidth": 5, "color": PAPER}, {"color": INK})
    ]
    return [bars, notches], named


def _to_side(base: alt.Chart, left: bool, **mark: Any) -> alt.Chart:
    """Text to the left of its place, or to the right, where the data say so."""
    chosen = base.transform_filter(f"{'' if left else '!'}datum.to_left")
    return chosen.mark_text(align="right" if left else "left", **mark)


def _ends(valuation: Valuation) -> pl.DataFrame:
    """Low, mid and high over the columns."""
    rows: list[Mapping[str, Any]] = [
        {"price": float(price), "words": name, "top": 1.03, "ground": 0.0, "text_at": 1.03}
        for name, price in zip(ENDS, (valuation.low, valuation.mid, valuation.high), strict=True)
        if price is not None
    ]
    return pl.DataFrame(rows)


def _end_layers(x: alt.X) -> list[alt.Chart]:
    ends = alt.Chart(alt.NamedData("ends")).encode(x=x)
    rules = ends.mark_rule(color=INK, strokeDash=[2, 3], strokeWidth=1.2)
    names = ends.mark_text(baseline="bottom", dy=-2, color=QUIET, fontSize=12)
    return [rules.encode(y=_level("top"), y2="ground:Q"), names.encode(y=_level("text_at"), text="words:N")]


def _asking(valuation: Valuation) -> pl.DataFrame:
    """The price asked, through the whole picture."""
    asking = float(valuation.asking or 0)
    right = valuation.distribution.select((pl.col("to_price").max() + pl.col("from_price").min()) / 2).item()
    words = f"asked: {exact_words(asking, valuation.currency)}"
    row = {"price": asking, "words": words, "top": _TOP - 0.1, "ground": _LOWEST, "to_left": asking > right}
    return pl.DataFrame([row])


def _asking_layers(x: alt.X) -> list[alt.Chart]:
    base = alt.Chart(alt.NamedData("asked")).encode(x=x, y=_level("top"))
    text: dict[str, Any] = {"baseline": "bottom", "dy": -3, "color": ASKED, "fontSize": 13, "fontWeight": 600}
    return [
        base.mark_rule(color=ASKED, strokeWidth=3).encode(y2="ground:Q"),
        *(
            _to_side(base, left, dx=2 if left else -2, **text).encode(text="words:N")
            for left in (False, True)
        ),
    ]


def _sales(valuation: Valuation, comparables: pl.DataFrame | None) -> pl.DataFrame:
    """The nearest sales within the brackets that are drawn; no rows without any."""
    schema = {
        "record_id": pl.String, "price": pl.Float64, "paid": pl.Float64, "sold": pl.String, "car": pl.String,
        "condition_band": pl.String, "level": pl.Float64,
    }  # fmt: skip
    if comparables is None:
        return pl.DataFrame(schema=schema)
    ends = valuation.distribution.select(low=pl.col("from_price").min(), high=pl.col("to_price").max()).row(0)
    return comparables.select(
        "record_id",
        price=pl.col("adjusted_price").cast(pl.Float64),
        paid=pl.col("price").cast(pl.Float64),
        sold=pl.col("event_date").dt.to_string(long_day_form()),
        car=pl.concat_str(pl.col("year").cast(pl.String), pl.col("variant").fill_null(""), separator=" "),
        condition_band=pl.col("condition_band").fill_null("not graded"),
        level=pl.lit(_SALES_AT),
    ).filter(pl.col("price").is_between(*ends))


def _point_layer(currency: str, x: alt.X) -> alt.Chart:
    points = alt.Chart(alt.NamedData("sales")).mark_point(
        size=130, filled=True, color=PAPER, stroke=INK, strokeWidth=1.5, opacity=1, cursor="pointer"
    )
    paid, price = f"paid ({currency})", f"brought to this car ({currency})"
    return points.encode(
        x=x,
        y=_level("level"),
        tooltip=tips(
            "sold:N",
            "car:N",
            ("condition_band:N", "condition"),
            ("paid:Q", paid, MONEY),
            ("price:Q", price, MONEY),
        ),
    )


def position_caption(valuation: Valuation, comparables: int = 0) -> str:
    """What ``position_picture`` shows, with so many sales on it, in words."""
    if valuation.low is None or valuation.mid is None or valuation.high is None:
        return "There is no range to draw."
    low, high = (money_words(price, valuation.currency) for price in (valuation.low, valuation.high))
    asking = "" if valuation.asking is None else " The thick upright line is the price asked."
    nearest = f" The {comparables} rings are the nearest sales, brought to this car: press one to open it."
    return (
        f"The columns show how many of 100 such cars sell at each price; the strong ones lie between {low} "
        f"and {high}.{asking}{nearest if comparables else ''} The bars below are this car in each condition, "
        "on the same prices; the strong one is the condition you gave, the notch its middle."
    )
