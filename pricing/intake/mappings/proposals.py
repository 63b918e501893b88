"""A mapping proposed for a table: a person reads it, changes what is wrong, settles what it asks, and keeps
it as the
source's own.

What a column is, is proposed with its reason (``recognition.py``). Nothing that the table leaves open is
guessed: it is
asked.
"""

import re
from collections.abc import Mapping as Table
from dataclasses import dataclass, replace
from typing import Final

import polars as pl
from rapidfuzz import fuzz, process

from pricing.intake.mappings.headings import CAR, NEAR, asks, currency_of, in_thousands, plain
from pricing.intake.mappings.mapping import PARTS, YEAR_OF_MODEL, Mapping, with_parts
from pricing.intake.mappings.mapping_files import mapping_text
from pricing.intake.mappings.questions import CHOICES, MAY_BE_UNKNOWN, WORDS_OF, Question, premium_question
from pricing.intake.mappings.recognition import OPTION, Column, recognise
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
    r"\b(?:sold|paid|selling|sale price|fetched|realised|realized|verkauf\w*|erlos|kaufpreis|vente"
    r"|vendu\w*|paye|vendita"
    r"|vendut\w*|pagato|venta|vendid\w*|verkoop\w*|verkocht|opbrengst|forsaljning\w*|sald|slutpris)\b"
)


@dataclass(frozen=True)
class Proposal:
    """A mapping, and what a person has to settle before it is right."""

    mapping: Mapping
    questions: tuple[Question, ...]
    columns: tuple[Column, ...] = ()
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
    kept: Mapping | None = None,
    names: CarNames = CarNames(),  # noqa: B008 - frozen
) -> Proposal:
    """Propose how a table of a source becomes records.

    ``chosen`` says of some of its columns what they are (``recognition.MAY_BE``), or None for none.
    ``kept`` is the
    mapping of an earlier file of the source: what it says holds as far as ``chosen`` leaves it. ``names``
    are those of
    the market's cars, by which whole cars in one cell are parted.

    Raises:
        MappingError: a choice names no column or nothing of ours, two are the same, or ``kept`` names a
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
    text = table.select(pl.col(pl.String))
    if kept is not None:
        kept.refuse_absent(table.columns)
    told = recognise(table, chosen if kept is None else {**_choices_of(kept, table.columns), **chosen})
    columns = {
        column.ours: column.theirs
        for column in told
        if column.ours is not None and not column.ours.startswith(OPTION)
    }
    options = {
        column.ours.removeprefix(OPTION): column.theirs
        for column in told
        if column.ours is not None and column.ours.startswith(OPTION)
    }
    parts = {ours: columns.pop(ours) for ours in PARTS if ours in columns}
    parts = {ours: theirs for ours, theirs in parts.items() if PARTS[ours] in columns}
    text = with_parts(text, columns, parts)
    if "year" not in columns and _years_within(text, columns.get("model")):
        columns["year"] = columns["model"]
    packed = columns.pop("options") if columns.get("options") in text.columns else None
    questions: list[Question] = []
    if "options" in columns and options:
        left = ", ".join(map(repr, options.values()))
        questions.append(
            Question("columns", "options", f"{columns['options']!r} lists them; left out: {left}")
        )
        options = {}
    if kept is None:
        constants = _constants(columns, text)
    else:
        constants = {ours: value for ours, value in kept.constants.items() if ours not in columns}
    questions += _asked_constants(columns, constants, text, kept)
    base = Mapping(source, {}) if kept is None else kept
    same_odometer = kept is not None and kept.columns.get("odometer_km") == columns.get("odometer_km")
    mapping = replace(
        base,
        columns={ours: theirs for ours, theirs in columns.items() if ours != CAR},
        constants=constants,
        parts=parts,
        car=columns.get(CAR),
        date_order=base.date_order or _date_order(text, columns, questions),
        decimal=_decimal(text, columns) if kept is None else kept.decimal,
        odometer_unit=base.odometer_unit if same_odometer else _unit(columns, text, questions),
        amount_unit=_amount_unit(columns, text, questions) if kept is None else kept.amount_unit,
        year_unit=_year_unit(columns, text) if kept is None else kept.year_unit,
        option_columns=options,
        packed_options=packed,
        option_separator=base.option_separator
        if packed is None or packed == base.packed_options
        else _separator(text[packed]),
    )
    _ask_cars(mapping, text, names, questions)
    words = _words(text, columns, base.words, questions)
    mapping = replace(mapping, words=words)
    return Proposal(mapping, (*questions, *premium_question(mapping)), told, _currencies(columns, text))


def _choices_of(kept: Mapping, columns: list[str]) -> dict[str, str | None]:
    """What a kept mapping takes the columns of a table for."""
    meant = {theirs: ours for ours, theirs in kept.columns.items()}
    meant |= {theirs: OPTION + code for code, theirs in kept.option_columns.items()}
    meant |= {} if kept.columns.get("model") is None else {kept.columns["model"]: "model"}
    meant |= {theirs: part for part, theirs in kept.parts.items()}
    meant |= {} if kept.car is None else {kept.car: CAR}
    meant |= {} if kept.packed_options is None else {kept.packed_options: "options"}
    return {theirs: meant.get(theirs) for theirs in columns}


def _years_within(text: pl.DataFrame, theirs: str | None) -> bool:
    """Whether the cells of the models hold each a year beside other words, as in ``1966 Sedge``."""
    if theirs not in text.columns:
        return False
    cells = text[theirs].drop_nulls()
    years = cells.str.contains(YEAR_OF_MODEL) & cells.str.contains(r"[^\W\d_]{2}")
    return len(cells) > 0 and int(years.sum()) >= 0.9 * len(cells)


def _ask_cars(mapping: Mapping, text: pl.DataFrame, names: CarNames, questions: list[Question]) -> None:
    """Ask what to do with whole cars that the market has no names for."""
    if mapping.car is None or mapping.car_words or mapping.car not in text.columns:
        return
    cells = text[mapping.car].drop_nulls().unique(maintain_order=True).to_list()
    strange = [cell for cell in cells if (said := read_car(cell, names)).make is None or said.model is None]
    if strange:
        why = (
            f"the market has no names for {len(strange):,} of {len(cells):,} cars, such as {strange[0]!r}; "
            "by words takes the first word for the make and the second for the model, refuse rejects them"
        )
        questions.append(Question("car", "unknown", why))


def _constants(columns: dict[str, str], text: pl.DataFrame) -> dict[str, str]:
    """What the headings and the cells say of every row."""
    heading = columns.get("amount", "")
    priced = plain(heading)
    read = _amounts(columns, text)
    constants: dict[str, str] = {}
    if _HAMMER.search(priced):
        constants = {"price_basis": "hammer", "channel": "auction", "outcome": "sold"}
    elif asks(heading):
        constants = {"price_basis": "asking", "outcome": "asking"}
    elif _ALL_IN.search(priced):
        constants = {"price_basis": "all-in"}
    if "outcome" not in constants and (
        _SOLD.search(priced) or _SOLD.search(plain(columns.get("event_date", "")))
    ):
        constants["outcome"] = "sold"
    outcomes = {found.outcome for found in read}
    if "unsold" in outcomes and None in outcomes:
        constants.setdefault("outcome", "sold")
    priced_in = {found.currency for found in read if found.amount is not None}
    signs = {(SIGNS.get(sign, (sign,))[0] if sign is not None else "") for sign in priced_in}
    currency = currency_of(heading) or (min(signs) if len(signs) == 1 else None)
    if currency:
        constants["currency"] = currency
    return {ours: value for ours, value in constants.items() if ours not in columns}


def _amounts(columns: dict[str, str], text: pl.DataFrame) -> list[Money]:
    """What the cells of the price say."""
    heading = columns.get("amount", "")
    cells = text[heading].drop_nulls().unique().to_list() if heading in text.columns else []
    return [found for found in map(read_money, cells) if found is not None]


def _currencies(columns: dict[str, str], text: pl.DataFrame) -> tuple[str, ...]:
    """Every currency that a cell of the price, or of the currency, says."""
    currencies = {
        SIGNS.get(sign, (sign,))[0] for sign in (found.currency for found in _amounts(columns, text)) if sign
    }
    stated = columns.get("currency", "")
    if stated in text.columns:
        currencies |= {currency_named(cell) or "" for cell in text[stated].drop_nulls().unique()}
    return tuple(sorted(currencies - {""}))


def _asked_constants(
    columns: dict[str, str], constants: dict[str, str], text: pl.DataFrame, kept: Mapping | None
) -> list[Question]:
    """Questions for what neither a column nor anything else says of every row."""
    read = _amounts(columns, text)
    signed = [found.currency for found in read if found.currency is not None]
    every = bool(signed) and len(signed) == len([found for found in read if found.amount is not None])
    clear = every and all(SIGNS.get(sign, (sign,))[0] for sign in signed)
    questions = []
    for ours in (*REQUIRED, *(MAY_BE_UNKNOWN if kept is None else ())):
        if ours in columns or ours in constants or ours in _MADE or (ours == "currency" and clear):
            continue
        if CAR in columns and ours in ("make", "model", "year"):
            continue
        allowed = CHOICES.get(ours, ())
        one_of = f" ({', '.join(allowed)})" if 0 < len(allowed) < 10 else ""
        blank = ", or leave it unknown" if ours in MAY_BE_UNKNOWN else ""
        seen = (
            f"; some cells say {', '.join(sorted(set(signed))[:4])}" if ours == "currency" and signed else ""
        )
        why = f"no column says it; give the one for every row{one_of}{blank}{seen}"
        questions.append(Question("constants", ours, why))
    if "amount" not in columns:
        questions.append(Question("columns", "amount", "no column looks like a price"))
    return questions


def _date_order(text: pl.DataFrame, columns: dict[str, str], questions: list[Question]) -> str | None:
    """The one order in which all dates can be read; asked when there are several."""
    cells = [text[columns[ours]].drop_nulls() for ours in DATE_COLUMNS if columns.get(ours) in text.columns]
    dates = pl.concat(cells).unique() if cells else pl.Series([], dtype=pl.String)
    iso = r"^\s*[0-9]{4}-[0-9]{2}-[0-9]{2}"
    dates = dates.filter(~dates.str.contains(iso))
    if dates.is_empty():
        return None
    cells_of = dates.to_list()
    share = {order: sum(read_date(cell, order) is not None for cell in cells_of) for order in ORDERS}
    if sum(read_date(cell) is not None for cell in cells_of) == max(share.values()):
        return None  # no cell leaves the order open
    best = max(share.values())
    if dates.str.contains(r"^\s*[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{2,4}").all() and share[ORDERS[0]] == best:
        return ORDERS[0]  # in no locale of the CLDR do points part a month from the day behind it
    orders = [order for order, read in share.items() if read == best]
    if best > 0 and len(orders) == 1:
        return orders[0]
    why = f"dates such as {dates[0]!r} can be read in several orders; say which of them"
    questions.append(Question("dates", "order", why))
    return None


def _decimal(text: pl.DataFrame, columns: dict[str, str]) -> str:
    """The decimal mark that more amounts are typed with."""
    amounts = [text[columns[ours]] for ours in MONEY_COLUMNS if columns.get(ours) in text.columns]
    if not amounts:
        return "."
    cells = pl.concat([series.alias("amount") for series in amounts]).drop_nulls()
    behind = {mark: cells.str.contains(rf"[0-9]{mark}[0-9]{{1,2}}([^0-9]|$)").sum() for mark in (r"\.", ",")}
    return "," if behind[","] > behind[r"\."] else "."


def _unit(columns: dict[str, str], text: pl.DataFrame, questions: list[Question]) -> str:
    """The unit of the odometer, if its heading names one or its cells say theirs."""
    if "odometer_km" not in columns:
        return "km"
    header = plain(columns["odometer_km"])
    thousand = "thousand " if re.search(r"\b(000|000s|thousand|k|tsd|tkm)\b", header) else ""
    if re.search(r"\b(t?kms?|kilom\w*|chilom\w*|laufleistung)\b", header):
        return f"{thousand}km"
    if _KM_UNSAID.search(header):
        return f"{thousand}km"
    if re.search(r"\b(miles?|mls)\b", header):
        return f"{thousand}miles"
    if re.search(r"\bmil(tal)?\b", header):
        return "mil"
    theirs = columns["odometer_km"]
    cells = text[theirs].drop_nulls().unique().to_list() if theirs in text.columns else []
    distances = [found for found in (read_distance(cell) for cell in cells) if found is not None]
    if distances and all(unit is not None for _, unit in distances):
        return "km"
    why = f"{theirs!r} names no unit; say km or miles; left open, bare figures are not known"
    questions.append(Question("units", "odometer_km", why))
    return UNKNOWN_UNIT


def _amount_unit(columns: dict[str, str], text: pl.DataFrame, questions: list[Question]) -> str:
    """Thousands where the heading of the price says so; asked where its figures can hardly be that."""
    heading = columns.get("amount", "")
    if not in_thousands(heading):
        return "one"
    bare = [found.amount for found in _amounts(columns, text) if found.plain and found.amount is not None]
    if not any(amount >= MOST_THOUSANDS for amount in bare):
        return "thousand"
    why = f"{heading!r} says thousands, and its cells hold {max(bare):,f}; say thousand or one"
    questions.append(Question("units", "amount_unit", why))
    return "one"


def _year_unit(columns: dict[str, str], text: pl.DataFrame) -> str:
    """Whether the column of the year holds ages."""
    theirs = columns.get("year", "")
    if not _AGES.search(plain(theirs)):
        return "year"
    cells = text[theirs].drop_nulls().str.strip_chars() if theirs in text.columns else pl.Series([""])
    return "age" if cells.str.contains(r"^[0-9]{1,3}\b").mean() or theirs not in text.columns else "year"


def _separator(cells: pl.Series) -> str:
    """The mark that parts packed options."""
    counts = {mark: cells.str.count_matches(mark, literal=True).sum() for mark in (";", ",", "|", "/", "+")}
    return max(counts, key=lambda mark: counts[mark])


def _words(
    text: pl.DataFrame,
    columns: dict[str, str],
    kept: Table[str, Table[str, str]],
    questions: list[Question],
) -> dict[str, dict[str, str]]:
    """Words of theirs that are kept or near spellings of known ones; those that are neither are asked."""
    words = {ours: dict(said) for ours, said in kept.items() if ours in columns}
    for ours in WORD_COLUMNS:
        if ours == "country" or columns.get(ours) not in text.columns:
            continue
        known = {**known_words()[ours], **words.get(ours, {})}
        cells = text[columns[ours]].drop_nulls().str.strip_chars().str.to_lowercase()
        counted = cells.value_counts(name="cells").sort("cells", cells.name, descending=[True, False])
        told = counted.filter(~counted[cells.name].is_in([*known, *not_known(), ""]))
        if ours == "outcome":
            read_as = {word: read_money(word) for word in told[cells.name]}
            said = [
                word for word, money in read_as.items() if money is not None and money.outcome is not None
            ]
            told = told.filter(~told[cells.name].is_in(said))
        if ours == "condition_band":
            read = told.select(condition_text(pl.col(cells.name), words.get(ours, {})) != pl.col(cells.name))
            told = told.filter(~read.to_series())
        for word, count in told.iter_rows():
            likest = process.extractOne(word, list(known), scorer=fuzz.ratio, score_cutoff=NEAR)
            if likest is not None:
                words.setdefault(ours, {})[word] = known[likest[0]]
            elif len(questions) < MOST_ASKED:
                plural = "cell" if count == 1 else "cells"
                left = "such rows are rejected" if ours in REQUIRED else "it is not known"
                why = f"say what it means, in {count:,} {plural}; left open, {left}"
                questions.append(Question(f"{WORDS_OF}{ours}", word, why))
    return words
