"""Kept inspection sheets over the API: read, and filled in once under each key."""

from pathlib import Path

import httpx
import pytest

from pricing.condition.inspection import Inspection
from pricing.operations import drafts
from pricing.operations.serving import DEMO_VARIABLE
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, serving
from tests.dashboards.test_garage import photograph


def test_findings_and_photographs_of_a_kept_sheet_are_taken_in_once(
    small_market: Market, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own, name = copied(small_market, tmp_path), drafts.new_name()
    drafts.keep_sheet(own.path, name, Inspection.start("monocoque", {"make": "Wexcombe", "model": "Marram"}))
    with serving(own.path) as address, httpx.Client(base_url=f"{address}/api/v1", timeout=PATIENCE) as asking:
        told = asking.get(f"/kept-inspections/{name}").json()
        assert told["areas"][1]["drawing"].startswith("<svg")
        check = told["areas"][1]["checks"][0]["id"]
        key, found = {"Idempotency-Key": "0c5be2b1-one"}, [{"check": check, "state": "worn"}]
        again = [asking.post(f"/kept-inspections/{name}/findings", json=found, headers=key) for _ in range(2)]
        assert [(one.status_code, one.json()) for one in again] == [
            (201, {"new": True}),
            (201, {"new": False}),
        ]
        where = f"/inspection-photos?sheet={name}&check={check}"
        key = {"Idempotency-Key": "0c5be2b1-two", "Content-Type": "application/octet-stream"}
        assert [asking.post(where, content=photograph(), headers=key).json()["new"] for _ in range(2)] == [
            True,
            False,
        ]
        assert asking.get("/kept-inspections/" + "0" * 32).status_code == 404
        assert asking.post(f"/kept-inspections/{name}/findings", json=found).status_code == 422
    kept = drafts.open_sheet(own.path, name)
    assert kept.state(check) == "worn" and kept.findings[check].photo
    assert len(list(drafts.sheet_folder(own.path, name).glob("*.jpg"))) == 1
    monkeypatch.setenv(DEMO_VARIABLE, str(own.path))
    with serving(tmp_path / "none.duckdb") as address:
        of_demo = httpx.get(f"{address}/api/v1/kept-inspections/{name}", timeout=PATIENCE)
    assert of_demo.json()["name"] == name
