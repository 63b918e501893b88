"""A real browser for the tests: Debian's Chromium, driven by Playwright, and a dashboard served for it."""

import itertools
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Error, Page, TimeoutError, expect, sync_playwright

DESKTOP = (1280, 900)
PHONE = (390, 844)

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

PATIENCE = 180_000
"""Milliseconds that anything is waited for at most, as a busy machine is no fault."""

expect.set_options(timeout=PATIENCE)

NOISE = ("Failed to load resource", "webgl")
"""What a browser without a network or a graphics card says on its console."""


OVERFLOW = """
() => [document.documentElement, document.body, document.querySelector('[data-testid=stMain]')]
    .map(part => part.scrollWidth - Math.min(part.clientWidth, window.innerWidth))
"""
"""How far each of three boxes would scroll sideways, in pixels."""

DARK = "getComputedStyle(document.querySelector('[data-testid=stApp]')).colorScheme === 'dark'"
"""Whether the page is drawn for the dark."""

FAULTS: dict[str, Any] = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}
"""Of what axe finds, the faults, and not every element that is well; targets of 24 px, by their boxes, too
(WCAG 2.2, 2.5.8), which axe leaves out unless asked."""

STILL = """
([turn, span]) => {
    const now = performance.now();
    const at_rest = document.querySelector('[data-testid=stApp][data-test-script-state=notRunning]')
        && !document.querySelector('[data-stale=true]')
        && document.getAnimations().every(part => part.playState !== 'running');
    if (window.stillness?.turn !== turn || !at_rest) window.stillness = {turn, since: now};
    return at_rest && now - window.stillness.since >= span;
}
"""
"""Whether the page has been at rest (no run, nothing stale, nothing fading) for a span of milliseconds since
it was first asked for this turn."""


def no_errors(errors: list[str]) -> bool:
    """Whether the console holds nothing but noise."""
    return [error for error in errors if not any(noise in error for noise in NOISE)] == []


_TURNS = itertools.count()


def wait_until_still(opened: Page, span: int = 200) -> None:
    """Until the page's script has run, nothing on it is of an earlier run, and no run followed at once."""
    opened.wait_for_function(STILL, arg=[next(_TURNS), span], polling=50)


def go_to(opened: Page, name: str) -> None:
    """To another page, by the way that a person of this window has."""
    wait_until_still(opened)
    if (opened.viewport_size or {"width": 0})["width"] <= 1000:
        opened.locator(".st-key-menu button").first.click()
        opened.get_by_test_id("stPopoverBody").get_by_role("link", name=name, exact=True).click()
    else:
        opened.locator(".st-key-pages").get_by_role("link", name=name, exact=True).click()
    wait_until_still(opened)


def choose(opened: Page, field: str, option: str | re.Pattern[str]) -> None:
    """Choose from a list; whatever is drawn late closes an open list, which is then opened again."""
    for patience in (3_000, 10_000, 30_000, 90_000):
        wait_until_still(opened)
        opened.get_by_role("combobox", name=field, exact=True).click()
        try:
            opened.get_by_role("option", name=option, exact=True).click(timeout=patience)
            break
        except TimeoutError:
            opened.keyboard.press("Escape")
    else:
        raise AssertionError(f"the list {field!r} never showed {option!r}")
    wait_until_still(opened)


def chromium() -> str:
    """Path of the browser; a test that needs it is skipped without, or fails where it must not be missing."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no chromium is installed, and CI=true: every browser test must run")
        pytest.skip("no chromium is installed")
    return found


@contextmanager
def launched(executable: str) -> Iterator[Browser]:
    """A browser, in which each ``window`` is of a person of its own."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=executable, args=list(ARGUMENTS), timeout=PATIENCE
        )
        yield browser
        browser.close()


@contextmanager
def window(size: tuple[int, int], browser: Browser) -> Iterator[tuple[Page, list[str]]]:
    """A page without a past, and the errors on its console so far; what fails in it is told with its text."""
    errors: list[str] = []
    opened = browser.new_page(viewport={"width": size[0], "height": size[1]}, locale="en-GB")
    opened.set_default_timeout(PATIENCE)
    opened.on("pageerror", lambda error: errors.append(str(error)))
    opened.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    try:
        yield opened, errors
    except Exception as error:
        with suppress(Error):  # of a page that is gone
            shown = opened.locator("body").inner_text()
            error.add_note(f"The page at {opened.url}, with the errors {errors}, reads:\n{shown}")
        raise
    finally:
        opened.close()


@contextmanager
def page(size: tuple[int, int], executable: str) -> Iterator[tuple[Page, list[str]]]:
    """A window of a browser of its own."""
    with launched(executable) as browser, window(size, browser) as opened:
        yield opened


@contextmanager
def served(market: Path, port: int, folder: Path | None = None) -> Iterator[str]:
    """The address of the dashboard, served by the command line to a person who stands in ``folder``."""
    program = shutil.which("pricing", path=str(Path(sys.executable).parent))
    if program is None:
        raise FileNotFoundError("the command line is not installed beside this Python")
    words = [program, "dashboard", "--market", str(market), "--port", str(port)]
    server = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=folder)
    try:
        said = server.stdout.readline() if server.stdout else ""
        if "http://" not in said:
            raise RuntimeError(f"the dashboard did not start: {said!r}")
        yield said.split()[-1]
    finally:
        server.terminate()
        server.communicate(timeout=PATIENCE / 1000)


def wait_until_shown(opened: Page) -> None:
    """Until the answer and its charts are drawn."""
    opened.get_by_test_id("stMetric").first.wait_for()
    opened.wait_for_function("document.querySelectorAll('.vega-embed canvas, .vega-embed svg').length >= 1")
    wait_until_still(opened)


def shot(opened: Page, path: Path, whole: bool = True) -> None:
    """A picture of the page; of the whole of it, the window is made as tall as the page for a moment."""
    size = opened.viewport_size or {"width": DESKTOP[0], "height": DESKTOP[1]}
    if whole:
        height = opened.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        opened.set_viewport_size({"width": size["width"], "height": int(height) + 20})
        wait_until_still(opened)
    opened.screenshot(path=path)
    opened.set_viewport_size(size)
