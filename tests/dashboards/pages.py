"""Pages of the dashboard in a test without a browser: opened at a car, pressed, waited for, read."""

import time
from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from streamlit.testing.v1 import AppTest

from dashboards import jobs
from pricing.operations.serving import address

APP = str(Path(__file__).parents[2] / "dashboards" / "app.py")
WAIT = 300
"""Seconds that anything is waited for at most, as a busy machine is no fault."""


def a_page(module: str) -> AppTest:
    """One page by itself, as the frame would run it; in whichever folder its file is."""
    (file,) = Path(APP).parent.rglob(f"{module}.py")
    return AppTest.from_string(
        "from dashboards import url_state\n"
        f"from {'.'.join(file.parent.relative_to(Path(APP).parents[1]).parts)} import {module}\n"
        f"url_state.take({module!r})\n"
        f"{module}.show_page()\n"
        "url_state.give()\n",
        default_timeout=WAIT,
    )


def at_car(page: AppTest, car: Mapping[str, Any], asking: int | None = None) -> AppTest:
    """Open the page at the address of a car."""
    query = urlsplit(address(8501, car, None if asking is None else Decimal(asking))).query
    for name, values in parse_qs(query).items():
        page.query_params[name] = values
    return page.run()


def settle(page: AppTest) -> AppTest:
    """Wait for the server's long work, and run the page again after it."""
    deadline = time.monotonic() + WAIT
    waited = False
    while any(not job.ended for job in list(jobs._all()[1].values())):
        assert time.monotonic() < deadline, "a job did not end"
        time.sleep(0.02)
        waited = True
    return page.run() if waited or page.get("progress") else page


def press(page: AppTest, label: str) -> AppTest:
    """Press the one button of that label, and wait for what it starts."""
    (button,) = [button for button in page.button if button.label == label]
    return settle(button.click().run())


def said(page: AppTest) -> str:
    """All that the page says in sentences, as a person reads it."""
    parts: Iterable[Any] = (
        *page.markdown, *page.caption, *page.info, *page.success, *page.warning, *page.error
    )  # fmt: skip
    return "\n".join(part.value for part in parts).replace("\\", "")


def table(page: AppTest, *columns: str) -> Any:
    """The one table that has these columns."""
    (found,) = [shown.value for shown in page.dataframe if set(columns) <= set(shown.value.columns)]
    return found
