"""A table's cells read as people write them: every column of ours by its kind, distinct cells once each.

What a cell itself says, its currency or its unit, goes before what is stated for the column or for every
row, and
is told. What cannot be read is left as it was, for the contract's check to name.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.intake.written.cars import CarNames, read_car
from pricing.intake.written.dates import read_date, read_serial
from pricing.intake.written.distances import read_distance
from pricing.intake.written.money import currency_named, meant, read_money
from pricing.intake.written.numbers import number
from pricing.intake.written.words import (
    WORD_COLUMNS,
    condition_text,
    known_words,
    not_known,
    word_text,
    yes_and_no,
)
from pricing.intake.written.years import read_year
from pricing.vocabulary import AMOUNT_UNITS, DISTANCE_UNITS, OUTCOMES, UNKNOWN_UNIT

MONEY_COLUMNS: Final = ("amount", "premium", "low_estimate", "high_estimate", "reserve", "highest_bid")
DATE_COLUMNS: Final = ("event_date", "listed_on")
SAID_OTHERWISE: Final = "said_otherwise"
"""Column of what cells said in place of what is stated for them, such as ``currency SEK``; absent where
none did."""

_NAMES: Final = ("make", "model")
_FREE: Final = ("variant", "chassis_number", "body_style", *_NAMES)
_PLAIN_MONEY: Final = r"^[0-9]+(\.[0-9]{1,2})?$"
_PLAIN_DATE: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
_PLAIN_YEAR: Final = r"^[0-9]{4}$"
_FOOTNOTES: Final = "*\u2020\u2021\u00a7"
_SERIAL: Final = r"^[0-9]{5}(\.0)?$"
_NO_UNIT: Final = " (unit not said)"
"""Behind the figures of an odometer that names no unit, which no check then takes for kilometres."""
_DASH: Final = "^(?:-{1,3}|[\u2013\u2014])$"
"""In place of the price of an auction: the lot did not sell; common practice, no source."""
_THOUSANDTHS: Final = r"^[0-9]{4,}[.,][0-9]{3}$"


@dataclass(frozen=True)
class Habits:
    """How a source writes, where its cells leave it open."""

    decimal: str = "."
    date_order: str | None = None
    """One of ``dates.ORDERS``; without it dates in figures alone are read only with the year in front."""
    odometer_unit: str = "km"
    """One of ``vocabulary.DISTANCE_UNITS``."""
    ages: bool = False
    """Bare figures of the year are the car's age at the event."""
    amount_unit: str = "one"
    """One of ``vocabulary.AMOUNT_UNITS``, of bare figures."""
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """By our column: their word, in lower case = ours."""
    yes: Sequence[str] = ()
    """Words for yes beside those that are generally understood."""
    for_all: Collection[str] = ()
    """Columns of ours that hold one value for every row."""


def as_written(rows: pl.DataFrame, habits: Habits = Habits()) -> pl.DataFrame:  # noqa: B008 - frozen
    """Columns of ours as text or typed, their text cells read as people write them.

    May add ``currency``, ``outcome``, ``price_basis``, ``highest_bid``, ``low_estimate`` and
    ``high_estimate`` out of
    what an amount says, ``date_precision``, ``notes`` and ``SAID_OTHERWISE``.

    >>> row = {"year": "c.1968", "amount": "SEK 45 000", "odometer_km": "54k miles", "currency": "GBP"}
    >>> read = as_written(pl.DataFrame([row]))
    >>> read.select("year", "amount", "odometer_km", "currency", "notes").row(0)
    ('1968', '45000', '86904.6', 'SEK', 'year as written: c.1968')
    >>> read[SAID_OTHERWISE].to_list()
    [['currency SEK', 'odometer in miles']]
    """
    table = _Table(rows, habits)
    table.words()
    table.money()
    table.asked()
    table.bids()
    table.distances()
    table.dates()
    table.years()
    table.scores()
    return table.read()


def with_cars(
    rows: pl.DataFrame, cells: pl.Series, names: CarNames, *, by_words: bool = False
) -> pl.DataFrame:
    """Make, model, variant and year of rows filled in from cells that say a whole car; what no name accounts
    for goes to the notes.

    >>> names = CarNames.of([("Wexcombe", "Sedge", "de luxe")])
    >>> cells = pl.Series(["1966 Wexcombe Sedge de luxe, rusty"])
    >>> with_cars(pl.DataFrame({"source": ["club"]}), cells, names).row(0)[1:]
    ('Wexcombe', 'Sedge', 'de luxe', '1966', 'car: rusty')
    """

    def read(text: str) -> tuple[Any, ...]:
        car = read_car(text, names, by_words=by_words)
        year = None if car.year is None else str(car.year)
        return (car.make, car.model, car.variant, year, None if car.rest is None else f"car: {car.rest}")

    parts = ("make", "model", "variant", "year")
    found = _by_distinct(cells, read, dict.fromkeys((*parts, "rest"), pl.String()))
    text = [name for name in parts if rows.schema.get(name, pl.String()) == pl.String]
    parsed = {name: pl.lit(found[name]) for name in text}
    held = [
        (pl.coalesce(pl.col(name), parsed[name]) if name in rows.columns else parsed[name]).alias(name)
        for name in text
    ]
    notes = [pl.col("notes").cast(pl.String)] if "notes" in rows.columns else []
    return rows.with_columns(*held, joined_notes([*notes, pl.lit(found["rest"])]))


class _Table:
    """The columns on their way, what was said otherwise, and what goes to the notes."""

    def __init__(self, rows: pl.DataFrame, habits: Habits) -> None:
        text = [name for name in rows.columns if rows.schema[name] == pl.String]
        self.rows = (
            rows.with_columns(pl.col(*_of(text, _FREE)).str.strip_chars()) if _of(text, _FREE) else rows
        )
        self.habits = habits
        self.otherwise: list[pl.Series] = []
        self.noted: list[pl.Series] = []

    def text(self, name: str) -> pl.Series | None:
        """A column of text, or None for one that is absent or typed."""
        if name not in self.rows.columns or self.rows.schema[name] != pl.String:
            return None
        return self.rows[name].str.strip_chars()

    def put(self, name: str, values: pl.Series | pl.Expr) -> None:
        self.rows = self.rows.with_columns(values.alias(name))

    def say(self, where: pl.Series, words: pl.Expr) -> None:
        """Keep, where it is so, that a cell said something otherwise."""
        where = where.fill_null(False)
        if where.any():
            told = self.rows.select(pl.when(pl.lit(where)).then(words)).to_series()
            self.otherwise.append(told)

    def note(self, name: str, where: pl.Series, cells: pl.Series) -> None:
        """Keep a cell as it was written, where its reading does not hold all of it."""
        where = where.fill_null(False)
        if where.any():
            label = name.replace("_", " ").replace(" km", "")
            noted = pl.select(
                pl.when(where).then(pl.lit(f"{label} as written: ") + pl.lit(cells))
            ).to_series()
            self.noted.append(noted)

    def words(self) -> None:
        """Closed lists, yes and no, and free columns that say that nothing is known."""
        plain = [word for word in not_known() if not word.isalpha()] + ["unknown"]
        unknown = {*plain, *(word.upper() for word in plain), "Unknown"}
        for name in _of(self.rows.columns, _FREE):
            cells = self.text(name)
            if cells is None:
                continue
            if any(cells.str.ends_with(mark).any() for mark in _FOOTNOTES):
                cells = cells.str.replace(rf"\s*[{_FOOTNOTES}]+$", "")
                self.put(name, cells)
            if cells.is_in(list(unknown)).any():
                self.put(name, cells.set(cells.is_in(list(unknown)), None))
        for name in _of(self.rows.columns, (*WORD_COLUMNS, "history_file")):
            cells = self.text(name)
            if cells is None:
                continue
            cells = _known(cells)
            if name == "history_file":
                yes, no = yes_and_no()
                said = {**dict.fromkeys((*yes, *self.habits.yes), "yes"), **dict.fromkeys(no, "no")}
                read = word_text(pl.col("cell"), said)
            else:
                own = self.habits.words.get(name, {})
                if name == "condition_band":
                    read = condition_text(pl.col("cell"), own)
                else:
                    read = word_text(pl.col("cell"), {**known_words()[name], **own})
            table = cells.unique().alias("cell").to_frame().with_columns(read=read)
            found = (
                cells.alias("cell")
                .to_frame()
                .join(table, on="cell", how="left", maintain_order="left", nulls_equal=True)["read"]
            )
            self.put(name, found)
            if name == "outcome":
                self._bids_told(found)

    def _bids_told(self, cells: pl.Series) -> None:
        """Of a cell such as ``Not sold - bid to £5,800`` the outcome, and the bid for the column of bids."""
        others = [text for text in cells.drop_nulls().unique() if text not in OUTCOMES]
        told = {text: money for text in others if (money := read_money(text)) is not None and money.outcome}
        bids = [text for text, money in told.items() if money.highest_bid is not None]
        if bids:
            self._fill("highest_bid", cells.set(~cells.is_in(bids), None))
        if told:
            self.put("outcome", cells.replace({text: money.outcome for text, money in told.items()}))

    def money(self) -> None:
        """Amounts, and what an amount says beside: currency, outcome, highest bid, a range."""
        stated = self.text("currency")
        if stated is not None:
            currencies = {text: currency_named(text) for text in stated.drop_nulls().unique()}
            stated = stated.replace_strict(currencies, default=None, return_dtype=pl.String).fill_null(stated)
            stated = stated.set(stated == "", None)
        nothing = pl.Series("currency", [None], pl.String).new_from_index(0, self.rows.height)
        own = nothing
        read: dict[str, pl.DataFrame] = {}
        for name in _of(self.rows.columns, MONEY_COLUMNS):
            cells = self.text(name)
            if cells is None and self.habits.amount_unit != "one" and self.rows.schema[name].is_numeric():
                cells = self.rows[name].cast(pl.String)
            if cells is None:
                continue
            amounts = self._money(name, _known(cells))
            if name == "amount":
                self._dashes(cells)
            read[name] = amounts
            if name != "premium":
                own = own.to_frame("own").select(pl.coalesce("own", amounts["currency"])).to_series()
        if read or stated is not None:
            self._currency(own, nothing if stated is None else stated)
        if not read:
            return
        currency = self.rows["currency"] if "currency" in self.rows.columns else nothing
        for name, amounts in read.items():
            self._place(name, amounts, currency)

    def _dashes(self, cells: pl.Series) -> None:
        """A dash for the price of an auction's lot where all are stated to be sold: it was not."""
        if "outcome" not in self.habits.for_all or self.rows.schema.get("outcome") != pl.String:
            return
        at_auction = [
            self.rows[name] == word
            for name, word in (("price_basis", "hammer"), ("channel", "auction"))
            if self.rows.schema.get(name) == pl.String
        ]
        for of_auction in at_auction:
            unsold = cells.str.contains(_DASH) & of_auction & (self.rows["outcome"] == "sold")
            self.say(unsold, pl.lit("outcome unsold"))
            self.put("outcome", self.rows["outcome"].set(unsold.fill_null(False), "unsold"))

    def asked(self) -> None:
        """The price of an offer is what was asked, whatever basis is stated for every row."""
        if "price_basis" not in self.habits.for_all or self.rows.schema.get("outcome") != pl.String:
            return
        offered = (self.rows["outcome"] == "asking") & (self.rows["price_basis"] != "asking")
        self.say(offered, pl.lit("price basis asking"))
        self.put("price_basis", self.rows["price_basis"].set(offered.fill_null(False), "asking"))

    def bids(self) -> None:
        """The price of a lot that did not sell, in hammer terms, is the highest bid."""
        if not {"outcome", "amount", "price_basis"} <= set(self.rows.columns):
            return
        if any(self.rows.schema[name] != pl.String for name in ("outcome", "amount", "price_basis")):
            return
        rows = self.rows
        offered = (
            (rows["outcome"] == "unsold") & (rows["price_basis"] == "hammer") & rows["amount"].is_not_null()
        )
        offered = offered.fill_null(False)
        if offered.any():
            self._fill("highest_bid", rows["amount"].set(~offered, None))
            same = self.rows.schema["highest_bid"] == pl.String
            held = (self.rows["highest_bid"] == rows["amount"]) if same else ~offered
            self.put("amount", rows["amount"].set((offered & held).fill_null(False), None))

    def _money(self, name: str, cells: pl.Series) -> pl.DataFrame:
        grouped = not cells.str.contains(_THOUSANDTHS).any()

        def read(text: str) -> tuple[Any, ...] | None:
            money = read_money(text, self.habits.decimal, grouped=grouped)
            if money is None:
                return None
            value = money.highest_bid if name == "highest_bid" and money.amount is None else money.amount
            if money.plain and self.habits.amount_unit != "one":
                scale = Decimal(str(AMOUNT_UNITS[self.habits.amount_unit]))
                value = None if value is None else value * scale
            sums = (value, money.low, money.high, None if name == "highest_bid" else money.highest_bid)
            return (
                *(None if amount is None else f"{amount:f}" for amount in sums),
                money.currency, money.outcome, money.firm, money.more, True,
            )  # fmt: skip

        kinds = {
            **dict.fromkeys(("value", "low", "high", "bid", "currency", "outcome"), pl.String()),
            **dict.fromkeys(("firm", "more", "read"), pl.Boolean()),
        }
        plain = _PLAIN_MONEY if self.habits.amount_unit == "one" else None
        return _by_distinct(cells, read, kinds, plain=plain)

    def _currency(self, own: pl.Series, stated: pl.Series) -> None:
        pairs = pl.DataFrame({"own": own, "stated": stated})
        met = pairs.unique(maintain_order=True)
        meanings = [meant(*pair) for pair in met.iter_rows()]
        met = met.with_columns(
            currency=pl.Series([code for code, _ in meanings], dtype=pl.String),
            differs=pl.Series([differs for _, differs in meanings], dtype=pl.Boolean),
        )
        resolved = pairs.join(met, on=["own", "stated"], how="left", maintain_order="left", nulls_equal=True)
        self.put("currency", resolved["currency"])
        words = pl.lit("currency ") + pl.coalesce("currency", pl.lit(own))
        self.say(resolved["differs"], words)

    def _place(self, name: str, found: pl.DataFrame, currency: pl.Series) -> None:
        """Put what the cells of a column of money say where it belongs."""
        cells = found["cell"]
        read = found["read"].fill_null(False)
        foreign = pl.Series([False]).new_from_index(0, len(cells))
        if name != "amount" and found["currency"].null_count() < len(cells):
            pairs = pl.DataFrame({"own": found["currency"], "row": currency})
            met = pairs.unique()
            met = met.with_columns(
                foreign=pl.Series([row is not None and meant(sign, row)[1] for sign, row in met.iter_rows()])
            )
            foreign = pairs.join(met, on=["own", "row"], how="left", maintain_order="left", nulls_equal=True)[
                "foreign"
            ]
            foreign = foreign.fill_null(False)
        value = found["value"].set(foreign, None)
        self.put(name, value.zip_with(read | cells.is_null(), cells))
        self.note(name, (found["more"] & read) | foreign, cells)
        if name not in ("amount", "low_estimate", "high_estimate"):
            return
        for part, column in (("low", "low_estimate"), ("high", "high_estimate"), ("bid", "highest_bid")):
            if found[part].null_count() < len(cells):
                self._fill(column, found[part].set(foreign, None))
        if name == "amount" and found["outcome"].null_count() < len(cells):
            self._outcome(found)

    def _outcome(self, found: pl.DataFrame) -> None:
        outcome = found["outcome"]
        firm = outcome.is_not_null() & found["firm"].fill_null(False)
        if "outcome" in self.habits.for_all or "outcome" not in self.rows.columns:
            stated = self.rows["outcome"] if "outcome" in self.rows.columns else outcome.clear(len(outcome))
            self.say(firm & (stated != outcome), pl.lit("outcome ") + pl.lit(outcome))
            self.put("outcome", outcome.zip_with(firm | stated.is_null(), stated))
        elif self.rows.schema["outcome"] == pl.String:
            self._fill("outcome", outcome)
        asked = (outcome == "asking") & (self.rows["outcome"] == "asking")
        self._fill("price_basis", outcome.set(~asked.fill_null(False), None))

    def _put_read(self, name: str, readings: pl.DataFrame, cells: pl.Series) -> None:
        """Put what cells were read as; one that could not be read stays as it is."""
        self.put(name, readings["value"].zip_with(readings["read"].fill_null(False) | cells.is_null(), cells))

    def _fill(self, name: str, values: pl.Series) -> None:
        """Fill the blanks of a column of text."""
        if name not in self.rows.columns:
            self.put(name, values.cast(pl.String))
        elif self.rows.schema[name] == pl.String:
            held = self.rows[name]
            self.put(name, held.zip_with(held.is_not_null() & (held != ""), values))

    def distances(self) -> None:
        """The odometer in kilometres."""
        name, unit = "odometer_km", self.habits.odometer_unit
        if name not in self.rows.columns:
            return
        cells = self.text(name)
        if cells is None:
            factor = DISTANCE_UNITS.get(unit)
            if factor is None:
                self.put(name, self.rows[name].cast(pl.String) + _NO_UNIT)
            elif unit != "km" and self.rows.schema[name].is_numeric():
                self.put(name, (self.rows[name].cast(pl.Float64) * factor).round(1).cast(pl.String))
            return
        cells = _known(cells)

        def read(text: str) -> tuple[Any, ...] | None:
            distance = read_distance(text, unit, self.habits.decimal)
            return None if distance is None else (f"{distance[0].normalize():f}", distance[1], True)

        kinds = {"value": pl.String(), "unit": pl.String(), "read": pl.Boolean()}
        plain = _PLAIN_MONEY if unit == "km" else None
        distances = _by_distinct(cells, read, kinds, plain=plain)
        self._put_read(name, distances, cells)
        if unit == UNKNOWN_UNIT:
            bare = self.rows[name].str.contains(r"^[0-9]+([.,][0-9]*)?$") & distances["read"].is_null()
            self.put(name, self.rows[name].zip_with(~bare.fill_null(False), self.rows[name] + _NO_UNIT))
        base = unit.removeprefix("thousand ")
        if unit != UNKNOWN_UNIT:
            self.say(distances["unit"] != base, pl.lit("odometer in ") + pl.lit(distances["unit"]))

    def dates(self) -> None:
        """Days, and how precisely the event's day is known."""
        for name in _of(self.rows.columns, DATE_COLUMNS):
            cells = self.text(name)
            if cells is None:
                continue
            cells = _known(cells)
            first = cells.drop_nulls().head(1_000)
            counted = len(first) > 0 and int(first.str.contains(_SERIAL).sum()) >= 0.9 * len(first)

            def read(text: str, counted: bool = counted) -> tuple[Any, ...] | None:
                day = (read_serial(text) if counted else None) or read_date(text, self.habits.date_order)
                return None if day is None else (day[0].isoformat(), day[1], True)

            kinds = {"value": pl.String(), "precision": pl.String(), "read": pl.Boolean()}
            days = _by_distinct(cells, read, kinds, plain=_PLAIN_DATE)
            whole = days["precision"].fill_null("day") == "day"
            if name == "listed_on":  # a span has no first day
                done = (days["read"].fill_null(False) & whole) | cells.is_null()
                self.put(name, days["value"].zip_with(done, cells))
                continue
            self._put_read(name, days, cells)
            if not whole.all():
                spans = days["precision"].set(whole, None)
                self.put("date_precision", spans)

    def years(self) -> None:
        """Model years, out of ages where they are that."""
        if "year" not in self.rows.columns:
            return
        cells = self.text("year")
        if cells is None:
            if not self.habits.ages or not self.rows.schema["year"].is_numeric():
                return
            cells = self.rows["year"].cast(pl.Int64, strict=False).cast(pl.String)
        cells = _known(cells).str.replace(r"^([0-9]{4})\.0$", "$1")
        if cells.str.contains(_PLAIN_YEAR).all():
            self.put("year", cells)
            return
        day = self.rows["event_date"] if "event_date" in self.rows.columns else None
        if day is not None and day.dtype == pl.String:
            day = day.str.to_date("%Y-%m-%d", strict=False)
        known = day is not None and day.dtype in (pl.Date, pl.Datetime)
        years = day.dt.year() if known and day is not None else pl.Series([None], dtype=pl.Int32)
        pairs = pl.DataFrame({"cell": cells}).with_columns(
            event=years.cast(pl.String) if known else pl.lit(None, pl.String)
        ).with_columns(asked=pl.col("cell") + "\x1f" + pl.col("event").fill_null(""))  # fmt: skip

        def read(text: str) -> tuple[Any, ...] | None:
            cell, _, event = text.rpartition("\x1f")
            year = read_year(cell, int(event) if event else None, ages=self.habits.ages)
            return None if year is None else (str(year), True)

        years_read = _by_distinct(pairs["asked"], read, {"value": pl.String(), "read": pl.Boolean()})
        done = years_read["read"].fill_null(False)
        self._put_read("year", years_read, cells)
        self.note("year", done & ~cells.str.contains(_PLAIN_YEAR), cells)

    def scores(self) -> None:
        """Condition scores out of a hundred."""
        cells = self.text("condition_score")
        if cells is None:
            return
        cells = _known(cells)

        def read(text: str) -> tuple[Any, ...] | None:
            plain = re.sub(
                r"\s*(?:/\s*100|%|points?|pts\.?|punkte|poäng|von 100|of 100)$", "", text, flags=re.I
            )
            score = number(plain, self.habits.decimal, grouped=False)
            return None if score is None else (f"{score:f}", True)

        kinds = {"value": pl.String(), "read": pl.Boolean()}
        scores = _by_distinct(cells, read, kinds, plain=_PLAIN_MONEY)
        self._put_read("condition_score", scores, cells)

    def read(self) -> pl.DataFrame:
        if self.otherwise:
            said = pl.concat_list(*self.otherwise).list.drop_nulls()
            self.rows = self.rows.with_columns(said.alias(SAID_OTHERWISE))
        if self.noted:
            held = [pl.col("notes").cast(pl.String)] if "notes" in self.rows.columns else []
            self.rows = self.rows.with_columns(joined_notes([*held, *map(pl.lit, self.noted)]))
        return self.rows


def joined_notes(parts: Sequence[pl.Expr]) -> pl.Expr:
    """Notes one after the other, null where there are none."""
    text = pl.concat_str(parts, separator="; ", ignore_nulls=True)
    return pl.when(text != "").then(text).alias("notes")


def _known(cells: pl.Series) -> pl.Series:
    """Cells without those that say that nothing is known."""
    short = cells.filter(cells.str.len_bytes() <= 20).unique()
    words = not_known()
    blank = [text for text in short.drop_nulls() if text.lower() in words or text == ""]
    return cells.set(cells.is_in(blank), None) if blank else cells


def _by_distinct(
    cells: pl.Series,
    read: Callable[[str], tuple[Any, ...] | None],
    kinds: dict[str, pl.DataType],
    *,
    plain: str | None = None,
) -> pl.DataFrame:
    """What each cell reads as, in columns of ``kinds`` after ``cell``; every distinct cell is read once,
    and those
    that are ``plain`` already not at all."""
    frame = cells.alias("cell").to_frame()
    named = frame.filter(~pl.col("cell").str.contains(plain)) if plain is not None else frame
    distinct = named["cell"].drop_nulls().unique().to_list()
    readings = [(text, *row) for text in distinct if (row := read(text)) is not None]
    table = pl.DataFrame(readings, schema={"cell": pl.String, **kinds}, orient="row")
    read_out = frame.join(table, on="cell", how="left", maintain_order="left")
    if plain is None:
        return read_out
    as_it_is = pl.col("cell").str.contains(plain)
    return read_out.with_columns(
        pl.when(as_it_is).then("cell").otherwise("value").alias("value"),
        pl.when(as_it_is).then(True).otherwise("read").alias("read"),
    )


def _of(columns: Collection[str], wanted: Collection[str]) -> list[str]:
    return [name for name in wanted if name in columns]
