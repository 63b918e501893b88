"""The OpenAPI document is kept: no failure of the server and no answer it does not tell of, whatever is sent.

The requests are those of schemathesis, a general-purpose tester of documented APIs.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, serving

LEFT_OUT = "positive_data_acceptance,negative_data_rejection,object_level_authorization"
"""Of all checks: that whatever fits the schema is accepted (a make may have no record, a date no fit); that
whatever does not is refused (amounts, days and names are read as people write them); and that one caller does
not get at another's things, for which there is a test of its own by role (`test_security.py`)."""
SEED = 20260630
CASES = os.environ.get("SOAK_CASES", "60")
"""Of each operation, in each phase."""


def tried(market: Market, folder: Path, *options: str) -> int:
    """Let schemathesis ask a server of its own that wants tokens; returns how many requests it made."""
    own = copied(market, folder)
    _, token = own.tokens.new("tester", "manage")
    with serving(own.path, access="tokens", requests_a_second=10_000.0, burst=10_000) as address:
        done = subprocess.run(
            [
                Path(sys.executable).with_name("schemathesis"), "run", f"{address}/api/openapi.json",
                "-H", f"Authorization: Bearer {token}", "--checks", "all", "--exclude-checks", LEFT_OUT,
                "--seed", str(SEED), "--no-color",
                "--warnings", "off", "--request-timeout", "120", "--suppress-health-check", "all", *options,
            ],
            cwd=folder, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout[-6000:]
        assert httpx.get(f"{address}/health", timeout=PATIENCE).is_success
    return int(re.findall(r"([\d,]+) generated", done.stdout)[-1].replace(",", ""))


def test_no_request_gets_an_answer_that_is_not_documented(small_market: Market, tmp_path: Path) -> None:
    assert (
        tried(small_market, tmp_path, "--phases", "fuzzing", "-n", "2", "--exclude-path", "/api/v1/fits") > 50
    )


@pytest.mark.soak
def test_no_request_of_thousands_gets_an_answer_that_is_not_documented(
    small_market: Market, tmp_path: Path
) -> None:
    """One after another on what the ones before had made, too (`stateful`)."""
    made = tried(small_market, tmp_path, "--phases", "examples,coverage,fuzzing,stateful", "-n", CASES)
    print(f"{made:,} requests, all answers as documented")
    assert made >= 100 * int(CASES)


def test_every_operation_says_what_it_does_and_what_can_go_wrong(address: str) -> None:
    document = httpx.get(f"{address}/api/openapi.json", timeout=PATIENCE).json()
    assert document["openapi"].startswith("3.1")
    for path, methods in document["paths"].items():
        for method, told in methods.items():
            assert told.get("description"), f"{method} {path}"
            if path.startswith("/api/"):
                assert {"401", "403", "422", "429", "503"} <= set(told["responses"]), f"{method} {path}"
            for status, answer in told["responses"].items():
                if int(status) >= 400:
                    assert list(answer["content"]) == ["application/problem+json"], (
                        f"{method} {path} {status}"
                    )
