"""The cars that a person keeps: today's range, what changed, prices asked over time, the sale."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Body, File, Form, Path, Query, UploadFile
from pydantic import BaseModel, Field
from starlette.convertors import StringConvertor, register_url_convertor
from starlette.responses import Response

from pricing.api.answers import JsonAnswer
from pricing.api.idempotency import Loader
from pricing.api.middleware.callers import Loading, Reading
from pricing.api.problems import HttpProblemError, responses
from pricing.api.schemas import Amount, Car, Currency, Day, Row, Word
from pricing.api.service import Here, Service
from pricing.decisions.kept_car import KeptCarToday, facts_seen, kept_car_today
from pricing.decisions.plain import plain
from pricing.errors import MarketError
from pricing.operations.kept_cars import cleaned_photo, exported, record_sale
from pricing.snapshot import Snapshot
from pricing.store.kept.cars import LONGEST_NAME, LONGEST_NOTES, KeptCar
from pricing.store.market import Market
from pricing.words.kept_cars import comparison

router = APIRouter(prefix="/kept-cars", tags=["kept cars"])
Number = Annotated[int, Path(ge=1, le=1_000_000)]
CarId = Annotated[str, Field(min_length=8, max_length=8, pattern="^[0-9a-f]+$")]
Called = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME, pattern=r"^[^\x00-\x1f\x7f]*$")]
Notes = Annotated[str, Field(max_length=LONGEST_NOTES)]


class _KeptCarConvertor(StringConvertor):
    """An id where it ends a path (``{car_id:kept_car}``), so that no other path is taken for a car."""

    regex = "[0-9a-f]{8}"


register_url_convertor("kept_car", _KeptCarConvertor())


class CarToKeep(BaseModel):
    """A car under a name of a person's own."""

    name: Called = Field(examples=["the green one"])
    car: Car
    notes: Notes = ""
    sheet: Word | None = Field(None, description="Its inspection sheet on the dashboard.")
    subject: Word | None = Field(None, description="What choices of comparable sales are kept under.")
    appraisal_id: Word | None = None


class CarChange(BaseModel):
    """Parts of a kept car that are to be otherwise; what is left out stays."""

    name: Called | None = None
    car: Car | None = None
    notes: Notes | None = None
    sheet: Word | None = None
    subject: Word | None = None
    appraisal_id: Word | None = None


class AskedPrice(BaseModel):
    """What is asked for a kept car on a day."""

    amount: Amount
    currency: Currency
    noted_on: Day


class Sale(BaseModel):
    """The sale of a kept car."""

    amount: Amount
    currency: Currency
    price_basis: Word = "all-in"
    channel: Word = "private"
    country: Word = "GB"
    sold_on: Day


class KeptId(BaseModel):
    """Which car it is."""

    car_id: str


class PhotoId(KeptId):
    """Which photograph of which car it is."""

    number: int


class SoldId(KeptId):
    """Which record its sale became."""

    record_id: str


class KeptCars(BaseModel):
    """Kept cars, each with its valuation of today and what changed since somebody last looked."""

    cars: list[Row]


class SideBySide(BaseModel):
    """A row a fact; `differs` marks those in which the cars are not alike."""

    rows: list[Row]


@router.get("", response_model=KeptCars, dependencies=[Reading])
def kept_cars(service: Here) -> Response:
    """Every kept car, by name, with today's range."""
    snapshot = _ready(service)
    return JsonAnswer({"cars": [_facts(snapshot, kept) for kept in snapshot.market.kept_cars.all()]})


@router.get("/export", response_model=KeptCars, dependencies=[Reading])
def export(service: Here) -> Response:
    """Every kept car as it is kept, with the prices asked over time."""
    return JsonAnswer({"cars": exported(service.snapshot().market)})


@router.get("/comparison", response_model=SideBySide, dependencies=[Reading], responses=responses(404))
def compare(
    service: Here,
    car: Annotated[list[CarId], Query(min_length=2, max_length=4, description="Two to four ids.")],
) -> Response:
    """Kept cars side by side, with what differs marked."""
    snapshot = _ready(service)
    return JsonAnswer({"rows": comparison([_today(snapshot, car_id) for car_id in car])})


@router.get("/{car_id:kept_car}", response_model=Row, dependencies=[Reading], responses=responses(404))
def kept_car(car_id: CarId, service: Here) -> Response:
    """One kept car, with its prices over time."""
    snapshot = _ready(service)
    return JsonAnswer(_facts(snapshot, _one(snapshot.market, car_id)))


@router.post("", response_model=KeptId, status_code=201, responses=responses(409, 422))
def keep(body: CarToKeep, service: Here, writer: Loader) -> Response:
    """Keep a car."""
    snapshot = service.snapshot()
    car = snapshot.car(dict(body.car)).to_dict()
    links = {"sheet": body.sheet, "subject": body.subject, "appraisal_id": body.appraisal_id}

    def work(market: Market) -> dict[str, str]:
        return {"car_id": market.kept_cars.keep(body.name, car, body.notes, **links)}

    request = ("keep car", json.dumps([body.name, car, body.notes, links], default=str))
    return writer.once(snapshot.market, request, work)


@router.patch("/{car_id:kept_car}", response_model=KeptId, responses=responses(404, 409, 422))
def change(car_id: CarId, body: CarChange, service: Here, writer: Loader) -> Response:
    """Change parts of a kept car."""
    snapshot = service.snapshot()
    values: dict[str, Any] = body.model_dump(exclude_unset=True)
    if body.car is not None:
        values["car"] = snapshot.car(dict(body.car)).to_dict()
    _one(snapshot.market, car_id)

    def work(market: Market) -> dict[str, str]:
        market.kept_cars.change(car_id, **values)
        return {"car_id": car_id}

    request = ("change car", car_id, json.dumps(values, default=str))
    return writer.once(snapshot.market, request, work, status=200)


@router.post("/{car_id}/prices", response_model=KeptId, status_code=201, responses=responses(404, 409))
def note_price(car_id: CarId, body: AskedPrice, service: Here, writer: Loader) -> Response:
    """Note what is asked for a kept car on a day; the last of a day counts."""
    market = service.snapshot().market
    _one(market, car_id)

    def work(market: Market) -> dict[str, str]:
        market.kept_cars.note_price(car_id, body.amount, body.currency, body.noted_on)
        return {"car_id": car_id}

    return writer.once(market, ("price", car_id, body.model_dump_json()), work)


@router.post("/photos", response_model=PhotoId, status_code=201, responses=responses(404, 409, 422))
def add_photo(
    service: Here,
    writer: Loader,
    car_id: Annotated[CarId, Form()],
    photo: Annotated[UploadFile, File(description="JPEG, PNG or WebP.")],
) -> Response:
    """Keep a photograph of a kept car: small, upright, without place, time and owner."""
    market = service.snapshot().market
    _one(market, car_id)
    content = photo.file.read()
    kept = cleaned_photo(content)

    def work(market: Market) -> dict[str, Any]:
        return {"car_id": car_id, "number": market.kept_cars.add_photo(car_id, kept)}

    return writer.once(market, ("photo", car_id, content), work)


@router.get(
    "/{car_id}/photos/{number}",
    dependencies=[Reading],
    response_class=Response,
    responses=responses(404) | {200: {"content": {"image/jpeg": {}}}},
)
def photo(car_id: CarId, number: Number, service: Here) -> Response:
    """A photograph of a kept car; `photos` of a kept car lists their numbers."""
    market = service.snapshot().market
    _one(market, car_id)
    with _there():
        return Response(market.kept_cars.photo(car_id, number), media_type="image/jpeg")


@router.delete(
    "/{car_id}/photos/{number}",
    response_model=PhotoId,
    dependencies=[Loading],
    responses=responses(404),
)
def delete_photo(car_id: CarId, number: Number, service: Here) -> Response:
    """Delete a photograph of a kept car, for good."""
    market = service.snapshot().market
    _one(market, car_id)
    with _there():
        market.kept_cars.delete_photo(car_id, number)
    return JsonAnswer({"car_id": car_id, "number": number})


@router.post("/{car_id}/look", response_model=KeptId, dependencies=[Loading], responses=responses(404))
def look(car_id: CarId, service: Here, said: Annotated[dict[str, str] | None, Body()] = None) -> Response:
    """Remember what a kept car is worth now: later answers tell what changed since."""
    snapshot = _ready(service)
    today = _today(snapshot, car_id)
    if today.valuation is not None and (seen := facts_seen(today.valuation)) is not None:
        snapshot.market.kept_cars.look(car_id, seen)
    return JsonAnswer({"car_id": car_id})


@router.post("/{car_id}/sale", response_model=SoldId, status_code=201, responses=responses(404, 409, 422))
def sell(car_id: CarId, body: Sale, service: Here, writer: Loader) -> Response:
    """Record the sale of a kept car: it becomes a sale record, checked as every other."""
    market = service.snapshot().market
    kept = _one(market, car_id)

    def work(market: Market) -> dict[str, str]:
        record = record_sale(
            market, kept, f"{body.currency} {body.amount}", basis=body.price_basis, channel=body.channel,
            country=body.country, day=date.isoformat(body.sold_on),
        )  # fmt: skip
        return {"car_id": car_id, "record_id": record}

    return writer.once(market, ("sale", car_id, body.model_dump_json()), work)


@router.delete("/{car_id:kept_car}", response_model=KeptId, dependencies=[Loading], responses=responses(404))
def delete(car_id: CarId, service: Here) -> Response:
    """Delete a kept car with its prices and photographs, for good."""
    market = service.snapshot().market
    _one(market, car_id)
    market.kept_cars.delete(car_id)
    return JsonAnswer({"car_id": car_id})


def _ready(service: Service) -> Snapshot:
    snapshot = service.snapshot()
    snapshot.make_ready(service.fit_of(snapshot, None))
    return snapshot


def _one(market: Market, car_id: str) -> KeptCar:
    with _there():
        return market.kept_cars.one(car_id)


@contextmanager
def _there() -> Iterator[None]:
    """What the market does not have is not found."""
    try:
        yield
    except MarketError as error:
        raise HttpProblemError(404, str(error)) from None


def _today(snapshot: Snapshot, car_id: str) -> KeptCarToday:
    return kept_car_today(snapshot, _one(snapshot.market, car_id), snapshot.market.kept_cars.prices(car_id))


def _facts(snapshot: Snapshot, kept: KeptCar) -> Any:
    prices = snapshot.market.kept_cars.prices(kept.car_id)
    photos = snapshot.market.kept_cars.photo_numbers(kept.car_id)
    return plain(kept_car_today(snapshot, kept, prices)) | {"prices": prices.drop("car_id"), "photos": photos}
