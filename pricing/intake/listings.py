"""Saved listing pages: the schema.org Vehicle and Offer that a page carries as JSON-LD, as asking evidence
only.

What is read of schema.org (Vehicle, Car, Offer): brand or manufacturer, model, vehicleConfiguration,
vehicleModelDate or productionDate, vehicleIdentificationNumber (modelDate and VIN in its older examples),
bodyType, steeringPosition, mileageFromOdometer (unitCode KMT or SMI), price or priceSpecification,
priceCurrency, validFrom, seller, and addresses. The vocabulary has no terms for auctions, so every record is
an asking price, seen on the day that the page was saved (the file's date) unless a mapping says otherwise.
"""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.errors import FileError
from pricing.intake.written.table import as_written
from pricing.untrusted.documents import whole_number, whole_text
from pricing.untrusted.files import bounded_bytes, inside, is_folder, regular_size
from pricing.vocabulary import DISTANCE_UNITS

PAGES: Final = (".html", ".htm")
LARGEST_PAGE: Final = 20_000_000
DEEPEST: Final = 40

COLUMNS: Final = (
    "source_ref", "make", "model", "variant", "year", "chassis_number", "body_style", "drive_side",
    "odometer_km", "channel", "country", "outcome", "event_date", "amount", "currency", "price_basis",
    "listed_on", "notes",
)  # fmt: skip
"""Columns of the record contract that a page can fill."""

_VEHICLES: Final = {"Vehicle", "Car", "Motorcycle", "BusOrCoach"}
_PERSONS: Final = {"Person"}
_UNITS: Final = {"KMT": "km", "SMI": "miles", "KM": "km", "MI": "miles", "MILES": "miles"}

Thing = dict[str, Any]


def is_page(path: Path) -> bool:
    """Whether a path is a saved page or a folder of such."""
    return path.suffix.lower() in PAGES or (is_folder(path) and any(pages_in(path)))


def read_listings(path: Path) -> pl.DataFrame:
    """The vehicles on offer in a saved page or a folder of pages; at least one row a page.

    A page that offers no vehicle gives a row with its name and nothing else, so that it is rejected and seen.
    """
    rows = [row for page in sorted(pages_in(path)) for row in _rows(page)]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(COLUMNS, pl.String))
    return as_written(frame).with_columns(row_number=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))


def pages_in(path: Path) -> Iterator[Path]:
    """A saved page, or those of a folder.

    Raises ``FileError`` for a folder that cannot be read or that holds a link out of it, and for what is no
    file.
    """
    if not is_folder(path):
        regular_size(path, LARGEST_PAGE)
        yield path
        return
    try:
        named = [page for page in path.iterdir() if page.suffix.lower() in PAGES]
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}") from None
    for page in named:
        if not inside(path, page):
            raise FileError(f"{page} is a link that leads out of its folder")
        regular_size(page, LARGEST_PAGE)
        yield page


def _rows(page: Path) -> list[dict[str, str | None]]:
    scripts = _Scripts()
    scripts.feed(bounded_bytes(page, LARGEST_PAGE).decode("utf-8", errors="replace"))
    seen = datetime.fromtimestamp(page.stat().st_mtime, UTC).date().isoformat()
    offers = [pair for text in scripts.texts for pair in _offered(_parsed(text))]
    nothing = dict.fromkeys(COLUMNS) | {"source_ref": page.name}
    return [_record(vehicle, offer, page.name, seen) for vehicle, offer in offers] or [nothing]


class _Scripts(HTMLParser):
    """Collects the text of the JSON-LD scripts of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        kind = (dict(attrs).get("type") or "").split(";")[0].strip().lower()
        self._inside = tag == "script" and kind == "application/ld+json"
        if self._inside:
            self.texts.append("")

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.texts[-1] += data

    def handle_endtag(self, tag: str) -> None:
        self._inside = False


def _parsed(text: str) -> Any:
    try:
        return json.loads(text.strip().removeprefix("<!--").removesuffix("-->"), parse_int=whole_number)
    except (ValueError, RecursionError):
        return None


def _offered(node: Any, depth: int = 0) -> Iterator[tuple[Thing, Thing]]:
    """Every vehicle with each of its offers, wherever they stand in a page's data."""
    if depth > DEEPEST:
        return
    if isinstance(node, list):
        for item in node:
            yield from _offered(item, depth + 1)
    if not isinstance(node, dict):
        return
    if _types(node) & _VEHICLES:
        offers = _things(node.get("offers"))
        yield from ((node, offer) for offer in offers or [{}])
        return
    items = [item for item in _things(node.get("itemOffered")) if _types(item) & _VEHICLES]
    if items:
        yield from ((item, node) for item in items)
        return
    for name, value in node.items():
        if name == "makesOffer":  # of a seller, who is then named around the offer, without the offers
            seller = {key: term for key, term in node.items() if key != "makesOffer"}
            value = [{"seller": seller, **offer} for offer in _things(value)]
        yield from _offered(value, depth + 1)


def _types(node: Thing) -> set[str]:
    """The names of a thing's types, without the vocabulary's address."""
    kinds = node.get("@type", [])
    return {
        str(kind).rsplit("/", 1)[-1].rsplit(":", 1)[-1]
        for kind in (kinds if isinstance(kinds, list) else [kinds])
    }


def _things(value: Any) -> list[Thing]:
    values = value if isinstance(value, list) else [value]
    return [item for item in values if isinstance(item, dict)]


def _record(vehicle: Thing, offer: Thing, page: str, seen: str) -> dict[str, str | None]:
    specification = next(iter(_things(offer.get("priceSpecification"))), {})
    seller = next(iter(_things(offer.get("seller")) or _things(offer.get("offeredBy"))), {})
    steering = (_text(vehicle.get("steeringPosition")) or "").lower()
    produced = _first(vehicle, "vehicleModelDate", "modelDate", "productionDate") or ""
    amount = _text(offer.get("price"))
    listed_on = _first(offer, "validFrom", "availabilityStarts") or ""
    return {
        "source_ref": _text(offer.get("url")) or _first(vehicle, "url", "@id") or page,
        "make": _first(vehicle, "brand", "manufacturer"),
        "model": _text(vehicle.get("model")),
        "variant": _text(vehicle.get("vehicleConfiguration")),
        "year": produced[:4] or None,
        "chassis_number": _first(vehicle, "vehicleIdentificationNumber", "VIN"),
        "body_style": _text(vehicle.get("bodyType")),
        "drive_side": "left" if "lefthand" in steering else "right" if "righthand" in steering else None,
        "odometer_km": _kilometres(vehicle.get("mileageFromOdometer")),
        "channel": None if not seller else "private" if _types(seller) & _PERSONS else "dealer",
        "country": _country(offer.get("availableAtOrFrom")) or _country(seller),
        "outcome": "asking",
        "event_date": seen,
        "amount": _text(specification.get("price")) if amount is None else amount,
        "currency": _text(offer.get("priceCurrency")) or _text(specification.get("priceCurrency")),
        "price_basis": "asking",
        "listed_on": listed_on[:10] or None,
        "notes": _text(vehicle.get("name")),
    }


def _first(thing: Thing, *names: str) -> str | None:
    """The text of the first of several properties that a thing has."""
    return next(filter(None, (_text(thing.get(name)) for name in names)), None)


def _text(value: Any) -> str | None:
    """The text of a value, or the name of a thing, or the first of several."""
    if isinstance(value, list):
        return next((text for text in map(_text, value) if text is not None), None)
    if isinstance(value, dict):
        named = value.get("name", value.get("@value", value.get("@id")))
        return _text(named) if not isinstance(named, dict) else None
    if value is None or isinstance(value, bool):
        return None
    return whole_text(str(value)).strip() or None


def _kilometres(value: Any) -> str | None:
    """An odometer reading in kilometres; without a unit that is known it stays as it was written."""
    if isinstance(value, list):
        value = next(iter(value), None)
    if isinstance(value, dict):
        number, unit = _text(value.get("value")) or "", _first(value, "unitCode", "unitText") or ""
    else:
        number, _, unit = (_text(value) or "").partition(" ")
    factor = DISTANCE_UNITS.get(_UNITS.get(unit.strip().upper(), ""))
    try:
        return str(round(float(number.replace(",", "")) * factor, 1)) if number and factor else number or None
    except (ValueError, OverflowError):
        return number


def _country(place: Any) -> str | None:
    """The country code of a place's or a seller's address."""
    addresses = [address for thing in _things(place) for address in _things(thing.get("address")) or [thing]]
    return next(filter(None, (_text(address.get("addressCountry")) for address in addresses)), None)
