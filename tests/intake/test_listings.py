"""Saved listing pages: what schema.org says of a car and its price, and pages that say nothing."""

import json
import os
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pricing.intake.listings import read_listings
from pricing.store.market import Market

CAR: dict[str, Any] = {
    "@context": "https://schema.org",
    "@type": "Car",
    "name": "1968 Corvane Six <b>saloon</b>",
    "brand": {"@type": "Brand", "name": "Corvane"},
    "model": "Six",
    "vehicleModelDate": "1968",
    "vehicleIdentificationNumber": "CV/1234",
    "bodyType": "saloon",
    "steeringPosition": "https://schema.org/RightHandDriving",
    "mileageFromOdometer": {"@type": "QuantitativeValue", "value": "50,000", "unitCode": "SMI"},
    "offers": {
        "@type": "Offer",
        "price": 4250,
        "priceCurrency": "GBP",
        "validFrom": "2024-04-01T00:00:00Z",
        "seller": {"@type": "AutoDealer", "address": {"addressCountry": "GB"}},
    },
}
SEEN = 1_714_564_800  # 2024-05-01


def page(path: Path, *blocks: Any) -> Path:
    """A saved page with JSON-LD blocks; a text stands as it is."""
    scripts = "".join(
        f'<script type="application/ld+json">{text}</script>'
        for text in (block if isinstance(block, str) else json.dumps(block) for block in blocks)
    )
    path.write_text(f"<html><head>{scripts}<script>var x = 1 < 2;</script></head><body>Hi</body></html>")
    os.utime(path, (SEEN, SEEN))
    return path


def test_a_page_gives_an_asking_price(tmp_path: Path) -> None:
    row = read_listings(page(tmp_path / "car.html", CAR)).row(0, named=True)
    assert row == {
        "source_ref": "car.html", "make": "Corvane", "model": "Six", "variant": None, "year": "1968",
        "chassis_number": "CV/1234", "body_style": "saloon", "drive_side": "right",
        "odometer_km": "80467.2",
        "channel": "dealer", "country": "GB", "outcome": "asking", "event_date": "2024-05-01",
        "amount": "4250",
        "currency": "GBP", "price_basis": "asking", "listed_on": "2024-04-01",
        "notes": "1968 Corvane Six <b>saloon</b>", "row_number": 1,
    }  # fmt: skip


@pytest.mark.parametrize(
    "block",
    [
        {"@graph": [{"@type": "WebPage"}, CAR]},
        [{"@type": "BreadcrumbList"}, {"mainEntity": CAR}],
        {**CAR["offers"], "itemOffered": {name: value for name, value in CAR.items() if name != "offers"}},
        {**CAR, "@type": ["Product", "http://schema.org/Vehicle"]},
        {**CAR, "offers": [{**CAR["offers"], "price": None, "priceSpecification": {"price": "4250.00"}}]},
    ],
)
def test_the_car_is_found_wherever_it_stands(tmp_path: Path, block: Any) -> None:
    rows = read_listings(page(tmp_path / "car.html", "{broken", block))
    assert rows.height == 1
    assert rows.select("make", "currency").row(0) == ("Corvane", "GBP")
    assert float(rows["amount"].item()) == 4250


def test_a_folder_of_pages_is_loaded_and_a_page_without_a_car_is_seen(tmp_path: Path) -> None:
    folder = tmp_path / "saved"
    folder.mkdir()
    page(folder / "a.html", CAR)
    page(folder / "b.htm", {**CAR, "offers": {**CAR["offers"], "seller": {"@type": "Person"}}})
    page(folder / "c.html")
    page(folder / "deep.html", "[" * 100_000)
    (tmp_path / "saved.mapping.toml").write_text('source = "saved pages"\n[constants]\ncountry = "GB"\n')
    market = Market.open(tmp_path / "market.duckdb")
    report = market.load([folder], today=date(2025, 1, 1))
    assert (report.read, report.accepted, report.rejected) == (4, 2, 2)
    records = market.sales(every_record=True)
    assert records.select("source", "outcome", "country").unique().rows() == [("saved pages", "asking", "GB")]
    assert sorted(records["channel"]) == ["dealer", "private"]
    assert report.by_rule["make_missing"] == 2 and "currency_missing" not in report.by_rule


def test_offers_without_a_vehicle_inside_each_other_end_soon(tmp_path: Path) -> None:
    """Each of a seller's offers names the seller; were the seller looked through again, six offers would be
    looked through six to the power of the depth times."""
    seller = {"@type": "Person", "makesOffer": [{"@type": "Offer"}] * 6}
    assert read_listings(page(tmp_path / "page.html", seller)).height == 1  # the page's name, to be rejected
