"""A mapping proposed for a table: a person reads it, changes what is wrong, settles what it asks, and keeps
it as the source's own.

What a column is, is proposed with its reason (``recognition.py``). Nothing that the table leaves open is
guessed: it is asked.
"""

import re
from collections.abc import Mapping as Table
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

import polars as pl
from rapidfuzz import fuzz, process

from pricing.intake.mappings.headings import CAR, NEAR, asks, currency_of, in_thousands, plain
from pricing.intake.mappings.mapping import PARTS, YEAR_OF_MODEL, Mapping, with_parts
from pricing.intake.mappings.mapping_files import mapping_text
from pricing.intake.mappings.questions import (
    CHOICES,
    MAY_BE_UNKNOWN,
    WORDS_OF,
    MappingQuestion,
    premium_question,
)
from pricing.intake.mappings.recognition import OPTION, RecognisedColumn, recognise
from pricing.intake.written.cars import CarNames, read_car
from pricing.intake.written.dates import ORDERS, read_date
from pricing.intake.written.distances import read_distance
from pricing.intake.written.money import SIGNS, Money, currency_named, read_money
from pricing.intake.written.table import DATE_COLUMNS, MONEY_COLUMNS
from pricing.intake.written.words import WORD_COLUMNS, condition_text, known_words, not_known
from pricing.records.contract import REQUIRED
from pricing.vocabulary import UNKNOWN_UNIT

SAMPLE: Final = 5_000
"""Rows that a proposal looks at."""

MOST_THOUSANDS: Final = 2_000
"""A figure from here on, in a column headed as thousands, would be a car of two million and more."""

MOST_ASKED: Final = 40
"""Questions; of a column of free text each cell would be one."""

_ASKED: Final = "# To settle: "
_MADE: Final = ("record_id", "batch_id", "source", "source_ref")
_AGES: Final = re.compile(r"\b(?:age|alter|eta|edad|leeftijd|alder)\b")
_HAMMER: Final = re.compile(
    r"hammer|zuschlag|marteau|adjug|adjudicat|aggiudic|martillo|remate|hamer|klubba", re.IGNORECASE
)
_ALL_IN: Final = re.compile(
    r"\b(?:all in|(?:with|incl?|including|plus|mit|inkl|einschl|avec|con|inclusief|inklusive) \w*\s?"
    r"(?:premium|bp|fees?|aufgeld|frais|diritti|comision|opgeld|provision)|frais compris|diritti inclusi)\b"
)
_KM_UNSAID: Final = re.compile(
    r"\b(?:tacho\w*|compteur|contachilometri|percorrenza|teller\w*|kilometra\w*|abgelesen)\b"
)
"""Headings of an odometer in languages whose every country measures in kilometres: metric in the CLDR, whose
measurement systems ``US`` and ``UK`` are those of lands with miles."""
_SOLD: Final = re.compile(
    r"\b(?:sold|paid|selling|sale price|fetched|realised|realized|verkauf\w*|erlos|kaufpreis|vente|vendu\w*"
    r"|paye|vendita|vendut\w*|pagato|venta|vendid\w*|verkoop\w*|verkocht|opbrengst|forsaljning\w*|sald"
    r"|slutpris)\b"
)
_UNITS_OF_HEADINGS: Final = (
    (re.compile(r"\b(?:t?kms?|kilom\w*|chilom\w*|laufleistung)\b"), "{}km"),
    (_KM_UNSAID, "{}km"),
    (re.compile(r"\b(?:miles?|mls)\b"), "{}miles"),
    (re.compile(r"\bmil(?:tal)?\b"), "mil"),
)
"""The unit of an odometer by its heading, the first that holds; ``{}`` is of the thousands."""


@dataclass(frozen=True)
class Proposal:
    """A mapping, and what a person has to settle before it is right."""

    mapping: Mapping
    questions: tuple[MappingQuestion, ...]
    columns: tuple[RecognisedColumn, ...] = ()
    """Every column of the file, in its order."""
    currencies: tuple[str, ...] = ()
    """Those that its cells say."""

    @property
    def text(self) -> str:
        """The mapping file, with the questions as comments on top."""
        comments = "".join(f"{_ASKED}{question.text}\n" for question in self.questions)
        return comments + ("\n" if comments else "") + mapping_text(self.mapping)


def propose(
    frame: pl.DataFrame,
    source: str,
    *,
    chosen: Table[str, str | None] = {},  # noqa: B006 - never changed
    earlier: Mapping | None = None,
    names: CarNames = CarNames(),  # noqa: B008 - frozen
) -> Proposal:
    """Propose how a table of a source becomes records.

    ``chosen`` says of some of its columns what they are (``recognition.MAY_BE``), or None for none.
    ``earlier`` is the mapping of an earlier file of the source: what it says holds as far as ``chosen``
    leaves it. ``names`` are those of the market's cars, by which whole cars in one cell are parted.

    Raises:
        MappingError: a choice names no column or nothing of ours, two are the same, or ``earlier`` names a
            column that the table does not have.

    >>> row = {"Marque": "Corvane", "Model": "Six", "Built": "1968", "Sale date": "13/5/2024",
    ...        "Hammer price": "£4,250", "Overdrive": "yes"}
    >>> proposal = propose(pl.DataFrame([row]), "hall")
    >>> proposal.mapping.columns["amount"], proposal.mapping.date_order, dict(proposal.mapping.option_columns)
    ('Hammer price', 'day-month-year', {'overdrive': 'Overdrive'})
    >>> proposal.columns[4].reason, proposal.columns[4].sure
    ("headed 'Hammer price', and all of its cells fit", 1.0)
    >>> propose(pl.DataFrame([row]), "hall", chosen={"Built": None}).mapping.columns.get("year") is None
    True
    """
    table = frame.drop("row_number", strict=False).head(SAMPLE)
    if earlier is not None:
        earlier.refuse_absent(table.columns)
        chosen = {**_choices_of(earlier, table.columns), **chosen}
    recognised = recognise(table, chosen)
    columns = {column.ours: column.theirs for column in recognised if column.ours is not None}
    ticked = [ours for ours in columns if ours.startswith(OPTION)]
    options = {ours.removeprefix(OPTION): columns.pop(ours) for ours in ticked}
    parts = {ours: columns.pop(ours) for ours in PARTS if ours in columns}
    parts = {ours: theirs for ours, theirs in parts.items() if PARTS[ours] in columns}
    draft = _Draft(with_parts(table.select(pl.col(pl.String)), columns, parts), columns)
    if "year" not in columns and _years_within(draft.cells("model")):
        columns["year"] = columns["model"]
    packed = columns.pop("options") if columns.get("options") in draft.text.columns else None
    if "options" in columns and options:
        left = ", ".join(map(repr, options.values()))
        draft.ask("columns", "options", f"{columns['options']!r} lists them; left out: {left}")
        options = {}
    if earlier is None:
        constants = _constants(draft)
    else:
        constants = {ours: value for ours, value in earlier.constants.items() if ours not in columns}
    _ask_constants(draft, constants, is_new=earlier is None)
    base = Mapping(source, {}) if earlier is None else earlier
    same_odometer = earlier is not None and earlier.columns.get("odometer_km") == columns.get("odometer_km")
    separator = base.option_separator
    if packed is not None and packed != base.packed_options:
        separator = _separator(draft.text[packed])
    mapping = replace(
        base,
        columns={ours: theirs for ours, theirs in columns.items() if ours != CAR},
        constants=constants,
        parts=parts,
        car=columns.get(CAR),
        date_order=base.date_order or _date_order(draft),
        decimal=_decimal(draft.cells(*MONEY_COLUMNS)) if earlier is None else earlier.decimal,
        odometer_unit=base.odometer_unit if same_odometer else _unit(draft),
        amount_unit=_amount_unit(draft) if earlier is None else earlier.amount_unit,
        year_unit=_year_unit(draft) if earlier is None else earlier.year_unit,
        option_columns=options,
        packed_options=packed,
        option_separator=separator,
    )
    if not mapping.car_words:
        _ask_cars(draft, names)
    mapping = replace(mapping, words=_words(draft, base.words))
    questions = (*draft.questions, *premium_question(mapping))
    return Proposal(mapping, questions, recognised, _currencies(draft))


@dataclass
class _Draft:
    """The columns of text of a table, which of ours they are, and what they leave open."""

    text: pl.DataFrame
    columns: dict[str, str]
    """Ours = theirs."""
    questions: list[MappingQuestion] = field(default_factory=list)

    def ask(self, section: str, key: str, why: str) -> None:
        self.questions.append(MappingQuestion(section, key, why))

    def cells(self, *ours: str) -> pl.Series:
        """The cells of columns of ours that hold something; none of a column that is not of text."""
        theirs = [self.columns[name] for name in ours if self.columns.get(name) in self.text.columns]
        cells = [self.text[name].alias("cells") for name in theirs]
        return pl.concat([pl.Series("cells", [], pl.String), *cells]).drop_nulls()

    def distinct(self, *ours: str) -> list[str]:
        """Each of their cells once."""
        return self.cells(*ours).unique(maintain_order=True).to_list()

    @cached_property
    def amounts(self) -> list[Money]:
        """What the cells of the price say."""
        return [money for money in map(read_money, self.distinct("amount")) if money is not None]


def _choices_of(earlier: Mapping, columns: list[str]) -> dict[str, str | None]:
    """What an earlier mapping takes the columns of a table for."""
    meant = {theirs: ours for ours, theirs in earlier.columns.items()}
    meant |= {theirs: OPTION + code for code, theirs in earlier.option_columns.items()}
    meant |= {theirs: part for part, theirs in earlier.parts.items()}
    single = {"model": earlier.columns.get("model"), CAR: earlier.car, "options": earlier.packed_options}
    meant |= {theirs: ours for ours, theirs in single.items() if theirs is not None}
    return {theirs: meant.get(theirs) for theirs in columns}


def _years_within(models: pl.Series) -> bool:
    """Whether the cells of the models hold each a year beside other words, as in ``1966 Sedge``."""
    years = models.str.contains(YEAR_OF_MODEL) & models.str.contains(r"[^\W\d_]{2}")
    return len(models) > 0 and int(years.sum()) >= 0.9 * len(models)


def _ask_cars(draft: _Draft, names: CarNames) -> None:
    """Ask what to do with whole cars that the market has no names for."""
    cells = draft.distinct(CAR)
    strange = [cell for cell in cells if None in ((car := read_car(cell, names)).make, car.model)]
    if strange:
        why = (
            f"the market has no names for {len(strange):,} of {len(cells):,} cars, such as {strange[0]!r}; "
            "by words takes the first word for the make and the second for the model, refuse rejects them"
        )
        draft.ask("car", "unknown", why)


def _constants(draft: _Draft) -> dict[str, str]:
    """What the headings and the cells say of every row."""
    heading = draft.columns.get("amount", "")
    priced = plain(heading)
    constants: dict[str, str] = {}
    if _HAMMER.search(priced):
        constants = {"price_basis": "hammer", "channel": "auction", "outcome": "sold"}
    elif asks(heading):
        constants = {"price_basis": "asking", "outcome": "asking"}
    elif _ALL_IN.search(priced):
        constants = {"price_basis": "all-in"}
    outcomes = {money.outcome for money in draft.amounts}
    sold = _SOLD.search(priced) or _SOLD.search(plain(draft.columns.get("event_date", "")))
    if sold or {"unsold", None} <= outcomes:
        constants.setdefault("outcome", "sold")
    currencies = {_code(money.currency) for money in draft.amounts if money.amount is not None}
    currency = currency_of(heading) or (min(currencies) if len(currencies) == 1 else "")
    if currency:
        constants["currency"] = currency
    return {ours: value for ours, value in constants.items() if ours not in draft.columns}


def _code(sign: str | None) -> str:
    """The currency that a sign or a code alone means; nothing where it means none."""
    return SIGNS.get(sign, (sign,))[0] if sign is not None else ""


def _currencies(draft: _Draft) -> tuple[str, ...]:
    """Every currency that a cell of the price, or of the currency, says."""
    currencies = {_code(money.currency) for money in draft.amounts}
    currencies |= {currency_named(cell) or "" for cell in draft.distinct("currency")}
    return tuple(sorted(currencies - {""}))


def _ask_constants(draft: _Draft, constants: dict[str, str], *, is_new: bool) -> None:
    """Ask what neither a column nor anything else says of every row."""
    signed = [money.currency for money in draft.amounts if money.currency is not None]
    every = len(signed) == len([money for money in draft.amounts if money.amount is not None])
    clear = bool(signed) and every and all(map(_code, signed))
    answered = {*draft.columns, *constants, *_MADE, *(["currency"] if clear else [])}
    if CAR in draft.columns:
        answered |= {"make", "model", "year"}
    for ours in (*REQUIRED, *(MAY_BE_UNKNOWN if is_new else ())):
        if ours not in answered:
            choices = CHOICES.get(ours, ())
            one_of = f" ({', '.join(choices)})" if 0 < len(choices) < 10 else ""
            blank = ", or leave it unknown" if ours in MAY_BE_UNKNOWN else ""
            some = ", ".join(sorted(set(signed))[:4]) if ours == "currency" else ""
            seen = some and f"; some cells say {some}"
            why = f"no column says it; give the one for every row{one_of}{blank}{seen}"
            draft.ask("constants", ours, why)
    if "amount" not in draft.columns:
        draft.ask("columns", "amount", "no column looks like a price")


def _date_order(draft: _Draft) -> str | None:
    """The one order in which all dates can be read; asked when there are several."""
    cells = draft.cells(*DATE_COLUMNS).unique(maintain_order=True)
    cells = cells.filter(~cells.str.contains(r"^\s*[0-9]{4}-[0-9]{2}-[0-9]{2}"))
    if cells.is_empty():
        return None
    dates = cells.to_list()
    readable = {order: sum(read_date(cell, order) is not None for cell in dates) for order in ORDERS}
    best = max(readable.values())
    if sum(read_date(cell) is not None for cell in dates) == best:
        return None  # no cell leaves the order open
    if cells.str.contains(r"^\s*[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{2,4}").all() and readable[ORDERS[0]] == best:
        return ORDERS[0]  # in no locale of the CLDR do points part a month from the day behind it
    orders = [order for order, count in readable.items() if count == best]
    if len(orders) == 1:
        return orders[0]
    why = f"dates such as {dates[0]!r} can be read in several orders; say which of them"
    draft.ask("dates", "order", why)
    return None


def _decimal(cells: pl.Series) -> str:
    """The decimal mark that more amounts are typed with."""
    behind = {mark: cells.str.contains(rf"[0-9]{mark}[0-9]{{1,2}}([^0-9]|$)").sum() for mark in (",", r"\.")}
    return "," if behind[","] > behind[r"\."] else "."


def _unit(draft: _Draft) -> str:
    """The unit of the odometer, if its heading names one or its cells say theirs."""
    if "odometer_km" not in draft.columns:
        return "km"
    theirs = draft.columns["odometer_km"]
    header = plain(theirs)
    thousand = "thousand " if re.search(r"\b(000|000s|thousand|k|tsd|tkm)\b", header) else ""
    for heading, unit in _UNITS_OF_HEADINGS:
        if heading.search(header):
            return unit.format(thousand)
    distances = [read for read in map(read_distance, draft.distinct("odometer_km")) if read is not None]
    if distances and all(unit is not None for _, unit in distances):
        return "km"
    why = f"{theirs!r} names no unit; say km or miles; left open, bare figures are not known"
    draft.ask("units", "odometer_km", why)
    return UNKNOWN_UNIT


def _amount_unit(draft: _Draft) -> str:
    """Thousands where the heading of the price says so; asked where its figures can hardly be that."""
    heading = draft.columns.get("amount", "")
    if not in_thousands(heading):
        return "one"
    largest = max((money.amount for money in draft.amounts if money.plain and money.amount), default=0)
    if largest < MOST_THOUSANDS:
        return "thousand"
    why = f"{heading!r} says thousands, and its cells hold {largest:,f}; say thousand or one"
    draft.ask("units", "amount_unit", why)
    return "one"


def _year_unit(draft: _Draft) -> str:
    """Whether the column of the year holds ages."""
    theirs = draft.columns.get("year", "")
    typed = theirs not in draft.text.columns
    some = typed or draft.cells("year").str.strip_chars().str.contains(r"^[0-9]{1,3}\b").any()
    return "age" if some and _AGES.search(plain(theirs)) else "year"


def _separator(cells: pl.Series) -> str:
    """The mark that parts packed options."""
    return max((";", ",", "|", "/", "+"), key=lambda mark: cells.str.count_matches(mark, literal=True).sum())


def _words(draft: _Draft, earlier: Table[str, Table[str, str]]) -> dict[str, dict[str, str]]:
    """Words of theirs that are settled or near spellings of known ones; those that are neither are asked."""
    words = {ours: dict(meanings) for ours, meanings in earlier.items() if ours in draft.columns}
    for ours in WORD_COLUMNS:
        if ours == "country":
            continue
        known = {**known_words()[ours], **words.get(ours, {})}
        cells = draft.cells(ours).str.strip_chars().str.to_lowercase()
        unknown = cells.filter(~cells.is_in([*known, *not_known(), ""])).to_frame("cell")
        if ours == "condition_band":
            cell = pl.col("cell")
            unknown = unknown.filter(condition_text(cell, words.get(ours, {})) == cell)
        counted = unknown["cell"].value_counts(name="rows").sort("rows", "cell", descending=[True, False])
        for word, count in counted.iter_rows():
            if ours == "outcome" and (money := read_money(word)) is not None and money.outcome is not None:
                continue
            likest = process.extractOne(word, list(known), scorer=fuzz.ratio, score_cutoff=NEAR)
            if likest is not None:
                words.setdefault(ours, {})[word] = known[likest[0]]
            elif len(draft.questions) < MOST_ASKED:
                plural = "cell" if count == 1 else "cells"
                left = "such rows are rejected" if ours in REQUIRED else "it is not known"
                why = f"say what it means, in {count:,} {plural}; left open, {left}"
                draft.ask(f"{WORDS_OF}{ours}", word, why)
    return words
