"""A chart's page holds hostile text as data, and loads nothing from outside."""

import re

import altair as alt
import polars as pl

from pricing.charts.drawing import chart_page

HOSTILE = "</script><script>window.hit = 1</script><!--"


def test_hostile_text_stays_data_and_nothing_is_loaded() -> None:
    chart = (
        alt.Chart(pl.DataFrame({"make": [HOSTILE], "price": [1.0]})).mark_bar().encode(x="make", y="price")
    )
    page = chart_page(chart)
    assert HOSTILE not in page and "window.hit = 1" in page
    head = page[: page.index("<script")]
    assert not re.findall(r"<(?:script|link|img)[^>]+(?:src|href)=", head + page[-20_000:])
