"""A real nginx in front of a real server: as `pricing setup server` writes it, and without a
line of its own."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import sync_playwright

import pricing
from pricing.store.market import Market
from tests.api.servers import PATIENCE, answered
from tests.dashboards.browser import ARGUMENTS, DESKTOP, chromium, no_errors, wait_until_still, window
from tests.ports import free_port

PROXY = (Path(pricing.__file__).parent / "operations/deployment/nginx.conf").read_text(encoding="utf-8")
NAME = "prices.example"

STOCK = "server {{ listen 127.0.0.1:{port}; location / {{ proxy_pass http://127.0.0.1:{server}; }} }}"
"""The plainest configuration: HTTP/1.0, and the host it was told."""

WITH_LINE = """map $http_upgrade $upgrading {{ default upgrade; '' close; }}
server {{ listen 127.0.0.1:{port}; location / {{ proxy_pass http://127.0.0.1:{server}; proxy_http_version 1.1;
proxy_set_header Upgrade $http_upgrade; proxy_set_header Connection $upgrading; }} }}"""
"""The same with what a WebSocket needs, which later versions of nginx send by themselves."""


def program(name: str) -> str:
    found = shutil.which(name, path=f"{os.environ['PATH']}:/usr/sbin")
    if found is None:
        pytest.skip(f"no {name} is installed")
    return found


@contextmanager
def nginx(folder: Path, block: str) -> Iterator[None]:
    """An nginx with this inside its block ``http``."""
    folder.mkdir()
    written = folder / "nginx.conf"
    paths = "".join(
        f"{kind}_temp_path {folder}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    written.write_text(
        f"daemon off; worker_processes 1; pid {folder}/pid; error_log {folder}/errors;\nevents {{}}\n"
        f"http {{ access_log off; {paths}\n{block}\n}}\n"
    )
    words = [program("nginx"), "-p", str(folder), "-e", f"{folder}/errors", "-c", str(written)]
    tried = subprocess.run([*words, "-t"], capture_output=True, text=True)
    assert tried.returncode == 0, tried.stderr
    running = subprocess.Popen(words, stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        running.send_signal(signal.SIGTERM)
        running.wait(PATIENCE)


@contextmanager
def served(market: Market, *options: str, **environment: str) -> Iterator[int]:
    """The port of `pricing serve`."""
    port = free_port()
    words = [str(Path(sys.executable).with_name("pricing")), "serve", "--port", str(port)]
    known = {name: text for name, text in os.environ.items() if not name.startswith("PRICING_")}
    variables = known | {"PRICING_MARKET": str(market.path)} | environment
    server = subprocess.Popen(
        [*words, *options], env=variables, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    try:
        answered(f"http://127.0.0.1:{port}", server)
        yield port
    finally:
        server.terminate()
        server.communicate(timeout=PATIENCE)


@contextmanager
def reached(address: str, **said: Any) -> Iterator[httpx.Client]:
    """A client, once the proxy answers."""
    with httpx.Client(base_url=address, timeout=PATIENCE, trust_env=False, **said) as client:
        deadline = time.monotonic() + PATIENCE
        while True:
            try:
                client.get("/health")
                break
            except httpx.TransportError:
                assert time.monotonic() < deadline, f"nothing answers at {address}"
                time.sleep(0.05)
        yield client


def test_a_plain_proxy_lets_nobody_in_even_where_the_machine_is_trusted(
    market: Market, tmp_path: Path
) -> None:
    records = market.sales().height
    with served(market, "--trust-this-machine") as server:
        for name, block in (("stock", STOCK), ("line", WITH_LINE)):
            if name == "line" and os.getuid() != 0:
                continue  # such an nginx runs as the user of the server and hides what it is
            port = free_port()
            with nginx(tmp_path / name, block.format(port=port, server=server)):
                with reached(f"http://127.0.0.1:{port}") as outside:
                    assert outside.delete("/api/v1/batches/batch-0001").status_code == 401
                    assert outside.get("/api/v1/market").status_code == 401
                    assert outside.get("/").status_code == 401
                    opening = {
                        "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
                        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
                        "Origin": f"http://127.0.0.1:{server}",
                    }  # fmt: skip
                    answer = outside.get("/_stcore/stream", headers=opening)
                    assert answer.status_code in (401, 403)
        with reached(f"http://127.0.0.1:{server}") as here:
            assert here.get("/api/v1/market").is_success
    assert market.sales().height == records


@pytest.mark.soak
@pytest.mark.browser
def test_the_written_proxy_brings_a_person_with_a_token_in(market: Market, tmp_path: Path) -> None:
    certificate, key = tmp_path / "certificate.pem", tmp_path / "key.pem"
    subprocess.run(
        [program("openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
         "-subj", f"/CN={NAME}", "-addext", f"subjectAltName=DNS:{NAME}",
         "-keyout", key, "-out", certificate],
        check=True, capture_output=True,
    )  # fmt: skip
    block = PROXY
    (hosts,) = re.findall(r"PRICING_HOSTS=(\S+)", PROXY)
    _, token = market.tokens.new("valuation desk", "read")
    port = free_port()
    with served(market, PRICING_HOSTS=hosts) as server:
        for said, meant in (
            ("listen 443", f"listen 127.0.0.1:{port}"),
            ("127.0.0.1:8501", f"127.0.0.1:{server}"),
            ("/etc/ssl/certs/prices.example.pem", str(certificate)),
            ("/etc/ssl/private/prices.example.key", str(key)),
        ):
            assert block.count(said) == 1
            block = block.replace(said, meant)
        address = f"https://{NAME}:{port}"
        with nginx(tmp_path / "proxy", block), sync_playwright() as playwright:
            with reached(f"https://127.0.0.1:{port}", verify=False, headers={"Host": NAME}) as outside:
                assert outside.get("/").status_code == 401
                asked = {"Authorization": f"Bearer {token}"}
                assert outside.get("/api/v1/market", headers=asked).is_success
                assert outside.get("/api/v1/market", headers=asked | {"Host": "other"}).status_code == 403
            browser = playwright.chromium.launch(
                executable_path=chromium(),
                args=[
                    *ARGUMENTS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1", "--ignore-certificate-errors",
                ],
            )  # fmt: skip
            with window(DESKTOP, browser) as (opened, errors):
                opened.goto(address)
                opened.get_by_label("Your token").fill(token)
                opened.get_by_role("button", name="Sign in").click()
                opened.get_by_test_id("stMain").get_by_role("heading", level=1).wait_for()
                wait_until_still(opened)
                assert "Where does this car sit" in opened.get_by_test_id("stMain").inner_text()
                (kept,) = [cookie for cookie in opened.context.cookies() if cookie["name"] == "pricing_token"]
                assert kept["secure"] and kept["httpOnly"] and kept["sameSite"] == "Strict"
                assert no_errors(errors)
            browser.close()
