"""Kept cars over HTTP: the library's numbers, roles as for records, and a key that keeps a car once."""

import io
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from PIL import Image

from pricing.decisions.valuation import value_car
from pricing.model.saved import load
from pricing.store.market import Market
from tests.api.servers import PATIENCE, serving
from tests.cars import car_of
from tests.small_market import common_car


@pytest.fixture
def market(small_market: Market, tmp_path: Path) -> Market:
    copy = tmp_path / "market.duckdb"
    copy.write_bytes(small_market.path.read_bytes())
    return Market.open(copy)


def _photo() -> bytes:
    """A photograph with noise enough to hold more commas than a request of values may, and a place in it."""
    pixels = np.random.default_rng(1).integers(0, 255, (1200, 1000, 3), dtype=np.uint8)
    written, exif = io.BytesIO(), Image.Exif()
    exif[0x010F] = "a camera"
    Image.fromarray(pixels).save(written, "PNG", exif=exif)
    assert written.getvalue().count(b",") > 10_000
    return written.getvalue()


def test_kept_noted_compared_sold_and_deleted(market: Market) -> None:
    car = {name: common_car(market)[name] for name in ("make", "model", "year", "condition_band")}
    with serving(market.path) as address:

        def asked(method: str, path: str, **parts: Any) -> tuple[int, Any]:
            answer = httpx.request(method, f"{address}/api/v1/kept-cars{path}", timeout=PATIENCE, **parts)
            return answer.status_code, answer.json()

        key = {"Idempotency-Key": "keep-green-1"}
        status, green = asked("POST", "", json={"name": "green", "car": car}, headers=key)
        assert status == 201, green
        assert asked("POST", "", json={"name": "green", "car": car}, headers=key) == (201, green)
        red = asked("POST", "", json={"name": "red", "car": car | {"condition_band": "project"}})[1]["car_id"]
        price = {"amount": "5000", "currency": "EUR", "noted_on": "2026-05-01"}
        assert asked("POST", f"/{green['car_id']}/prices", json=price)[0] == 201
        assert asked("PATCH", f"/{red}", json={"notes": "seen at the mill"})[0] == 200
        assert asked("POST", f"/{red}/look")[0] == 200
        cars = {row["kept"]["name"]: row for row in asked("GET", "")[1]["cars"]}
        value = value_car(market, load(market), car_of(market, car))
        assert cars["green"]["valuation"]["mid"] == str(value.mid)
        assert cars["green"]["asked"] == "5000.000" and cars["red"]["change"]["new_sales"] == 0
        rows = asked("GET", "/comparison", params={"car": [green["car_id"], red]})[1]["rows"]
        assert {row["fact"]: row["differs"] for row in rows}["Condition"] == "differs"
        photo = {"photo": ("sill.png", _photo(), "image/png")}
        ours, key = {"car_id": red}, {"Idempotency-Key": "photo-of-red"}
        for _ in range(2):  # a phone that asks again after a lost answer
            kept = asked("POST", "/photos", data=ours, files=photo, headers=key)
            assert kept == (201, {"car_id": red, "number": 1}), kept
        assert asked("GET", f"/{red}")[1]["photos"] == [1]
        picture = httpx.get(f"{address}/api/v1/kept-cars/{red}/photos/1", timeout=PATIENCE)
        assert picture.headers["content-type"] == "image/jpeg"
        with Image.open(io.BytesIO(picture.content)) as opened:
            assert opened.format == "JPEG" and not opened.getexif()
        assert asked("POST", "/photos", data=ours, files={"photo": ("no.png", b"none")})[0] == 422
        assert asked("DELETE", f"/{red}/photos/1")[0] == 200 and asked("DELETE", f"/{red}/photos/1")[0] == 404
        day = str(market.sales()["event_date"].max())
        sale = {"amount": "4321", "currency": "EUR", "sold_on": day}
        status, sold = asked("POST", f"/{red}/sale", json=sale)
        assert status == 201, sold
        assert market.kept_cars.one("red").sold_as == sold["record_id"]
        assert asked("DELETE", f"/{red}")[0] == 200 and asked("GET", f"/{red}")[0] == 404
        assert len(asked("GET", "/export")[1]["cars"]) == 1
        others = ("/comparison", "/export", "/photos")  # no ids of cars, and not to be changed
        assert {asked(method, path)[0] for path in others for method in ("PATCH", "DELETE")} == {405}
        told = httpx.options(f"{address}/api/v1/kept-cars/photos", timeout=PATIENCE).headers["allow"]
        assert told == "POST"
        assert asked("GET", "/no_such")[0] == 404
