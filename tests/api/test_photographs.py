"""Photographs of appraisals over HTTP: sent once, given other words, handed out as they came to whoever owns
them, each change a revision."""

import io
from pathlib import Path
from typing import Any

import httpx
from PIL import Image

from pricing.appraisal.register import read
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, serving
from tests.drawn_photographs import drawn_photograph, png_of

RECORD = {"assignment": {"kind": "model report", "client": "A. Client"}, "subject": {"make": "make 4"}}


def test_photographs_are_sent_changed_handed_out_and_taken_out(small_market: Market, tmp_path: Path) -> None:
    market = copied(small_market, tmp_path)
    tokens = {name: market.tokens.new(name, "appraise")[1] for name in ("mine", "theirs")}
    front = drawn_photograph((900, 600), orientation=6)
    with serving(market.path, access="tokens", largest_body=5_000) as address:

        def asked(method: str, path: str, by: str = "mine", **parts: Any) -> httpx.Response:
            headers = {"Authorization": f"Bearer {tokens[by]}", **parts.pop("headers", {})}
            where = f"{address}/api/v1/appraisals{path}"
            return httpx.request(method, where, headers=headers, timeout=PATIENCE, **parts)

        def sent(content: bytes, after: int, file: str = "front.jpg", **said: Any) -> httpx.Response:
            parts = {"files": {"photograph": (file, content)}, "data": said.pop("data", {}), **said}
            return asked("POST", f"/{name}/photographs?after={after}", **parts)

        name = asked("POST", "", json={"record": RECORD}).json()["appraisal_id"]
        key = {"Idempotency-Key": "photograph-front-1"}
        told = {"caption": "Front", "cover": "true"}
        added = sent(front, 1, data=told, headers=key)
        assert added.status_code == 201, added.text
        assert added.json()["revision"] == 2
        again = sent(front, 1, data=told, headers=key)
        assert again.json()["revision"] == 2 and again.headers["Idempotency-Replayed"] == "true"
        (one,) = asked("GET", f"/{name}/photographs").json()["photographs"]
        assert (one["caption"], one["cover"], one["width"], one["kind"]) == ("Front", True, 900, "JPEG")
        assert one["removed"][0] == "place" and one["taken_on"] == "2026-06-20"

        where = f"/{name}/photographs/{one['digest']}"
        original, shown = asked("GET", where), asked("GET", f"{where}?shown=true")
        assert original.content == front and original.headers["content-type"] == "image/jpeg"
        assert "attachment" in original.headers["content-disposition"]
        assert Image.open(io.BytesIO(shown.content)).size == (900, 600)
        assert not Image.open(io.BytesIO(shown.content)).getexif()
        for method, path in (("GET", where), ("GET", f"/{name}/photographs"), ("DELETE", f"{where}?after=2")):
            assert asked(method, path, "theirs").status_code == 404
        assert asked("GET", f"/{name}/photographs/{'0' * 64}").status_code == 404

        for content, why in ((b"GIF89a" + b"0" * 50, "no JPEG or PNG"), (png_of(60_000, 60_000), "pixels"),
                             (front, "already")):  # fmt: skip
            refused = sent(content, 2)
            assert refused.status_code == 422 and why in refused.json()["detail"], refused.text
        assert sent(b"\xff\xd8\xff" + b"0" * 16_000_000, 2).status_code == 413
        assert sent(drawn_photograph(mark=2), 1).status_code == 409

        record = {**RECORD, "photograph": [{"file": "front.jpg", "digest": one["digest"]}]}
        stolen = asked("POST", "", "theirs", json={"record": record})
        assert stolen.status_code == 422 and "one each" in stolen.json()["detail"]

        words = {"caption": "From the front", "cover": False, "after": 2}
        assert asked("PATCH", where, json=words).json()["revision"] == 3
        gone = asked("DELETE", f"{where}?after=3")
        assert gone.json()["revision"] == 4 and gone.json()["record"]["photograph"] == []
        earlier = asked("GET", f"/{name}/photographs?revision=2").json()
        assert [row["caption"] for row in earlier["photographs"]] == ["Front"]
        assert asked("GET", f"{where}?revision=2").content == front
    assert [shot.caption for shot in read(market, name, 3).record.photographs] == ["From the front"]
