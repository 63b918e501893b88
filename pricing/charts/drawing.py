"""A chart in its parts, laid out once for all cars; what is done to one drawn without a browser; its page."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import altair as alt
import polars as pl

from pricing.errors import FileError
from pricing.words.language.locale import shown


@dataclass(frozen=True)
class Picture:
    """A chart in its parts: of another car only ``tables`` differ, and laying a chart out takes Altair longer
    than all else of a page takes.

    Args:
        layout: in Vega-Lite's terms, with the data named; shared, so not to be changed.
        tables: the data, by the names that the layout has for them.
    """

    layout: Mapping[str, Any]
    tables: Mapping[str, pl.DataFrame]

    def to_dict(self, *, validate: bool = False) -> dict[str, Any]:
        """The whole chart, as one of Altair's gives itself, held against the schema if asked."""
        datasets = {name: table.to_dicts() for name, table in self.tables.items()}
        whole = {**self.layout, "datasets": datasets}
        return alt.Chart.from_dict(whole).to_dict() if validate else whole


def drawable(specification: Any) -> Any:
    """A chart in Vega-Lite's terms, any part of it, in whose texts nothing acts unseen.

    A text of the records may hold a character that XML cannot (XML 1.0, section 2.2), at which the converter
    of charts into pictures does not raise but ends the process.

    >>> drawable({"title": "Corvane\\x07", "width": 300})
    {'title': 'Corvane[U+0007]', 'width': 300}
    """
    if isinstance(specification, str):
        return shown(specification)
    if isinstance(specification, dict):
        return {shown(name): drawable(part) for name, part in specification.items()}
    return [drawable(part) for part in specification] if isinstance(specification, list) else specification


def chart_page(chart: Any) -> str:
    """A page that draws a chart without a network; text of the records is data there and never markup.

    The specification stands in a script, which a text such as ``</script>`` would end: every ``<`` is written
    as JSON's escape instead.
    """
    page = str(chart.to_html(inline=True))
    specification = json.dumps(chart.to_dict())
    if page.count(specification) != 1:
        raise FileError("this chart cannot be written as a page: draw it into .svg or .png")
    return page.replace(specification, specification.replace("<", "\\u003c"))
