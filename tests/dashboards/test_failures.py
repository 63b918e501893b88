"""What nobody foresaw on a page: a sentence with a code, the rest in the server's log."""

import logging
import re

import pytest
from streamlit.testing.v1 import AppTest

from dashboards.pages import PAGES
from pricing.store.market import Market
from tests.dashboards.pages import APP, WAIT


def test_a_page_says_a_code_and_the_log_says_the_rest(
    market: Market, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("secret words")

    assert PAGES  # imported before, so that no page keeps what stands in here
    monkeypatch.setattr("dashboards.page_layout.ask_market", fail)
    with caplog.at_level(logging.ERROR, "dashboards.page_layout"):
        page = AppTest.from_file(APP, default_timeout=WAIT).run()
    assert not page.exception
    (said,) = [error.value for error in page.error]
    (code,) = re.findall(r"F-[0-9a-f]{8}", said)
    assert "secret" not in said and code in caplog.text and "secret words" in caplog.text
