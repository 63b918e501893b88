"""What the captions of the charts of an offer say is in the charts."""

import json
from decimal import Decimal
from typing import Any

import altair as alt
import pytest

from pricing.charts.buying import bids_caption, bids_chart
from pricing.charts.selling import waiting_caption, waiting_chart
from pricing.model.saved import load
from pricing.store.market import Market
from tests.decisions.test_buying import SCHEDULE, bought
from tests.decisions.test_selling import KNOWN, sold


def drawn(chart: alt.Chart | alt.LayerChart) -> dict[str, Any]:
    return dict(json.loads(chart.to_json()))


def rows(chart: dict[str, Any]) -> list[dict[str, Any]]:
    (found,) = chart["datasets"].values()
    return list(found)


def test_a_bar_is_a_bid_and_its_grey_end_what_is_charged_on_it() -> None:
    facts = bought(asking=6000, channel="auction", schedule=SCHEDULE)
    chart = drawn(bids_chart(facts))
    assert "Each bar is a bid and what it comes to, in EUR" in bids_caption(facts)
    assert (
        "its grey end" in bids_caption(facts) and "grey: what is charged on it" in chart["title"]["subtitle"]
    )
    assert [layer["encoding"]["x"]["field"] for layer in chart["layer"]] == ["all_in", "bid"]
    assert {layer["mark"]["type"] for layer in chart["layer"]} == {"bar"}
    told = rows(chart)
    assert len(told) == facts.bids.height > 0
    assert all(row["all_in"] > row["bid"] for row in told)
    assert [row["bid"] for row in told] == [float(bid) for bid in facts.bids["price"]]


@pytest.mark.parametrize(("channel", "where"), [("dealer", "at a dealer"), ("private", "privately")])
def test_the_weeks_that_a_caption_names_are_those_of_its_chart(
    small_market: Market, channel: str, where: str
) -> None:
    facts = sold(small_market, load(small_market), KNOWN, asking=Decimal(9000))
    words = waiting_caption(channel)
    assert where in words and words.endswith("within 4, 8 and 12 weeks.")
    told = rows(drawn(waiting_chart(facts, channel)))
    assert {row["weeks"] for row in told} == {"4 weeks", "8 weeks", "12 weeks"}
    assert all(0 <= row["chance"] <= 1 for row in told)


def test_a_channel_of_another_name_is_named() -> None:
    assert "by auction" in waiting_caption("auction")
