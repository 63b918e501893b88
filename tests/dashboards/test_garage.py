"""The garage page: found without a network, kept on the phone, sent once when there is one again."""

import asyncio
import io

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Browser, expect
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboards.serving.beside import Beside, api_first, garage
from pricing.api.middleware.callers import VISITOR
from pricing.condition.inspection import Inspection
from pricing.errors import FileError, InspectionError
from pricing.operations import drafts
from pricing.operations.drafts import sheet_facts, take_findings, take_photo
from pricing.store.market import Market
from tests.dashboards.browser import FAULTS, PHONE, no_errors, window
from tests.small_market import common_car


def photograph() -> bytes:
    written = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(written, "JPEG")
    return written.getvalue()


def started(market: Market) -> str:
    car = common_car(market)
    name = drafts.new_name()
    said = {part: car[part] for part in ("make", "model", "year")}
    drafts.keep_sheet(market.path, name, Inspection.start("monocoque", said))
    return name


def test_what_is_sent_twice_is_taken_in_once(market: Market) -> None:
    name = started(market)
    check = sheet_facts(market.path, name)["areas"][1]["checks"][0]["id"]
    said = [{"check": check, "state": "needs repair", "note": "left"}]
    assert take_findings(market.path, name, "one", said)
    assert not take_findings(market.path, name, "one", [{"check": check, "state": "sound"}])
    assert take_photo(market.path, name, "two", check, photograph())
    assert not take_photo(market.path, name, "two", check, photograph())
    kept = drafts.open_sheet(market.path, name)
    assert kept.state(check) == "needs repair" and kept.findings[check].note == "left"
    assert len(list(drafts.sheet_folder(market.path, name).glob("*.jpg"))) == 1
    with pytest.raises(FileError, match="key of its own"):
        take_findings(market.path, name, "", said)
    with pytest.raises(InspectionError, match="unknown check"):
        take_findings(market.path, name, "three", [{"check": "wings_of_lead", "state": "sound"}])


def test_what_the_page_asks_of_the_api_goes_by_the_door_and_a_token_of_a_program_does_not() -> None:
    def named(name: str) -> ASGIApp:
        async def answer(scope: Scope, receive: Receive, send: Send) -> None:
            await PlainTextResponse(f"{name} {getattr(scope.get(VISITOR), 'role', '')}")(scope, receive, send)

        return answer

    whole = Beside(Beside(named("pages"), garage(named("api"))), api_first(named("api at once")))

    async def asked(path: str, **headers: str) -> str:
        way = httpx.ASGITransport(whole)
        async with httpx.AsyncClient(transport=way, base_url="http://127.0.0.1") as client:
            return (await client.get(path, headers=headers)).text

    sheet = "/api/v1/kept-inspections/" + "0" * 32
    assert asyncio.run(asked(sheet)) == "api read"
    assert asyncio.run(asked(sheet, authorization="Bearer x")) == "api at once "
    assert asyncio.run(asked("/api/v1/market")) == "api at once "
    assert asyncio.run(asked("/records")) == "pages "


@pytest.mark.browser
def test_a_garage_without_a_network_loses_nothing(browser: Browser, base: str, browsed: Market) -> None:
    name = started(browsed)
    structure = sheet_facts(browsed.path, name)["areas"][1]["checks"]
    with window(PHONE, browser) as (opened, errors):
        opened.goto(f"{base}/garage/#{name}")
        opened.get_by_role("heading", name="Structure").wait_for()
        opened.wait_for_function("navigator.serviceWorker.controller !== null")
        opened.context.set_offline(True)
        opened.reload()
        opened.get_by_role("heading", name="Structure").click()
        for check, state in zip(structure[:2], ("needs repair", "worn"), strict=True):
            box = opened.get_by_role("group", name=check["title"], exact=True)
            box.get_by_role("radio", name=state).check()
        box = opened.get_by_role("group", name=structure[0]["title"], exact=True)
        box.locator("input[type=file]").set_input_files(
            {"name": "sill.jpg", "mimeType": "image/jpeg", "buffer": photograph()}
        )
        expect(opened.get_by_role("status")).to_contain_text("3 findings are kept on this phone")
        assert opened.get_by_role("img", name="Where to look on the car: structure").is_visible()
        assert drafts.open_sheet(browsed.path, name).findings == {}
        opened.reload()
        expect(opened.get_by_role("status")).to_contain_text("3 findings are kept on this phone")
        for scheme in ("dark", "light"):
            opened.emulate_media(color_scheme=scheme)
            assert Axe().run(opened, options=FAULTS).response["violations"] == []
        opened.context.set_offline(False)
        expect(opened.get_by_role("status")).to_contain_text("with the market")
        kept = drafts.open_sheet(browsed.path, name)
        assert [kept.state(check["id"]) for check in structure[:3]] == ["needs repair", "worn", "not seen"]
        assert kept.findings[structure[0]["id"]].photo
        assert len(list(drafts.sheet_folder(browsed.path, name).glob("*.jpg"))) == 1
    assert no_errors([error for error in errors if "ERR_INTERNET_DISCONNECTED" not in error])
