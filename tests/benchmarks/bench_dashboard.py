"""The dashboard on a large market in a real browser: how long pages take, alone and with eight people at
once.

Times are from the press of a button or the opening of an address to the drawn answer, in milliseconds; they
hold the browser's own work as well as the server's, and both share the machine. Eight people at once are
measured twice: as eight browsers beside the server, which are most of the load, and as one browser and seven
people by the wire (``wire_person``), as each person brings a machine of their own.
``PRICING_BENCH_MARKET`` names a market file that was made before; without it one of ``ROWS`` records is made,
fitted and left to the test's folder.
"""

import asyncio
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from decimal import Decimal
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import numpy as np
import pytest
from playwright.async_api import Page, async_playwright

from data_demo.simulated import simulate_market
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.operations.serving import address
from pricing.records.contract import COLUMNS
from pricing.store.market import Market
from pricing.vocabulary import CONDITION_BANDS
from tests.benchmarks.wire_person import Taken, wire_person
from tests.dashboards.browser import ARGUMENTS, DESKTOP, chromium, served
from tests.small_market import common_car

pytestmark = pytest.mark.benchmark

ROWS: Final = 1_000_000
MODELS: Final = 2_000
PEOPLE: Final = 8
CHANGES: Final = 12
OPENED: Final = 7
READING: Final = (4.0, 8.0)
"""Seconds that one of several people looks at an answer before the next change, at random between these."""
PORT: Final = 8596
QUIET: Final = ("--server.headless", "true", "--browser.gatherUsageStats", "false")
PAGES: Final = (
    "inspect",
    "mend",
    "comparables",
    "buy",
    "market",
    "records",
    "scores",
    "settings",
    "appraisals",
)
DRAWN: Final = """() => {
    const drawn = document.querySelector('.vega-embed canvas, .vega-embed svg.marks');
    const picture = drawn?.toDataURL ? drawn.toDataURL() : drawn?.outerHTML;
    return picture === undefined || picture.length < 5000 ? null : picture;
}"""
"""The first chart as drawn; null while it is blank."""
STOPWATCH: Final = f"""() => {{
    const drawn = {DRAWN};
    const answer = () => document.querySelectorAll('[data-testid=stMetricValue]')[1]?.innerText;
    const was = [answer(), drawn()];
    window.taken = new Promise(told => document.addEventListener('click', () => {{
        const pressed = performance.now();
        let answered = null;
        const look = () => {{
            if (answered === null && answer() !== was[0]) answered = performance.now() - pressed;
            const redrawn = answered !== null && ![null, was[1]].includes(drawn());
            if (redrawn) told([answered, performance.now() - pressed]);
            else requestAnimationFrame(look);
        }};
        look();
    }}, {{once: true, capture: true}}));
}}"""
"""Begins at the next press: milliseconds to another mid price, and to another drawing of the first chart."""
HEADING: Final = "[data-testid=stMain] h1"
STILL: Final = (
    "!document.querySelector('[data-testid=stStatusWidget]') && !document.querySelector('[data-stale=true]')"
)


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Market:
    made = os.environ.get("PRICING_BENCH_MARKET")
    if made is not None:
        return Market.open(made, create=False)
    folder = tmp_path_factory.mktemp("large")
    frame, _ = simulate_market(ROWS, MODELS, seed=20, makes=60)
    frame.select(name for name in COLUMNS if name != "batch_id").write_parquet(folder / "sales.parquet")
    market = Market.open(folder / "market.duckdb")
    market.load([folder / "sales.parquet"])
    save(PriceModel(FeatureSpec.cars()).fit(market.sales()), market)
    return market


@pytest.fixture
def base(market: Market) -> Iterator[str]:
    with serving(market) as found:
        yield found


@contextmanager
def serving(market: Market) -> Iterator[str]:
    """A server of its own, and how long it takes to be there."""
    began = time.perf_counter()
    with served(Path(market.path), PORT) as found:
        print(f"\n{'from the command to the open port':45} {1000 * (time.perf_counter() - began):8.0f} ms")
        yield found.rstrip("/")


@pytest.fixture(scope="module")
def query(market: Market) -> str:
    car = common_car(market) | {"condition_band": "average"}  # which no change goes to
    return urlsplit(address(PORT, car, Decimal(5000))).query


def test_the_start_page_beside_a_bare_one(market: Market, query: str) -> None:
    asyncio.run(_beside_bare(market, query))


def test_every_page_and_eight_people(base: str, query: str) -> None:
    asyncio.run(_people(base, query))


async def _beside_bare(market: Market, query: str) -> None:
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        context = await browser.new_context(viewport={"width": DESKTOP[0], "height": DESKTOP[1]})
        page = await context.new_page()
        with serving(market) as base:
            first = [await _opened(page, f"{base}/?{query}")]
            bare_page = await context.new_page()
            warm, answered, redrawn = list[float](), list[float](), list[float]()
            bare_warm, bare_answer, bare_chart = list[float](), list[float](), list[float]()
            with bare_server() as bare:
                await _opened(bare_page, bare)
                for _ in range(OPENED):  # by turns, so that what else the machine does falls on both
                    bare_warm.append(await _opened(bare_page, bare))
                    warm.append(await _opened(page, f"{base}/?{query}"))
                for _ in range(CHANGES // 4):
                    for one, capital, kept in (
                        (bare_page, False, (bare_answer, bare_chart)),
                        (page, True, (answered, redrawn)),
                    ):
                        await one.bring_to_front()
                        for part, taken in zip(kept, await _changes(one, 4, capital=capital), strict=True):
                            part.extend(taken)
        with serving(market) as base:
            anew = [await _opened(page, f"{base}/?{query}")]
        for words, own, other, beside, wanted in (
            ("first visitor of a server, browser new to it", first, "start page, warm", warm, 3.0),
            ("first visitor of a server, browser knows it", anew, "start page, warm", warm, 3.0),
            ("start page, warm", warm, "bare page, warm", bare_warm, 1.3),
            ("changed band to answer", answered, "the same, bare page", bare_answer, 1.5),
            ("changed band to chart", redrawn, "the same, bare page", bare_chart, 1.5),
        ):
            _row(words, own)
            _row(other, beside)
            ratio = np.median(own) / np.median(beside)
            print(f"{'':45} {ratio:8.2f} times as long (wanted: at most {wanted})")
        await browser.close()


async def _people(base: str, query: str) -> None:
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        page = await browser.new_page(viewport={"width": DESKTOP[0], "height": DESKTOP[1]})
        for name in PAGES:
            _row(f"page {name}", [await _shown(page, f"{base}/{name}?{query}") for _ in range(2)][1:])
        people = [await (await browser.new_context()).new_page() for _ in range(PEOPLE)]
        await asyncio.gather(*(_opened(one, f"{base}/?{query}") for one in people))
        found = await asyncio.gather(
            *(_changes(one, CHANGES // 2, READING, seed) for seed, one in enumerate(people))
        )
        for place, what in enumerate(("answer", "chart")):
            taken = [changed for one in found for changed in one[place]]
            _row(f"{PEOPLE} browsers on the machine: {what}", taken)
        await asyncio.gather(*(one.context.close() for one in people))
        page = await browser.new_page(viewport={"width": DESKTOP[0], "height": DESKTOP[1]})
        await _opened(page, f"{base}/?{query}")
        with ThreadPoolExecutor(PEOPLE - 1) as pool:
            begun = [pool.submit(_by_wire, query, seed) for seed in range(1, PEOPLE)]
            answered, redrawn = await _changes(page, CHANGES, READING)
            others = [taken for one in begun for taken in one.result()]
        _row(f"{PEOPLE} people, one in a browser: answer", answered)
        _row(f"{PEOPLE} people, one in a browser: chart", redrawn)
        for place, what in enumerate(Taken._fields):
            _row(f"{PEOPLE} people, those by the wire: {what}", [taken[place] for taken in others])
        await browser.close()


@contextmanager
def bare_server() -> Iterator[str]:
    """The address of a bare page of the same framework (``bare_page``)."""
    page = Path(__file__).with_name("bare_page.py")
    words = ["run", str(page), "--server.port", str(PORT + 1), "--server.address", "127.0.0.1"]
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", *words, *QUIET],
        stdout=subprocess.DEVNULL,
    )
    try:
        for _ in range(600):
            with suppress(OSError), socket.create_connection(("127.0.0.1", PORT + 1), 1):
                break
            time.sleep(0.1)
        yield f"http://127.0.0.1:{PORT + 1}/"
    finally:
        server.terminate()
        server.wait(30)


def _by_wire(query: str, seed: int) -> list[Taken]:
    """What one person without a browser waits for, who reads each answer."""
    random = np.random.default_rng(seed)
    taken = []
    with wire_person(PORT, query) as person:
        for place in range(CHANGES):
            time.sleep(random.uniform(*READING))
            taken.append(person.change(CONDITION_BANDS[(place % 2) * 3]))
    return taken


async def _opened(page: Page, where: str) -> float:
    """From opening an address to the answer and its charts."""
    await page.goto("about:blank")
    began = time.perf_counter()
    await page.goto(where)
    await page.get_by_test_id("stMetric").first.wait_for(timeout=180_000)
    await page.wait_for_function(
        "document.querySelector('.vega-embed canvas, .vega-embed svg')", timeout=60_000
    )
    taken = time.perf_counter() - began
    await page.wait_for_function(STILL, timeout=60_000)
    return 1000 * taken


async def _shown(page: Page, where: str) -> float:
    """From opening an address to a page that is still."""
    await page.goto("about:blank")
    began = time.perf_counter()
    await page.goto(where)
    await page.locator(HEADING).first.wait_for(timeout=180_000)
    await page.wait_for_function(STILL, timeout=180_000)
    return 1000 * (time.perf_counter() - began)


async def _changes(
    page: Page, times: int, reading: tuple[float, float] | None = None, seed: int = 0, *, capital: bool = True
) -> tuple[list[float], list[float]]:
    """From the choice of another condition band to another mid price, and to another drawing of the first
    chart."""
    answered: list[float] = []
    redrawn: list[float] = []
    random = np.random.default_rng(seed)
    for place in range(times):
        if reading is not None:
            await asyncio.sleep(random.uniform(*reading))
        band = CONDITION_BANDS[(place % 2) * 3]
        option = page.get_by_text(band.capitalize() if capital else band, exact=True)
        await option.wait_for()
        await page.evaluate(STOPWATCH)
        await option.click()
        taken = await asyncio.wait_for(page.evaluate("window.taken"), 60)
        answered.append(taken[0])
        redrawn.append(taken[1])
        await page.wait_for_function(STILL, timeout=60_000)
    return answered, redrawn


def _row(words: str, taken: list[float]) -> None:
    print(
        f"{words:45} {np.median(taken):8.0f} ms median {np.quantile(taken, 0.95):8.0f} ms p95 ({len(taken)})"
    )
