"""A mapping proposed for a table: a person reads it, settles what it asks, and keeps it as the source's own.

Columns are recognised by their headers (``headers.toml``, and near spellings), then by what their cells look
like. Nothing that the table leaves open is guessed: it is asked.
"""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Final

import polars as pl
from rapidfuzz import fuzz, process

from pricing.intake.mapping import DATE_COLUMNS, MONEY_COLUMNS, WORD_COLUMNS, YES, Mapping, known_words
from pricing.intake.mapping_files import mapping_text
from pricing.intake.texts import DATE_ORDERS, currency_in, date_text, money_text, word_text
from pricing.money.currencies import CURRENCIES
from pricing.records.cells import raw_text
from pricing.records.contract import COUNTRIES, REQUIRED, check
from pricing.vocabulary import CHANNELS, CONDITION_BANDS, OPTION_CODES, OUTCOMES, PRICE_BASES

NEAR_HEADER: Final = 86.0
"""Likeness (0-100) from which a header is taken for a near spelling of a known one."""

SAMPLE: Final = 5_000
"""Rows that a proposal looks at."""

_ASKED: Final = "# To settle: "
_NO: Final = ("no", "n", "0", "false", "")
_MADE: Final = ("record_id", "batch_id", "source", "source_ref")


@dataclass(frozen=True)
class Proposal:
    """A mapping, and what a person has to settle before it is right."""

    mapping: Mapping
    questions: tuple[str, ...]

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
    >>> proposal.questions[0]
    '[constants] country: no column says it; give the one for every row'
    """
    table = frame.drop("row_number", strict=False).head(SAMPLE)
    text = table.select(pl.col(pl.String))
    columns = _by_header(table.columns)
    options = _option_columns(text, columns)
    columns |= _by_cells(text.drop(options.values()), columns)
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
        columns=columns,
        constants=constants,
        date_order=_date_order(text, columns, questions),
        decimal=_decimal(text, columns),
        odometer_unit=_unit(columns, questions),
        option_columns=options,
        packed_options=packed,
        option_separator=";" if packed is None or packed not in text.columns else _separator(text[packed]),
    )
    return Proposal(replace(mapping, words=_words(text, columns, questions)), tuple(questions))


def preview(mapping: Mapping, frame: pl.DataFrame, today: date, rows: int = 8) -> pl.DataFrame:
    """The first rows of a table as the mapping would have them land, with the rules that each one would
    break."""
    mapped = mapping.apply(frame.head(rows))
    absent = [pl.lit(None, dtype=pl.String).alias(name) for name in REQUIRED if name not in mapped.columns]
    made = [pl.lit("-").alias(name) for name in _MADE if name not in mapped.columns]
    whole = mapped.with_columns(absent).with_columns(made).with_row_index("row")
    checked = check(whole, today)
    broken = checked.rejected.select("row", "broken_rules")
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


@cache
def _headers() -> dict[str, str]:
    """Known headers and the column of ours each one means."""
    table = tomllib.loads(files("pricing.intake").joinpath("headers.toml").read_text(encoding="utf-8"))
    return {header: ours for ours, headers in table.items() for header in [ours.replace("_", " "), *headers]}


def _plain(header: str) -> str:
    """A header in lower case without punctuation."""
    return " ".join(re.sub(r"[\W_]+", " ", header.lower()).split())


def _by_header(headers: Sequence[str]) -> dict[str, str]:
    """Ours = theirs, each taken once, the surest first."""
    known = list(_headers())
    scored = []
    for header in headers:
        likest = process.extractOne(_plain(header), known, scorer=fuzz.ratio, score_cutoff=NEAR_HEADER)
        if likest is not None:
            scored.append((likest[1], header, _headers()[likest[0]]))
    found: dict[str, str] = {}
    for _, header, ours in sorted(scored, key=lambda entry: -entry[0]):
        if ours not in found and header not in found.values():
            found[ours] = header
    return found


def _by_cells(text: pl.DataFrame, found: dict[str, str]) -> dict[str, str]:
    """Columns that no header tells, by what nearly all of their cells are."""
    signs = {
        "currency": lambda cell: cell.is_in(sorted(CURRENCIES)),
        "country": lambda cell: cell.is_in(sorted(COUNTRIES)),
        "amount": lambda cell: currency_in(cell).is_not_null() & (money_text(cell) != cell),
        "event_date": lambda cell: cell.str.contains(r"^[0-9]{1,4}[-/.][0-9]{1,2}[-/.][0-9]{1,4}$"),
        "year": lambda cell: cell.str.contains(r"^(18[89]|19[0-9]|20[0-2])[0-9]$"),
        "condition_band": lambda cell: _is_word("condition_band", cell, CONDITION_BANDS),
        "outcome": lambda cell: _is_word("outcome", cell, OUTCOMES),
        "channel": lambda cell: _is_word("channel", cell, CHANNELS),
    }
    taken = set(found.values())
    more: dict[str, str] = {}
    for ours, sign in signs.items():
        for theirs in text.columns:
            if ours in found or ours in more or theirs in taken:
                continue
            share = text.select(sign(pl.col(theirs).str.strip_chars()).mean()).item()
            if share is not None and share >= 0.95:
                more[ours] = theirs
                taken.add(theirs)
    return more


def _is_word(ours: str, cell: pl.Expr, allowed: tuple[str, ...]) -> pl.Expr:
    """Whether a cell says, in words that are understood, one of a closed list."""
    return word_text(cell, known_words()[ours]).is_in(allowed)


def _option_columns(text: pl.DataFrame, columns: dict[str, str]) -> dict[str, str]:
    """Yes/no columns headed like an option."""
    codes = {code.replace("_", " "): code for code in OPTION_CODES}
    found: dict[str, str] = {}
    for theirs in text.columns:
        if theirs in columns.values():
            continue
        likest = process.extractOne(_plain(theirs), list(codes), scorer=fuzz.ratio, score_cutoff=NEAR_HEADER)
        words = text[theirs].drop_nulls().str.strip_chars().str.to_lowercase().unique()
        if likest is not None and words.is_in([*YES, *_NO]).all():
            found.setdefault(codes[likest[0]], theirs)
    return found


def _constants(columns: dict[str, str], text: pl.DataFrame, questions: list[str]) -> dict[str, str]:
    """What the headers say of every row, and questions for what nothing says."""
    priced = _plain(columns.get("amount", ""))
    constants: dict[str, str] = {}
    if "hammer" in priced or "zuschlag" in priced:
        constants = {"price_basis": "hammer", "channel": "auction"}
    elif "asking" in priced:
        constants = {"price_basis": "asking", "outcome": "asking"}
    elif priced in ("sold for", "price paid"):
        constants = {"outcome": "sold"}
    constants = {ours: value for ours, value in constants.items() if ours not in columns}
    amount = columns.get("amount")
    signed = (
        amount in text.columns and text.select(currency_in(pl.col(amount)).is_not_null().mean()).item() == 1
    )
    for ours in REQUIRED:
        if ours in columns or ours in constants or ours in _MADE or (ours == "currency" and signed):
            continue
        allowed = {"channel": CHANNELS, "outcome": OUTCOMES, "price_basis": PRICE_BASES}.get(ours)
        one_of = f" ({', '.join(allowed)})" if allowed is not None else ""
        questions.append(f"[constants] {ours}: no column says it; give the one for every row{one_of}")
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
    frame = dates.to_frame("date")
    share = {
        order: frame.select(date_text(pl.col("date"), order).str.contains(iso).mean()).item()
        for order in DATE_ORDERS
    }
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
    frame = pl.concat([series.alias("amount") for series in amounts]).drop_nulls().to_frame()
    good = {
        mark: frame.select(
            money_text(pl.col("amount"), mark).str.contains(r"^-?[0-9]+(\.[0-9]{1,2})?$").sum()
        ).item()
        for mark in (".", ",")
    }
    return "," if good[","] > good["."] else "."


def _unit(columns: dict[str, str], questions: list[str]) -> str:
    """The unit of the odometer, if its header names one."""
    if "odometer_km" not in columns:
        return "km"
    header = _plain(columns["odometer_km"])
    thousand = "thousand " if re.search(r"\b(000|thousand|k)\b", header) else ""
    if re.search(r"\b(km|kilomet\w*)\b", header):
        return f"{thousand}km"
    if re.search(r"\bmiles?\b", header):
        return f"{thousand}miles"
    questions.append(f"[units] odometer_km: {columns['odometer_km']!r} names no unit; say km or miles")
    return "km"


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
            likest = process.extractOne(word, list(known), scorer=fuzz.ratio, score_cutoff=NEAR_HEADER)
            if likest is not None:
                words.setdefault(ours, {})[word] = known[likest[0]]
        open_words = [word for word in unknown if word not in words.get(ours, {})]
        if open_words:
            questions.append(f"[words.{ours}]: say what these mean: {', '.join(map(repr, open_words[:10]))}")
    return words
