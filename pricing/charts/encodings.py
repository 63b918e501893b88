"""What charts share: axes of prices and shares, what a pointer is told, colours by value, titles, legends."""

from collections.abc import Mapping
from typing import Any, Final

import altair as alt

from pricing.charts.design import QUIET

MONEY: Final = ",.0f"
"""The format of an amount, in the signs of d3-format."""

ENDS: Final = ("low", "mid", "high")

LEGEND: Final = alt.Legend(orient="bottom", columns=1, labelLimit=300)
"""Below the picture, a value a line."""


def tips(*fields: str | tuple[str, ...]) -> list[alt.Tooltip]:
    """What a pointer is told of a mark: fields, each alone or with its title and its format; without a title
    by its own name.

    >>> [tip.to_dict() for tip in tips("year:Q", ("price:Q", "", ",.0f"))][1]
    {'field': 'price', 'format': ',.0f', 'type': 'quantitative'}
    """
    tooltips = []
    for field in fields:
        name, *rest = (field,) if isinstance(field, str) else field
        parts = zip(("title", "format"), rest, strict=False)
        named: dict[str, Any] = {part: text for part, text in parts if text}
        tooltips.append(alt.Tooltip(name, **named))
    return tooltips


def range_tips(currency: str) -> list[alt.Tooltip]:
    """The three ends of a range in a currency."""
    return tips(*((f"{end}:Q", f"{end} ({currency})", MONEY) for end in ENDS))


def price_axis(field: str, title: str, scale: alt.Scale | None = None, padding: int = 8) -> alt.X:
    """An axis of amounts, which begins near the least of them."""
    between = alt.Scale(zero=False, nice=False, padding=padding) if scale is None else scale
    axis = alt.Axis(format=MONEY, tickCount=5, labelOverlap=True)
    return alt.X(field, title=title, axis=axis, scale=between)


def share_axis(field: str, title: str) -> alt.Y:
    """An axis of shares, in per cent."""
    return alt.Y(field, title=title, axis=alt.Axis(format="%", tickCount=5))


def name_axis(field: str, order: list[str], width: int, title: str | None = None, **axis: Any) -> alt.Y:
    """An axis of names in an order, each at most so wide."""
    return alt.Y(field, sort=order, title=title, axis=alt.Axis(labelLimit=width), **axis)


def colours(field: str, by: Mapping[Any, str], legend: alt.Legend | None = LEGEND) -> alt.Color:
    """A colour for each value of a field."""
    scale = alt.Scale(domain=list(by), range=list(by.values()))
    return alt.Color(field, title=None, scale=scale, legend=legend)


def titled(text: str, subtitle: str) -> alt.TitleParams:
    """A title, and below it what the amounts are."""
    return alt.TitleParams(text, subtitle=subtitle, subtitleColor=QUIET, anchor="start", fontSize=15)
