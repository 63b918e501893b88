"""A chart as a page of its own: the drawing library comes with it, and nothing in its data can act."""

import json
from typing import Any

from pricing.errors import FileError


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
