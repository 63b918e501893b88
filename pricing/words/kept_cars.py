"""What is said of a kept car: what it is worth today, and what moved since somebody last looked."""

from typing import Any, Final

from pricing.decisions.kept_car import KeptCarToday, PriceChange
from pricing.words.depth import known_words
from pricing.words.language.reader import day_words, number_words
from pricing.words.sentences import (
    effect_words,
    money_words,
    name_words,
    option_words,
    price_words,
    standing_sentence,
)

PART_WORDS: Final = {
    "market": "the market's level",
    "condition": "its condition",
    "car": "what is said of it",
    "records": "what new sales taught",
}


def range_today(today: KeptCarToday) -> str:
    """The range of today, or why there is none."""
    prices = None if today.valuation is None else price_words(today.valuation)
    if prices is None:
        return f"No range can be given: {today.refused}."
    low, mid, high = prices
    return f"{low} to {high}, half below {mid}."


def known_today(today: KeptCarToday) -> str | None:
    """How much is known of it, as a word and a count; None without a range."""
    if today.valuation is None or today.valuation.mid is None:
        return None
    word, count = known_words(today.valuation)
    return f"{word}: {count}."


def today_sentence(today: KeptCarToday) -> str:
    """The range of today with how much is known, or why there is none."""
    return " ".join(filter(None, (range_today(today), known_today(today))))


def asked_sentence(today: KeptCarToday, limits: tuple[float, ...]) -> str | None:
    """Where the price asked last stands; None where none was noted."""
    if today.valuation is None or today.asked is None or today.asked_on is None:
        return None
    return f"{standing_sentence(today.valuation, limits)} Noted on {day_words(today.asked_on)}."


def change_sentence(change: PriceChange | None, currency: str) -> str:
    """What changed since the last look, and why.

    >>> from datetime import date
    >>> from decimal import Decimal
    >>> parts = {"market": 1.05, "condition": 1.0, "car": 1.0, "records": 1.0}
    >>> sentence = change_sentence(PriceChange(date(2026, 6, 1), Decimal(4000), 1.05, parts, 3), "EUR")
    >>> sentence.partition(": ")[2]
    "the market's level +5%. 3 new sales of the model."
    """
    if change is None:
        return "This is the first look: what changes from now on is told here."
    day = day_words(change.looked)
    count: int | str = change.new_sales or "no"
    sales = f"{count} new {'sale' if change.new_sales == 1 else 'sales'} of the model"
    moved = effect_words(change.factor)
    if moved == "no change":
        return f"Nothing moved since {day}. {sales[0].upper()}{sales[1:]}."
    effects = {PART_WORDS[part]: effect_words(factor) for part, factor in change.parts.items()}
    why = [f"{part} {effect}" for part, effect in effects.items() if effect != "no change"]
    return (
        f"Since {day} the middle price went {moved} from {money_words(change.before, currency)}: "
        f"{', '.join(why)}. {sales}."
    )


_COMPARED: Final = {
    "variant": "Variant", "year": "Year", "condition_band": "Condition", "condition_score": "Condition score",
    "odometer_km": "Odometer", "options": "Options", "body_style": "Body style", "drive_side": "Steering",
    "matching_numbers": "Matching numbers", "history_file": "History file",
    "chassis_number": "Chassis number",
}  # fmt: skip
"""What is said of a car, as far as two cars are compared by it."""


def _cell(name: str, value: Any) -> Any:
    """What is said of a car, as a cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(option_words(str(code)) for code in value)
    if name == "odometer_km" and value is not None:
        return f"{number_words(value)} km"
    return f"{value:g}" if isinstance(value, float) else value


def comparison(todays: list[KeptCarToday]) -> list[dict[str, Any]]:
    """Kept cars side by side, a row a fact: its name, whether the cars differ in it, and a cell a car."""
    cars, known = [today.kept.car for today in todays], [today.valuation for today in todays]
    ends = {"Half sell below": 1, "One in ten below": 0, "One in ten above": 2}
    prices = [None if value is None else price_words(value) for value in known]
    rows: dict[str, list[Any]] = {
        words: [None if ranged is None else ranged[end] for ranged in prices] for words, end in ends.items()
    }
    rows["Price asked"] = [
        None if today.asked is None or value is None else money_words(today.asked, value.currency)
        for today, value in zip(todays, known, strict=True)
    ]
    rows["Car"] = [name_words(car, "make", "model") for car in cars]
    rows |= {words: [_cell(name, car.get(name)) for car in cars] for name, words in _COMPARED.items()}
    rows["How much is known"] = [None if value is None else known_words(value)[0] for value in known]
    rows["Notes"] = [today.kept.notes for today in todays]
    facts = {
        name: ["-" if cell in (None, "") else str(cell) for cell in cells] for name, cells in rows.items()
    }
    return [
        {"fact": name, "differs": "differs" if len(set(cells)) > 1 else ""}
        | {today.kept.name: cell for today, cell in zip(todays, cells, strict=True)}
        for name, cells in facts.items()
        if set(cells) != {"-"}
    ]
