"""Statements over HTTP: kept, listed, withdrawn, scored; the same refusals and numbers as everywhere."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from pricing.model.market_fit import fit_market
from pricing.model.saved import save
from tests.api.servers import PATIENCE, serving
from tests.opinion_market import opinion_market

SAID: dict[str, Any] = {
    "source": "B. Lane", "stated_on": "2026-05-02", "make": "corvane", "model": "six",
    "condition_band": "average", "low": "3200", "high": "4800", "currency": "EUR",
    "price_basis": "all-in", "holds": "half",
}  # fmt: skip


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    market = opinion_market(Path(tmp_path_factory.mktemp("api")) / "market.duckdb")
    save(fit_market(market), market)
    with serving(market.path) as found:
        yield found


def asked(address: str, method: str, path: str, **parts: Any) -> tuple[int, Any]:
    answer = httpx.request(method, f"{address}/api/v1{path}", timeout=PATIENCE, **parts)
    return answer.status_code, answer.json()


def test_kept_once_listed_and_withdrawn(address: str) -> None:
    status, kept = asked(address, "POST", "/opinions", json=[SAID])
    assert status == 201 and (kept["read"], kept["kept"], kept["known"]) == (1, 1, 0)
    assert asked(address, "POST", "/opinions", json=[SAID])[1]["known"] == 1
    status, found = asked(address, "GET", "/opinions", params={"make": "CORVANE"})
    assert status == 200 and len(found["items"]) == 5
    (name,) = kept["ids"]
    status, gone = asked(address, "POST", f"/opinions/{name}/withdrawal", json={"reason": "mistyped"})
    assert (status, gone) == (200, {"opinion_id": name})
    assert asked(address, "POST", f"/opinions/{name}/withdrawal", json={"reason": "again"})[0] == 404
    assert len(asked(address, "GET", "/opinions")[1]["items"]) == 4
    assert len(asked(address, "GET", "/opinions", params={"every": True})[1]["items"]) == 5


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"holds": "most"}, "holds is one of"),
        ({"low": "9000"}, "low is below high"),
        (
            {"condition_band": "top condition", "low": "100", "high": "200", "source": "A. Rowe"},
            "is that meant?",
        ),
    ],
)
def test_the_same_refusals_as_everywhere(address: str, changed: dict[str, Any], sentence: str) -> None:
    status, told = asked(address, "POST", "/opinions", json=[SAID | changed])
    assert status == 422 and sentence in told["detail"] and told["code"] == "opinion"


def test_scores_say_that_they_cannot_tell(address: str) -> None:
    status, found = asked(address, "GET", "/opinions/scores")
    assert status == 200
    assert {row["source"]: row["tells"] for row in found["sources"]}["A. Rowe"] is False


def test_a_car_is_valued_by_opinion_alone(address: str) -> None:
    car = {"make": "Corvane", "model": "Six", "year": 1966, "condition_band": "average"}
    status, value = asked(address, "POST", "/valuations", json={"car": car})
    assert status == 200, value
    assert (value["low"], value["high"], value["evidence"]) == ("3000.00", "5000.00", "opinion alone")
    assert value["ground"]["opinions"] == 1.0 and value["opinions"][0]["source"] == "A. Rowe"
