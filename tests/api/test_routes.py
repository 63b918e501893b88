"""What the routes answer, asked by the client over HTTP."""

import json
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest

from pricing.api.client import Client, ProblemError
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.model.saved import load
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, serving
from tests.cars import car_of
from tests.small_market import common_car

WALK = {
    "construction": "monocoque",
    "car": {"make": "Wexcombe", "model": "Marram"},
    "findings": [{"check": "shell_outer_sills", "state": "needs repair", "note": "both"}],
}
SALE = (
    "make,model,year,channel,country,outcome,event_date,amount,currency,price_basis\n"
    "Corvane,Six,1968,private,GB,sold,2024-05-01,4250,EUR,all-in\n"
    "Corvane,Six,1968,private,GB,sold,2024-05-02,-1,EUR,all-in\n"
)


def test_health_readiness_and_counts(address: str, client: Client) -> None:
    assert httpx.get(f"{address}/health", timeout=PATIENCE).json() == {"status": "alive"}
    assert httpx.get(f"{address}/ready", timeout=PATIENCE).json() == {"status": "ready", "fit": "fit-0001"}
    assert client.ready()
    client.market()
    counted = httpx.get(f"{address}/metrics", timeout=PATIENCE)
    assert counted.headers["content-type"].startswith("text/plain")
    assert 'pricing_requests_total{method="GET",route="/ready",status="200"}' in counted.text


def test_a_server_without_a_market_lives_and_is_not_ready(tmp_path: Path) -> None:
    with serving(tmp_path / "none.duckdb") as address, Client(address) as client:
        assert httpx.get(f"{address}/health", timeout=PATIENCE).is_success
        assert not client.ready()
        with pytest.raises(ProblemError, match="does not exist") as caught:
            client.value({"make": "Corvane", "model": "Six", "year": 1968})
        assert caught.value.status == 503


def test_a_car_that_cannot_be_valued_leaves_the_others(small_market: Market, client: Client) -> None:
    car = common_car(small_market)
    found = client.values([car, {**car, "make": "Nowhere"}, {**car, "year": 2190}, car])
    assert found[0] == found[3] and found[0]["mid"] is not None
    assert found[1]["refused"].startswith("no record of the make 'Nowhere'; on record: ")
    assert found[2]["refused"].startswith("year out of range: got ")
    with pytest.raises(ProblemError, match=r"did you mean make 4 or "):
        client.valuation({**car, "make": "mke 4"})


def test_a_date_before_the_fit_and_a_fit_that_is_not_there_are_refused(
    small_market: Market, client: Client
) -> None:
    car = common_car(small_market)
    with pytest.raises(ProblemError, match="has seen sales up to"):
        client.value(car, as_of="2001-01-01")
    with pytest.raises(ProblemError, match="no fit 'fit-0099'") as caught:
        client.value(car, fit="fit-0099")
    assert caught.value.status == 404
    assert client.value(car, fit="fit-0001") == client.value(car)


def test_evidence(small_market: Market, client: Client) -> None:
    car = common_car(small_market)
    found = client.comparables(car, count=5)
    assert len(found["table"]) == 5 and sum(row["weight"] for row in found["table"]) == pytest.approx(1)
    assert float(found["low"]) < float(found["mid"]) < float(found["high"])
    index = client.index(period="year")
    assert index["frame"][0]["index"] == 100.0
    depth = client.depth(make=car["make"].upper(), model=car["model"])
    assert depth["scope"] == f"{car['make']} {car['model']}"
    with pytest.raises(ProblemError, match="needs its make"):
        client.index(model=car["model"])


def test_buying_and_selling(small_market: Market, client: Client) -> None:
    car = common_car(small_market)
    bought = client.buying({**car, "channel": "private"}, asking=5150, certainty=0.7)
    expected = buy_car(
        small_market, load(small_market), car_of(small_market, {**car, "channel": "private"}),
        BuyerTerms(currency="EUR", certainty=0.7), asking=Decimal(5150),
        indexed=Snapshot.of(small_market).comparables_index,
    )  # fmt: skip
    assert bought == json.loads(json.dumps(expected.to_dict() | {"warning": None}))
    with pytest.raises(ProblemError, match="no asking price"):
        client.buying(car, certainty=0.7)
    sold = client.selling(car, own_value=3000)
    assert [row["channel"] for row in sold["channels"]] and sold["valuation"]["car"]["make"] == car["make"]


def test_condition(client: Client) -> None:
    scored = client.score(WALK)
    assert 0 < scored["score"] < 100 and sum(scored["band_shares"].values()) == pytest.approx(1)
    assert scored["holding"][0]["check"] == "shell_outer_sills"
    budget = client.budget(WALK, country="GB")
    assert float(budget["certain"]) > 0 and budget["currency"] == "EUR"
    with pytest.raises(ProblemError, match="^unknown check 'sills': not on the sheet monocoque"):
        client.score({**WALK, "findings": [{"check": "sills", "state": "worn"}]})


def test_lists_come_a_page_at_a_time(small_market: Market, client: Client) -> None:
    everything = list(client.items("records", limit=100))
    assert [row["record_id"] for row in everything] == small_market.sales()["record_id"].to_list()
    car = common_car(small_market)
    assert {row["make"] for row in client.items("records", make=car["make"], limit=7)} == {car["make"]}
    assert (
        sum(row["sales"] for row in client.items("models"))
        == small_market.sales().filter(outcome="sold").height
    )


def test_a_load_its_report_its_quarantine_and_taking_it_back(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    before = own.digest()
    file = tmp_path / "notes.csv"
    file.write_text(SALE)
    with serving(own.path) as address, Client(address) as client:
        records = client.market()["records"]
        assert client.load([file], dry_run=True)["accepted"] == 1
        assert client.market()["records"] == records
        report = client.load([file], key="load-2024-05")
        assert (report["read"], report["accepted"], report["rejected"], report["known"]) == (2, 1, 1, 0)
        assert client.market()["records"] == records + 1
        again = client.load([file], key="load-2024-05")
        assert again == report, "the same key gives the same answer"
        assert client.load([file])["known"] == 2, "a new key does the work again, which changes nothing"
        waiting = list(client.items("quarantine", batch_id=report["batch_id"]))
        assert [row["broken_rules"] for row in waiting] == [["amount_not_positive"]]
        with pytest.raises(ProblemError, match="used for something else") as caught:
            client.load([small_market.path.with_suffix(".parquet")], key="load-2024-05")
        assert caught.value.status == 422
        assert client.undo(report["batch_id"]) == {"batch_id": report["batch_id"], "records": 1}
        with pytest.raises(ProblemError, match="undone already") as caught:
            client.undo(report["batch_id"])
        assert caught.value.status == 409
    assert own.digest() == before


def test_a_fit_is_made_once_and_used_at_once(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    with serving(own.path) as address, Client(address) as client:
        car = common_car(own)
        before = client.value(car)
        made = client.fit(key="nightly-1")
        assert made["fit_id"] == "fit-0002" and client.fit(key="nightly-1") == made
        assert [row["fit_id"] for row in client.items("fits")] == ["fit-0001", "fit-0002"]
        answer = httpx.post(f"{address}/api/v1/values", json={"cars": [car]}, timeout=PATIENCE).json()
        assert answer["fit"] == "fit-0002" and answer["values"] == [before]


def test_another_process_s_load_is_seen(small_market: Market, tmp_path: Path) -> None:
    own = copied(small_market, tmp_path)
    (tmp_path / "notes.csv").write_text(SALE)
    with serving(own.path) as address, Client(address) as client:
        records = client.market()["records"]
        own.load([tmp_path / "notes.csv"])
        deadline = time.monotonic() + PATIENCE
        while client.market()["records"] == records and time.monotonic() < deadline:
            time.sleep(0.05)
        assert client.market() == {**client.market(), "records": records + 1, "stale": True}


def test_every_error_has_the_same_shape(address: str) -> None:
    asked: list[tuple[str, str, dict[str, Any], int]] = [
        ("GET", "/nowhere", {}, 404),
        ("PUT", "/health", {}, 405),
        ("POST", "/api/v1/values", {"content": b"{", "headers": {"content-type": "application/json"}}, 422),
        ("POST", "/api/v1/values", {"json": {"cars": []}}, 422),
        ("GET", "/api/v1/batches/batch-9999", {}, 404),
        ("GET", "/api/v1/records?limit=0", {}, 422),
        ("POST", "/api/v1/standings", {"content": b"x" * 1_100_000}, 413),
    ]
    for method, path, sent, status in asked:
        answer = httpx.request(method, address + path, **sent, timeout=PATIENCE)
        assert answer.status_code == status, path
        assert answer.headers["content-type"] == "application/problem+json"
        facts = answer.json()
        assert {"type", "title", "status", "detail", "instance"} <= set(facts) and facts["status"] == status
        assert facts["instance"] == f"urn:request:{answer.headers['x-request-id']}"
    assert httpx.put(f"{address}/api/v1/appraisals", timeout=PATIENCE).headers["allow"] == "GET, POST"
