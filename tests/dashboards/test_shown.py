"""Tables and charts as every page shows them."""

import threading

import pytest
import streamlit as st

from dashboards.shown import show_table
from pricing.decisions.valuation import value_car
from pricing.documents.charts import bands_chart, terms_chart
from pricing.model.saved import load
from pricing.store import Market
from tests.small_market import common_car

PATIENCE = 120.0
"""Seconds in which all visitors are done many times over."""


def test_visitors_who_share_a_frame_do_not_wait_for_each_other(
    small_market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Streamlit turns a table into pandas; of one object in two threads at once that never ended."""
    monkeypatch.setattr(st, "dataframe", lambda frame, **options: frame.to_pandas())
    valuation = value_car(small_market, load(small_market), common_car(small_market))

    def visit() -> None:
        for _ in range(25):
            terms_chart(valuation)
            show_table(valuation.sales, "sales", {})
            bands_chart(valuation)

    visitors = [threading.Thread(target=visit, daemon=True) for _ in range(8)]
    for visitor in visitors:
        visitor.start()
    for visitor in visitors:
        visitor.join(PATIENCE)
    assert not any(visitor.is_alive() for visitor in visitors)
