"""Commands for the cars that a person keeps: ``pricing cars keep``, ``list``, ``show``, ``change``,
``price``, ``photo``, ``compare``, ``sold``, ``export``, ``delete``."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pricing.cli.commands import Commands, argument, option, takes_car
from pricing.cli.options import MarketOption, fitted_market
from pricing.cli.output import answer, done
from pricing.cli.printing.console import say, show
from pricing.decisions.typed_amounts import typed_amount, typed_day
from pricing.errors import MarketError
from pricing.operations.opening import MARKET_FILE, open_market
from pricing.untrusted.files import bounded_bytes

if TYPE_CHECKING:
    from pricing.decisions.kept_car import KeptCarToday

cars_app = Commands("cars", "Cars that you keep: today's range, what changed, asking prices over time.")

NameArgument = Annotated[str, argument("Its name, or its id.")]
NamesArgument = Annotated[list[str], argument("Two to four names or ids.")]


@cars_app.example("pricing cars keep --make Wexcombe --model Sedge --year 1966 --name 'the green one'")
@takes_car
def keep(
    car: dict[str, Any],
    name: Annotated[str, option("What you call it, such as 'the green one'.")] = "",
    notes: Annotated[str, option("Anything worth remembering.")] = "",
    sheet: Annotated[str | None, option("Its inspection sheet on the dashboard.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep a car under a name of your own; it stays in this market alone."""
    from pricing.snapshot_source import source_of

    known = source_of(market).newest().car(car).to_dict()
    car_id = open_market(market).kept_cars.keep(name, known, notes, sheet=sheet)
    done({"car_id": car_id}, f"kept under {name!r} ({car_id})")


def _todays(market: Path, names: list[str] | None = None) -> "list[KeptCarToday]":
    from pricing.decisions.kept_car import kept_car_today

    snapshot = fitted_market(market)
    opened = open_market(market)
    cars = opened.kept_cars.all() if names is None else [opened.kept_cars.one(name) for name in names]
    return [kept_car_today(snapshot, car, opened.kept_cars.prices(car.car_id)) for car in cars]


def _sentences(today: "KeptCarToday", market: Path) -> list[str]:
    from pricing.operations.settings import settings_of
    from pricing.snapshot_source import source_of
    from pricing.words.kept_cars import asked_sentence, change_sentence, today_sentence
    from pricing.words.sentences import car_words

    snapshot = source_of(market).newest()
    asking = asked_sentence(today, settings_of(snapshot).verdict_limits)
    return [
        f"{today.kept.name} ({today.kept.car_id}): {car_words(dict(today.kept.car))}",
        today_sentence(today),
        *([] if asking is None else [asking]),
        change_sentence(today.change, snapshot.base_currency),
        *([f"Sold: it became the record {today.kept.sold_as}."] if today.kept.sold_as else []),
    ]


@cars_app.example("pricing cars list", "list")
def list_cars(market: MarketOption = MARKET_FILE) -> None:
    """Every kept car with today's range and what changed since the last look."""
    todays = _todays(market)
    sentences = [sentence for today in todays for sentence in _sentences(today, market)]
    answer(todays, sentences or "no car is kept; `pricing cars keep` keeps one")


@cars_app.example("pricing cars show 'the green one'", "show")
def show_car(name: NameArgument, market: MarketOption = MARKET_FILE) -> None:
    """One kept car: today's range, what changed and why, what was asked for it over time. Counts as a
    look."""
    from pricing.decisions.kept_car import facts_seen

    (today,) = _todays(market, [name])
    opened = open_market(market)
    prices = opened.kept_cars.prices(today.kept.car_id)

    def show_it() -> None:
        say(*_sentences(today, market), *([today.kept.notes] if today.kept.notes else []))
        if numbers := opened.kept_cars.photo_numbers(today.kept.car_id):
            say(f"Photographs: {', '.join(map(str, numbers))}.")
        if prices.height:
            show(prices.drop("car_id"), "Asked for it over time")

    answer({"car": today, "prices": prices}, show_it)
    seen = None if today.valuation is None else facts_seen(today.valuation)
    if seen is not None:
        opened.kept_cars.look(today.kept.car_id, seen)


@cars_app.example("pricing cars change 'the green one' --notes 'sills welded' --condition-band average")
def change(
    name: NameArgument,
    rename: Annotated[str | None, option("Another name.")] = None,
    notes: Annotated[str | None, option("Other notes.")] = None,
    condition_band: Annotated[str | None, option("Another condition band.")] = None,
    sheet: Annotated[str | None, option("Its inspection sheet on the dashboard.")] = None,
    subject: Annotated[str | None, option("What choices of comparable sales are kept under.")] = None,
    appraisal: Annotated[str | None, option("Its appraisal.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Change what is kept of a car."""
    from pricing.snapshot_source import source_of

    opened = open_market(market)
    kept_car = opened.kept_cars.one(name)
    parts = {"name": rename, "notes": notes, "sheet": sheet, "subject": subject, "appraisal_id": appraisal}
    values: dict[str, Any] = {part: value for part, value in parts.items() if value is not None}
    if condition_band is not None:
        car = {**kept_car.car, "condition_band": condition_band, "condition_score": None}
        values["car"] = source_of(market).newest().car(car).to_dict()
    if not values:
        raise MarketError("nothing is changed: say what, such as --notes 'sills welded'")
    opened.kept_cars.change(kept_car.car_id, **values)
    changed = sorted(values)
    facts = {"car_id": kept_car.car_id, "changed": changed}
    done(facts, f"{kept_car.name}: {', '.join(changed)} changed")


@cars_app.example("pricing cars price 'the green one' '£4,650' --on 2026-11-02")
def price(
    name: NameArgument,
    amount: Annotated[str, argument("What is asked, as people write it.")],
    day: Annotated[str | None, option("Day (YYYY-MM-DD); else today.", "--on")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Note what is asked for a kept car on a day."""
    from pricing.car import today
    from pricing.records.entered_amounts import entered

    opened = open_market(market)
    kept, typed, on = opened.kept_cars.one(name), typed_amount(amount, "price asked"), typed_day(day)
    if typed is None:
        raise MarketError("no price is said: type it as 4650 or '£4,650'")
    currency = typed.currency or opened.base_currency
    entered("price asked", typed.amount, currency)
    opened.kept_cars.note_price(kept.car_id, typed.amount, currency, on or today())
    done({"car_id": kept.car_id}, f"{kept.name}: {currency} {typed.amount:,} asked on {on or today()}")


@cars_app.example("pricing cars photo 'the green one' left_sill.jpg")
def photo(
    name: NameArgument,
    file: Annotated[Path | None, argument("JPEG, PNG or WebP to keep.")] = None,
    out: Annotated[
        Path | None, option("Write those that are kept into this folder.", show_default=False)
    ] = None,
    delete: Annotated[
        int | None, option("Delete the one of this number, for good.", show_default=False)
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep a photograph of a kept car, write out those that are kept, or delete one. What is kept is small,
    upright, and without place, time and owner."""
    from pricing.operations.kept_cars import cleaned_photo, written_photos
    from pricing.untrusted.photographs import LARGEST

    if [file, out, delete].count(None) != 2:
        raise MarketError(
            "say one of the three: a file to keep, --out with a folder, or --delete with a number"
        )
    opened = open_market(market)
    kept_car = opened.kept_cars.one(name)
    facts: dict[str, Any] = {"car_id": kept_car.car_id}
    if file is not None:
        number = opened.kept_cars.add_photo(kept_car.car_id, cleaned_photo(bounded_bytes(file, LARGEST)))
        done(facts | {"number": number}, f"{kept_car.name}: photograph {number} is kept")
    elif out is not None:
        files = written_photos(opened, kept_car, out)
        done(facts | {"files": files}, f"{kept_car.name}: {len(files)} photographs are in {out}")
    elif delete is not None:
        opened.kept_cars.delete_photo(kept_car.car_id, delete)
        done(facts | {"number": delete}, f"{kept_car.name}: photograph {delete} is deleted")


@cars_app.example("pricing cars compare 'the green one' 'the red one'")
def compare(names: NamesArgument, market: MarketOption = MARKET_FILE) -> None:
    """Two to four kept cars side by side, with what differs marked."""
    import polars as pl

    from pricing.words.kept_cars import comparison

    if not 2 <= len(names) <= 4:
        raise MarketError(f"two to four kept cars are compared: got {len(names)}")
    rows = comparison(_todays(market, names))
    answer(rows, lambda: show(pl.DataFrame(rows), "Side by side"))


@cars_app.example("pricing cars sold 'the green one' '£4,200' --channel private --country GB")
def sold(
    name: NameArgument,
    amount: Annotated[str, argument("What was paid, as people write it.")],
    basis: Annotated[str, option("What it includes: all-in, hammer or net.")] = "all-in",
    channel: Annotated[str, option("auction, dealer or private.")] = "private",
    country: Annotated[str, option("Where (ISO 3166).")] = "GB",
    day: Annotated[str | None, option("Day (YYYY-MM-DD); else today.", "--on")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Record the sale of a kept car: it becomes a sale record of the market, checked as every other."""
    from pricing.operations.kept_cars import record_sale

    opened = open_market(market)
    kept_car = opened.kept_cars.one(name)
    record = record_sale(opened, kept_car, amount, basis=basis, channel=channel, country=country, day=day)
    done({"car_id": kept_car.car_id, "record": record}, f"{kept_car.name}: its sale is the record {record}")


@cars_app.example("pricing cars export my_cars.json")
def export(
    file: Annotated[Path, argument("JSON file to write.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Write every kept car, with its prices, to a file of yours."""
    from pricing.operations.kept_cars import exported

    facts = exported(open_market(market))
    file.write_text(json.dumps(facts, indent=2, default=str) + "\n", encoding="utf-8")
    done({"file": str(file), "cars": len(facts)}, f"{len(facts)} kept cars are in {file}")


@cars_app.example("pricing cars delete 'the green one'")
def delete(name: NameArgument, market: MarketOption = MARKET_FILE) -> None:
    """Delete a kept car with its prices and photographs, for good."""
    opened = open_market(market)
    kept_car = opened.kept_cars.one(name)
    opened.kept_cars.delete(kept_car.car_id)
    done({"car_id": kept_car.car_id}, f"{kept_car.name} is deleted")
