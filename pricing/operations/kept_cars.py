"""What comes to the kept cars and leaves them: photographs, small and without what else the camera wrote into
them; a sale that becomes a record; a copy of all of them."""

from pathlib import Path
from typing import Any

from pricing.decisions.plain import plain
from pricing.decisions.typed_amounts import typed_amount
from pricing.errors import FileError, MarketError
from pricing.store.kept.cars import KeptCar
from pricing.store.market import Market
from pricing.store.records.one_sale import add_sale
from pricing.untrusted.photographs import KINDS, read_photograph

_OF_CAR = (
    "make", "model", "variant", "year", "chassis_number", "body_style", "drive_side", "condition_band",
    "condition_score", "matching_numbers", "history_file", "odometer_km",
)  # fmt: skip


def record_sale(
    market: Market,
    kept_car: KeptCar,
    amount: str,
    *,
    basis: str = "all-in",
    channel: str = "private",
    country: str = "GB",
    day: str | None = None,
) -> str:
    """Add the sale of a kept car to the market's records, held to the same checks as every other; gives the
    record's id. ``amount`` as people write it, in the market's base currency unless it says another.

    Raises:
        MarketError: the sale breaks a rule of the records, or this car was sold already.
        DecisionError: the amount is none.
    """
    if kept_car.sold_as is not None:
        raise MarketError(f"{kept_car.name} was sold already: it is the record {kept_car.sold_as}")
    typed = typed_amount(amount, "price paid")
    if typed is None:
        raise MarketError("no price is said: type it as 4200 or '£4,200'")
    cells = {name: kept_car.car.get(name) for name in _OF_CAR}
    cells["options"] = "; ".join(kept_car.car.get("options") or [])
    typed_as = {True: "yes", False: "no"}
    sale = {
        name: typed_as[value] if isinstance(value, bool) else str(value)
        for name, value in cells.items()
        if value not in (None, "")
    }
    sale |= {
        "outcome": "sold", "price_basis": basis, "channel": channel, "country": country,
        "amount": str(typed.amount), "currency": typed.currency or market.base_currency,
    }  # fmt: skip
    if day is not None:
        sale["event_date"] = day
    added = add_sale(market.path, sale)
    record = str(added.record["record_id"][0])
    market.kept_cars.sold(kept_car.car_id, record)
    return record


def exported(market: Market) -> list[dict[str, Any]]:
    """Every kept car with what was asked for it, as values that JSON can hold; photographs by number."""
    prices = market.kept_cars.prices()
    cars = []
    for kept in market.kept_cars.all():
        own = prices.filter(car_id=kept.car_id).drop("car_id")
        photos = market.kept_cars.photo_numbers(kept.car_id)
        cars.append(plain(vars(kept)) | {"prices": plain(own), "photos": photos})
    return cars


def cleaned_photo(content: bytes) -> bytes:
    """A photograph as a kept car shows it: a JPEG without place, time and owner.

    Raises:
        FileError: it is too large, or no photograph.
    """
    return read_photograph(content, "the photograph", tuple(KINDS)).shown


def written_photos(market: Market, kept_car: KeptCar, folder: Path) -> list[str]:
    """Write the photographs of a kept car into a folder, which is made where there is none; gives the files.

    Raises:
        FileError: the folder cannot be written to.
    """
    files = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number in market.kept_cars.photo_numbers(kept_car.car_id):
            file = folder / f"{kept_car.car_id}_{number}.jpg"
            file.write_bytes(market.kept_cars.photo(kept_car.car_id, number))
            files.append(str(file))
    except OSError as error:
        raise FileError(f"{folder} cannot be written to ({error.strerror}): name another folder") from None
    return files
