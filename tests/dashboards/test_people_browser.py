"""People sign in through a real OpenID Connect provider, in a real browser: what each role may do, and the
way out.

The provider is oidc-provider-mock from the package registry, which signs its tokens as the standard asks
(OpenID Connect Core 1.0) and lets everybody in under any name.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator

import httpx
import pytest
from playwright.sync_api import Browser, Page

from pricing.operations.settings import Settings
from pricing.store.market import Market
from tests.dashboards.browser import DESKTOP, chromium, go_to, served, window
from tests.ports import free_port
from tests.small_market import write_sales

pytestmark = pytest.mark.browser

ROLES: dict[str, tuple[str, ...]] = {"ann@mill.invalid": ("manage",), "bob@mill.invalid": ("read",)}
STRANGER = "eve@mill.invalid"
SECRETS = """[auth]
redirect_uri = "http://127.0.0.1:{port}/oauth2callback"
cookie_secret = "only-this-test-knows-this-secret"
client_id = "dashboard"
client_secret = "another-secret"
server_metadata_url = "{provider}/.well-known/openid-configuration"
"""


@pytest.fixture(scope="module")
def market(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Market:
    copy = tmp_path_factory.mktemp("people") / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    Market.open(copy).keep_settings(Settings(roles=ROLES).texts())
    return Market.open(copy)


@pytest.fixture(scope="module")
def provider() -> Iterator[str]:
    """Where the provider answers; a process of its own, as a real one is."""
    port = free_port()
    words = [sys.executable, "-m", "oidc_provider_mock", "--port", str(port)]
    for name in (*ROLES, STRANGER):
        claims = {"sub": name, "email": name, "email_verified": name != STRANGER}
        words += ["--user-claims", json.dumps(claims)]
    server = subprocess.Popen(words, stderr=subprocess.DEVNULL)
    found = f"http://127.0.0.1:{port}"
    try:
        wait_for(f"{found}/.well-known/openid-configuration")
        yield found
    finally:
        server.terminate()
        server.wait(timeout=30)


def wait_for(address: str) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        try:
            if httpx.get(address).is_success:
                return
        except httpx.TransportError:
            time.sleep(0.1)
    raise TimeoutError(f"nothing answers at {address}")


@pytest.fixture(scope="module")
def base(market: Market, provider: str) -> Iterator[str]:
    chromium()
    port, secrets = free_port(), market.path.parent / ".streamlit" / "secrets.toml"
    secrets.parent.mkdir()
    secrets.write_text(SECRETS.format(port=port, provider=provider), encoding="utf-8")
    with served(market.path, port, folder=market.path.parent) as found:
        yield found.rstrip("/")


def sign_in(opened: Page, name: str) -> None:
    opened.get_by_role("button", name="Sign in").click()
    opened.get_by_placeholder("sub").fill(name)
    opened.get_by_role("button", name="Authorize").click()


def sign_out(opened: Page) -> None:
    opened.get_by_role("button", name="Sign out").first.click()
    opened.get_by_role("button", name="End session").click()  # the provider asks once more
    opened.get_by_text("Sign in to see this market.").wait_for()


@pytest.mark.soak
def test_a_role_says_what_one_may_do_from_sign_in_to_sign_out(
    browser: Browser, base: str, market: Market
) -> None:
    more = market.path.with_name("more.parquet")
    write_sales(more, rows=900)
    market.load([more])  # so that there is something to fit to
    fits = len(market.fits())
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(f"{base}/records")
        sign_in(opened, "bob@mill.invalid")
        opened.get_by_role("heading", name="Where does this car sit?").wait_for()
        go_to(opened, "Records")
        opened.get_by_text("for the role load").first.wait_for()
        assert opened.locator("input[type=file]").count() == 0
        assert opened.get_by_role("button", name="Fit the price model").count() == 0
        sign_out(opened)
        opened.reload()
        opened.get_by_text("Sign in to see this market.").wait_for()

        sign_in(opened, "ann@mill.invalid")
        opened.get_by_role("heading", name="Where does this car sit?").wait_for()
        go_to(opened, "Records")
        opened.locator("input[type=file]").first.wait_for(state="attached")
        opened.get_by_role("button", name="Fit the price model").click()
        opened.get_by_text("The price model is fitted anew").wait_for()
        sign_out(opened)
    assert len(market.fits()) == fits + 1


def test_an_address_that_its_provider_has_not_verified_is_nobodys(browser: Browser, base: str) -> None:
    with window(DESKTOP, browser) as (opened, _):
        opened.goto(base)
        sign_in(opened, STRANGER)
        opened.get_by_text("have no role in this market").wait_for()
        assert opened.get_by_role("link", name="Records").count() == 0
        sign_out(opened)
