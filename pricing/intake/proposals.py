"""A mapping proposed for a table: a person reads it, settles what it asks, and keeps it as the source's own.

Columns are recognised by their headings and by what their cells look like together; each is proposed with
its reason and how sure it is. Nothing that the table leaves open is guessed: it is asked.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import polars as pl
from rapidfuzz import fuzz, process
from scipy.optimize import linear_sum_assignment

from pricing.intake.checking import check_rows
from pricing.intake.headings import CAR, NEAR, currency_of, meanings, plain
from pricing.intake.looks import SURE, looks, shown_alone
from pricing.intake.mapping import Mapping
from pricing.intake.mapping_files import mapping_text
from pricing.intake.written.dates import ORDERS, read_date
from pricing.intake.written.distances import read_distance
from pricing.intake.written.money import SIGNS, read_money
from pricing.intake.written.table import DATE_COLUMNS, MONEY_COLUMNS
from pricing.intake.written.words import WORD_COLUMNS, known_words, not_known, yes_and_no
from pricing.records.cells import raw_text
from pricing.records.contract import REQUIRED
from pricing.vocabulary import CHANNELS, OPTION_CODES, OUTCOMES, PRICE_BASES

SAMPLE: Final = 5_000
"""Rows that a proposal looks at."""

PROPOSED_FROM: Final = 0.5
"""How sure (0-1) a column has to be to be proposed."""

_ASKED: Final = "# To settle: "
_MADE: Final = ("record_id", "batch_id", "source", "source_ref")
MAY_BE_UNKNOWN: Final = ("channel", "country")
"""What holds for a whole file and a person may not know."""
_AGES: Final = re.compile(r"\b(?:age|alter|eta|edad|leeftijd|alder)\b")
_HAMMER: Final = re.compile(
    r"hammer|zuschlag|marteau|adjug|adjudicat|aggiudic|martillo|remate|hamer|klubba", re.IGNORECASE
)
_ALL_IN: Final = re.compile(r"\b(?:all in|incl\w* \w*premium|inkl aufgeld|frais compris|diritti inclusi)\b")
_ASKING: Final = re.compile(
    r"\b(?:ask\w*|angebotspreis|wunschpreis|prix demande|prezzo richiesto|precio pedido|vraagprijs"
    r"|begart pris)\b"
)
_SOLD: Final = re.compile(
    r"\b(?:sold|paid|selling|sale price|fetched|realised|realized|verkauf\w*|erlos|kaufpreis|vente"
    r"|vendu\w*|paye|vendita"
    r"|vendut\w*|pagato|venta|vendid\w*|verkoop\w*|verkocht|opbrengst|forsaljning\w*|sald|slutpris)\b"
)


@dataclass(frozen=True)
class Column:
    """What one of the file's own columns is proposed to be."""

    theirs: str
    ours: str | None
    """A column of ours, ``car`` for a whole car, ``option`` for a yes or no about an option, None for
    none."""
    reason: str
    sure: float
    """0 to 1."""
    samples: tuple[str, ...]
    """Three of its cells."""


@dataclass(frozen=True)
class Proposal:
    """A mapping, and what a person has to settle before it is right."""

    mapping: Mapping
    questions: tuple[str, ...]
    columns: tuple[Column, ...] = ()
    """Every column of the file, in its order."""

    @property
    def text(self) -> str:
        """The mapping file, with the questions as comments on top; ``open_questions`` finds them again."""
        asked = "".join(f"{_ASKED}{question}\n" for question in self.questions)
        return asked + ("\n" if asked else "") + mapping_text(self.mapping)


def propose(frame: pl.DataFrame, source: str) -> Proposal:
    """Propose how a table of a source becomes records.

    >>> row = {"Marque": "Corvane", "Model": "Six", "Built": "1968", "Sale date": "13/5/2024",
    ...        "Hammer price": "£4,250", "Overdrive": "yes"}
    >>> proposal = propose(pl.DataFrame([row]), "hall")
    >>> proposal.mapping.columns["amount"], proposal.mapping.date_order, dict(proposal.mapping.option_columns)
    ('Hammer price', 'day-month-year', {'overdrive': 'Overdrive'})
    >>> proposal.columns[4].reason, proposal.columns[4].sure
    ("headed 'Hammer price', and all of its cells fit", 1.0)
    """
    table = frame.drop("row_number", strict=False).head(SAMPLE)
    text = table.select(pl.col(pl.String))
    options = _option_columns(text)
    told = _columns(table.drop(options.values()))
    columns = {column.ours: column.theirs for column in told.values() if column.ours is not None}
    packed = columns.pop("options") if columns.get("options") in text.columns else None
    questions: list[str] = []
    if "options" in columns and options:
        questions.append(
            f"[columns] options: {columns['options']!r} lists them; left out: {_quoted(options)}"
        )
        options = {}
    constants = _constants(columns, text, questions)
    mapping = Mapping(
        source=source,
        columns={ours: theirs for ours, theirs in columns.items() if ours != CAR},
        constants=constants,
        car=columns.get(CAR),
        date_order=_date_order(text, columns, questions),
        decimal=_decimal(text, columns),
        odometer_unit=_unit(columns, text, questions),
        year_unit=_year_unit(columns, text),
        option_columns=options,
        packed_options=packed,
        option_separator=";" if packed is None or packed not in text.columns else _separator(text[packed]),
    )
    by_name = {theirs: code for code, theirs in options.items()}
    shown = tuple(told.get(name) or _option(name, by_name.get(name), text) for name in table.columns)
    return Proposal(replace(mapping, words=_words(text, columns, questions)), tuple(questions), shown)


def _option(theirs: str, code: str | None, text: pl.DataFrame) -> Column:
    samples = _samples(text[theirs])
    if code is None:
        return Column(theirs, None, "said in another column", 0.0, samples)
    return Column(
        theirs, "option", f"headed like the option {code.replace('_', ' ')}, and yes or no", 0.95, samples
    )


def _columns(table: pl.DataFrame) -> dict[str, Column]:
    """Every column of theirs with the column of ours that it and its cells fit best, each of ours once."""
    named = {name: meanings(name) for name in table.columns}
    texts = {name: _as_text(table[name]) for name in table.columns}
    look = {name: looks(cells) for name, cells in texts.items()}
    alone = {
        name: shown_alone(texts[name], look[name])
        if not named[name] and table.schema[name] == pl.String
        else {}
        for name in table.columns
    }
    ours = sorted({column for found in named.values() for column in found} | set(SURE))
    scores = np.zeros((len(table.columns), len(ours)))
    for row, name in enumerate(table.columns):
        for place, column in enumerate(ours):
            scores[row, place] = _score(column, named[name], look[name], alone[name])
    _one_car_or_its_parts(scores, ours)
    found: dict[str, Column] = {}
    rows, places = linear_sum_assignment(np.where(scores < PROPOSED_FROM, 0.0, scores), maximize=True)
    chosen = dict(zip(rows.tolist(), places.tolist(), strict=True))
    for row, name in enumerate(table.columns):
        chosen_place = chosen.get(row)
        sure = 0.0 if chosen_place is None else float(scores[row, chosen_place])
        samples = _samples(texts[name])
        if chosen_place is None or sure < PROPOSED_FROM:
            found[name] = Column(name, None, "neither its heading nor its cells say", 0.0, samples)
            continue
        meant = ours[chosen_place]
        reason = _reason(name, meant, named[name], look[name])
        found[name] = Column(name, meant, reason, round(min(sure, 1.0), 2), samples)
    return found


def _score(ours: str, named: dict[str, float], look: dict[str, float], alone: dict[str, float]) -> float:
    """How sure it is (0-1) that a column is one of ours, by its heading and its cells together."""
    if ours in named:
        if not look or ours not in look:
            return named[ours] * (0.97 if look else 0.6)
        return named[ours] * (0.3 + 0.7 * look[ours])
    share = alone.get(ours, 0.0)
    return SURE[ours] * share if share >= 0.9 else 0.0


def _one_car_or_its_parts(scores: np.ndarray, ours: Sequence[str]) -> None:
    """A whole car in a cell is looked for only where make and model are not in columns of their own."""
    place = {column: at for at, column in enumerate(ours)}
    if CAR not in place or "make" not in place or "model" not in place:
        return
    make, model = scores[:, place["make"]], scores[:, place["model"]]
    car = scores[:, place[CAR]]
    both = make.max() >= PROPOSED_FROM and model.max() >= PROPOSED_FROM and make.argmax() != model.argmax()
    if both and car.max() < 0.99 + (car.argmax() == model.argmax()):
        scores[:, place[CAR]] = 0.0
    elif car.max() >= PROPOSED_FROM and make.max() < PROPOSED_FROM:
        scores[car.argmax(), [place["model"], place["make"]]] = 0.0


def _reason(name: str, ours: str, named: dict[str, float], look: dict[str, float]) -> str:
    share = look.get(ours)
    cells = (
        "" if share is None
        else ", and all of its cells fit" if share == 1.0
        else f", and {share:.0%} of its cells fit"
    )  # fmt: skip
    if ours not in named:
        return f"no heading says so{cells}"
    near = "headed" if named[ours] >= 0.97 else "headed nearly so:"
    return f"{near} {name!r}{cells}"


def _as_text(cells: pl.Series) -> pl.Series:
    if cells.dtype == pl.String:
        return cells
    return cells.to_frame().select(raw_text(cells.name, cells.dtype)).to_series()


def _samples(cells: pl.Series) -> tuple[str, ...]:
    told = cells.drop_nulls().filter(cells.drop_nulls() != "").unique(maintain_order=True).head(3)
    return tuple(str(cell) for cell in told)


def preview(mapping: Mapping, frame: pl.DataFrame, today: date, rows: int = 8) -> pl.DataFrame:
    """The first rows of a table as the mapping would have them land, with the rules that each one would
    break."""
    mapped = mapping.apply(frame.head(rows))
    absent = [pl.lit(None, dtype=pl.String).alias(name) for name in REQUIRED if name not in mapped.columns]
    made = [pl.lit("-").alias(name) for name in _MADE if name not in mapped.columns]
    whole = mapped.with_columns(absent).with_columns(made).with_row_index("row")
    checked = check_rows(whole.with_columns(place="row"), today, written=False)
    broken = checked.broken.rename({"place": "row"})
    return mapped.with_row_index("row").join(broken, on="row", how="left", maintain_order="left").drop("row")


def turned(frame: pl.DataFrame) -> pl.DataFrame:
    """A few rows of many columns as text, with the columns one under the other.

    >>> turned(pl.DataFrame({"make": ["Corvane"], "options": [["overdrive", "tow_bar"]]})).rows()
    [('make', 'Corvane'), ('options', 'overdrive;tow_bar')]
    """
    text = frame.select(raw_text(name, kind) for name, kind in frame.schema.items())
    names = [f"row {place}" for place in range(1, frame.height + 1)]
    return text.transpose(include_header=True, header_name="column", column_names=names)


def open_questions(text: str) -> list[str]:
    """What the text of a mapping file still asks: whoever settles a question takes its line out.

    >>> open_questions('# To settle: [units] odometer_km: say km or miles\\nsource = "hall"')
    ['[units] odometer_km: say km or miles']
    """
    return [line.removeprefix(_ASKED) for line in text.splitlines() if line.startswith(_ASKED)]


def _option_columns(text: pl.DataFrame) -> dict[str, str]:
    """Yes/no columns headed like an option."""
    codes = {code.replace("_", " "): code for code in OPTION_CODES}
    found: dict[str, str] = {}
    for theirs in text.columns:
        likest = process.extractOne(plain(theirs), list(codes), scorer=fuzz.ratio, score_cutoff=NEAR)
        words = text[theirs].drop_nulls().str.strip_chars().str.to_lowercase().unique()
        if likest is not None and words.is_in([*yes_and_no()[0], *yes_and_no()[1], *not_known(), ""]).all():
            found.setdefault(codes[likest[0]], theirs)
    return found


def _constants(columns: dict[str, str], text: pl.DataFrame, questions: list[str]) -> dict[str, str]:
    """What the headings and the cells say of every row, and questions for what nothing says."""
    heading = columns.get("amount", "")
    priced = plain(heading)
    cells = text[heading].drop_nulls().unique().to_list() if heading in text.columns else []
    read = [found for found in map(read_money, cells) if found is not None]
    constants: dict[str, str] = {}
    if _HAMMER.search(priced):
        constants = {"price_basis": "hammer", "channel": "auction", "outcome": "sold"}
    elif _ASKING.search(priced):
        constants = {"price_basis": "asking", "outcome": "asking"}
    elif _ALL_IN.search(priced):
        constants = {"price_basis": "all-in"}
    if "outcome" not in constants and (
        _SOLD.search(priced) or _SOLD.search(plain(columns.get("event_date", "")))
    ):
        constants["outcome"] = "sold"
    said = {found.outcome for found in read}
    if "unsold" in said and None in said:
        constants.setdefault("outcome", "sold")
    currency = currency_of(heading)
    if currency is not None:
        constants["currency"] = currency
    constants = {ours: value for ours, value in constants.items() if ours not in columns}
    signed = [found.currency for found in read if found.currency is not None]
    every = bool(signed) and len(signed) == len([found for found in read if found.amount is not None])
    clear = every and all(SIGNS.get(sign, (sign,))[0] for sign in signed)
    for ours in (*REQUIRED, *MAY_BE_UNKNOWN):
        if ours == "price_basis" and constants.get(ours) == "hammer" and "premium" not in columns:
            questions.append(
                "[constants] price_basis: hammer prices need the buyer's premium, in a column or as "
                "[[premium]]; "
                f"say all-in where the prices hold it ({', '.join(PRICE_BASES)})"
            )
        if ours in columns or ours in constants or ours in _MADE or (ours == "currency" and clear):
            continue
        if CAR in columns and ours in ("make", "model", "year"):
            continue
        allowed = {"channel": CHANNELS, "outcome": OUTCOMES, "price_basis": PRICE_BASES}.get(ours)
        one_of = f" ({', '.join(allowed)})" if allowed is not None else ""
        blank = ", or leave it unknown" if ours in MAY_BE_UNKNOWN else ""
        seen = (
            f"; some cells say {', '.join(sorted(set(signed))[:4])}" if ours == "currency" and signed else ""
        )
        questions.append(
            f"[constants] {ours}: no column says it; give the one for every row{one_of}{blank}{seen}"
        )
    if "amount" not in columns:
        questions.append("[columns] amount: no column looks like a price")
    return constants


def _date_order(text: pl.DataFrame, columns: dict[str, str], questions: list[str]) -> str | None:
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
    orders = [order for order, read in share.items() if read == best]
    if best > 0 and len(orders) == 1:
        return orders[0]
    questions.append(
        f"[dates] order: dates such as {dates[0]!r} can be read in several orders; say which of them"
    )
    return None


def _decimal(text: pl.DataFrame, columns: dict[str, str]) -> str:
    """The decimal mark that more amounts are typed with."""
    amounts = [text[columns[ours]] for ours in MONEY_COLUMNS if columns.get(ours) in text.columns]
    if not amounts:
        return "."
    cells = pl.concat([series.alias("amount") for series in amounts]).drop_nulls()
    behind = {mark: cells.str.contains(rf"[0-9]{mark}[0-9]{{1,2}}([^0-9]|$)").sum() for mark in (r"\.", ",")}
    return "," if behind[","] > behind[r"\."] else "."


def _unit(columns: dict[str, str], text: pl.DataFrame, questions: list[str]) -> str:
    """The unit of the odometer, if its heading names one or its cells say theirs."""
    if "odometer_km" not in columns:
        return "km"
    header = plain(columns["odometer_km"])
    thousand = "thousand " if re.search(r"\b(000|000s|thousand|k|tsd|tkm)\b", header) else ""
    if re.search(r"\b(t?kms?|kilom\w*|chilom\w*|laufleistung)\b", header):
        return f"{thousand}km"
    if re.search(r"\b(miles?|mls)\b", header):
        return f"{thousand}miles"
    if re.search(r"\bmil(tal)?\b", header):
        return "mil"
    theirs = columns["odometer_km"]
    cells = text[theirs].drop_nulls().unique().to_list() if theirs in text.columns else []
    said = [found for found in (read_distance(cell) for cell in cells) if found is not None]
    if said and all(unit is not None for _, unit in said):
        return "km"
    questions.append(f"[units] odometer_km: {theirs!r} names no unit; say km or miles")
    return "km"


def _year_unit(columns: dict[str, str], text: pl.DataFrame) -> str:
    """Whether the column of the year holds ages."""
    theirs = columns.get("year", "")
    if not _AGES.search(plain(theirs)):
        return "year"
    cells = text[theirs].drop_nulls().str.strip_chars() if theirs in text.columns else pl.Series([""])
    return "age" if cells.str.contains(r"^[0-9]{1,3}\b").mean() or theirs not in text.columns else "year"


def _quoted(table: dict[str, str]) -> str:
    return ", ".join(map(repr, table.values()))


def _separator(cells: pl.Series) -> str:
    """The mark that parts packed options."""
    counts = {mark: cells.str.count_matches(mark, literal=True).sum() for mark in (";", ",", "|", "/", "+")}
    return max(counts, key=lambda mark: counts[mark])


def _words(text: pl.DataFrame, columns: dict[str, str], questions: list[str]) -> dict[str, dict[str, str]]:
    """Words of theirs that are near spellings of known ones; those that are not are asked."""
    words: dict[str, dict[str, str]] = {}
    for ours in WORD_COLUMNS:
        if ours == "country" or columns.get(ours) not in text.columns:
            continue
        known = known_words()[ours]
        cells = text[columns[ours]].drop_nulls().str.strip_chars().str.to_lowercase().unique().sort()
        unknown = cells.filter(~cells.is_in(list(known)) & (cells != "")).to_list()
        for word in unknown:
            likest = process.extractOne(word, list(known), scorer=fuzz.ratio, score_cutoff=NEAR)
            if likest is not None:
                words.setdefault(ours, {})[word] = known[likest[0]]
        open_words = [word for word in unknown if word not in words.get(ours, {})]
        if open_words:
            questions.append(f"[words.{ours}]: say what these mean: {', '.join(map(repr, open_words[:10]))}")
    return words
