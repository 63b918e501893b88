"""A table's cells read as people write them: every column of ours by its kind, distinct cells once each.

What a cell itself says, its currency or its unit, goes before what is stated for the column or for every
row, and is told. What cannot be read is left as it was, for the contract's check to name.
"""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.intake.written.cars import CarNames, read_car
from pricing.intake.written.dates import read_date, read_serial, read_year
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
from pricing.vocabulary import AMOUNT_UNITS, DISTANCE_UNITS, OUTCOMES, UNKNOWN_UNIT

MONEY_COLUMNS: Final = ("amount", "premium", "low_estimate", "high_estimate", "reserve", "highest_bid")
DATE_COLUMNS: Final = ("event_date", "listed_on")
YEAR_UNITS: Final = ("year", "age")
"""What the column of the model year holds: the year, or the car's age in years at the event."""

SAID_OTHERWISE: Final = "said_otherwise"
"""Column of what cells said in place of what is stated for them, such as ``currency SEK``; absent where
none did."""

_FREE: Final = ("variant", "chassis_number", "body_style", "make", "model")
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
_OF_A_HUNDRED: Final = re.compile(
    r"\s*(?:/\s*100|%|points?|pts\.?|punkte|poäng|von 100|of 100)$", re.IGNORECASE
)
_FLAGS: Final = ("firm", "more", "read")


@dataclass(frozen=True, kw_only=True)
class Habits:
    """How a source writes, where its cells leave it open."""

    decimal: str = "."
    date_order: str | None = None
    """One of ``dates.ORDERS``; without it dates in figures alone are read only with the year in front."""
    odometer_unit: str = "km"
    """One of ``vocabulary.DISTANCE_UNITS``, or ``unknown``: bare figures are then left unread."""
    amount_unit: str = "one"
    """One of ``vocabulary.AMOUNT_UNITS``, of amounts in bare figures."""
    year_unit: str = "year"
    """One of ``YEAR_UNITS``."""
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """By our column: their word, in lower case = ours. Goes before the words that are generally
    understood."""
    yes: tuple[str, ...] = ()
    """Words for yes beside those that are generally understood."""


def as_written(
    rows: pl.DataFrame,
    habits: Habits = Habits(),  # noqa: B008 - frozen
    *,
    for_all: Collection[str] = (),
) -> pl.DataFrame:
    """Columns of ours as text or typed, their text cells read as people write them; ``for_all`` names those
    that hold one value for every row.

    May add ``currency``, ``outcome``, ``price_basis``, ``highest_bid``, ``low_estimate`` and
    ``high_estimate`` out of what an amount says, ``date_precision``, ``notes`` and ``SAID_OTHERWISE``.

    >>> row = {"year": "c.1968", "amount": "SEK 45 000", "odometer_km": "54k miles", "currency": "GBP"}
    >>> read = as_written(pl.DataFrame([row]))
    >>> read.select("year", "amount", "odometer_km", "currency", "notes").row(0)
    ('1968', '45000', '86904.6', 'SEK', 'year as written: c.1968')
    >>> read[SAID_OTHERWISE].to_list()
    [['currency SEK', 'odometer in miles']]
    """
    table = _Table(rows, habits, for_all)
    table.words()
    table.money()
    table.asking_prices()
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

    def read(text: str) -> tuple[str | None, ...]:
        car = read_car(text, names, by_words=by_words)
        year = None if car.year is None else str(car.year)
        return car.make, car.model, car.variant, year, None if car.rest is None else f"car: {car.rest}"

    parts = ("make", "model", "variant", "year")
    cars = _by_distinct(cells, read, (*parts, "rest"))
    filled = [
        (pl.coalesce(pl.col(name), cars[name]) if name in rows.columns else pl.lit(cars[name])).alias(name)
        for name in parts
        if rows.schema.get(name, pl.String()) == pl.String
    ]
    return _with_notes(rows.with_columns(filled), [cars["rest"]])


class _Table:
    """The columns on their way, what was said otherwise, and what goes to the notes."""

    def __init__(self, rows: pl.DataFrame, habits: Habits, for_all: Collection[str]) -> None:
        self.rows = rows
        self.habits = habits
        self.for_all = for_all
        self.otherwise: list[pl.Series] = []
        self.noted: list[pl.Series] = []

    def is_text(self, *names: str) -> bool:
        """Whether there are such columns, all of text."""
        return all(self.rows.schema.get(name) == pl.String for name in names)

    def text(self, *names: str) -> Iterator[tuple[str, pl.Series]]:
        """The name and the cells of each of the columns that is there as text."""
        for name in filter(self.is_text, names):
            yield name, self.rows[name].str.strip_chars()

    def known(self, *names: str) -> Iterator[tuple[str, pl.Series]]:
        """As ``text``, without the cells that say that nothing is known."""
        for name, cells in self.text(*names):
            yield name, _known(cells)

    def put(self, name: str, values: pl.Series) -> None:
        self.rows = self.rows.with_columns(values.alias(name))

    def put_read(self, name: str, values: pl.Series, is_read: pl.Series, cells: pl.Series) -> None:
        """Put what cells were read as; one that could not be read stays as it is."""
        self.put(name, values.zip_with(is_read | cells.is_null(), cells))

    def fill(self, name: str, values: pl.Series) -> None:
        """Fill the blanks of a column of text."""
        if name not in self.rows.columns:
            self.put(name, values.cast(pl.String))
        elif self.is_text(name):
            cells = self.rows[name]
            self.put(name, cells.zip_with(cells.is_not_null() & (cells != ""), values))

    def say(self, where: pl.Series, words: pl.Expr) -> None:
        """Keep, where it is so, that a cell said something otherwise."""
        where = where.fill_null(False)
        if where.any():
            self.otherwise.append(self.rows.select(pl.when(pl.lit(where)).then(words)).to_series())

    def note(self, name: str, where: pl.Series, cells: pl.Series) -> None:
        """Keep a cell as it was written, where its reading does not hold all of it."""
        where = where.fill_null(False)
        if where.any():
            label = name.replace("_", " ").replace(" km", "")
            note = pl.when(where).then(pl.lit(f"{label} as written: ") + pl.lit(cells))
            self.noted.append(pl.select(note).to_series())

    def words(self) -> None:
        """Closed lists, yes and no, and free columns that say that nothing is known."""
        plain = [word for word in not_known() if not word.isalpha()] + ["unknown"]
        unknown = [*plain, *(word.upper() for word in plain), "Unknown"]
        for name, cells in self.text(*_FREE):
            if any(cells.str.ends_with(mark).any() for mark in _FOOTNOTES):
                cells = cells.str.replace(rf"\s*[{_FOOTNOTES}]+$", "")
            blank = cells.is_in(unknown)
            self.put(name, cells.set(blank, None) if blank.any() else cells)
        for name, cells in self.known(*WORD_COLUMNS, "history_file"):
            words = self.habits.words.get(name, {})
            if name == "history_file":
                yes, no = yes_and_no()
                words = {**dict.fromkeys((*yes, *self.habits.yes), "yes"), **dict.fromkeys(no, "no")}
            elif name != "condition_band":
                words = {**known_words()[name], **words}
            read = condition_text if name == "condition_band" else word_text
            frame = cells.to_frame("cell")
            table = frame.unique().with_columns(read=read(pl.col("cell"), words))
            meanings = frame.join(table, on="cell", how="left", maintain_order="left", nulls_equal=True)
            self.put(name, meanings["read"])
            if name == "outcome":
                self._bids_of_outcomes(self.rows[name])

    def _bids_of_outcomes(self, cells: pl.Series) -> None:
        """Of a cell such as ``Not sold - bid to £5,800`` the outcome, and the bid for the column of bids."""
        others = [text for text in cells.drop_nulls().unique() if text not in OUTCOMES]
        read = {text: money for text in others if (money := read_money(text)) is not None and money.outcome}
        bids = [text for text, money in read.items() if money.highest_bid is not None]
        if bids:
            self.fill("highest_bid", cells.set(~cells.is_in(bids), None))
        if read:
            self.put("outcome", cells.replace({text: money.outcome for text, money in read.items()}))

    def money(self) -> None:
        """Amounts, and what an amount says beside: currency, outcome, highest bid, a range."""
        nothing = pl.Series("currency", [None], pl.String).new_from_index(0, self.rows.height)
        own = stated = nothing
        for _, stated in self.text("currency"):
            currencies = {text: currency_named(text) for text in stated.drop_nulls().unique()}
            stated = stated.replace_strict(currencies, default=None, return_dtype=pl.String).fill_null(stated)
            stated = stated.set(stated == "", None)
        read: dict[str, pl.DataFrame] = {}
        for name in _of(self.rows.columns, MONEY_COLUMNS):
            if self.is_text(name):
                cells = self.rows[name].str.strip_chars()
            elif self.habits.amount_unit != "one" and self.rows.schema[name].is_numeric():
                cells = self.rows[name].cast(pl.String)
            else:
                continue
            read[name] = self._amounts(name, _known(cells))
            if name == "amount":
                self._dashes(cells)
            if name != "premium":
                own = own.to_frame("own").select(pl.coalesce("own", read[name]["currency"])).to_series()
        if read or self.is_text("currency"):
            meanings = _meant(own, stated)
            self.put("currency", meanings["currency"])
            self.say(meanings["differs"], pl.lit("currency ") + pl.coalesce("currency", pl.lit(own)))
        for name, amounts in read.items():
            self._place(name, amounts, self.rows["currency"])

    def _dashes(self, cells: pl.Series) -> None:
        """A dash for the price of an auction's lot where all are stated to be sold: it was not."""
        if "outcome" not in self.for_all or not self.is_text("outcome"):
            return
        for name, word in (("price_basis", "hammer"), ("channel", "auction")):
            if self.is_text(name):
                at_auction = (self.rows[name] == word) & (self.rows["outcome"] == "sold")
                unsold = cells.str.contains(_DASH) & at_auction
                self.say(unsold, pl.lit("outcome unsold"))
                self.put("outcome", self.rows["outcome"].set(unsold.fill_null(False), "unsold"))

    def asking_prices(self) -> None:
        """The price of an offer is what was asked, whatever basis is stated for every row."""
        if "price_basis" in self.for_all and self.is_text("outcome"):
            offered = (self.rows["outcome"] == "asking") & (self.rows["price_basis"] != "asking")
            self.say(offered, pl.lit("price basis asking"))
            self.put("price_basis", self.rows["price_basis"].set(offered.fill_null(False), "asking"))

    def bids(self) -> None:
        """The price of a lot that did not sell, in hammer terms, is the highest bid."""
        if not self.is_text("outcome", "amount", "price_basis"):
            return
        amount = self.rows["amount"]
        unsold = (self.rows["outcome"] == "unsold") & (self.rows["price_basis"] == "hammer")
        offered = (unsold & amount.is_not_null()).fill_null(False)
        if offered.any():
            self.fill("highest_bid", amount.set(~offered, None))
            same = (self.rows["highest_bid"] == amount) if self.is_text("highest_bid") else ~offered
            self.put("amount", amount.set((offered & same).fill_null(False), None))

    def _amounts(self, name: str, cells: pl.Series) -> pl.DataFrame:
        """What the cells of a column of money say."""
        grouped = not cells.str.contains(_THOUSANDTHS).any()
        scale = Decimal(str(AMOUNT_UNITS[self.habits.amount_unit]))

        def read(text: str) -> tuple[Any, ...] | None:
            money = read_money(text, self.habits.decimal, grouped=grouped)
            if money is None:
                return None
            value, bid = money.amount, money.highest_bid
            if name == "highest_bid":
                value, bid = bid if value is None else value, None
            if money.plain and scale != 1:
                value = None if value is None else value * scale
            sums = (value, money.low, money.high, bid)
            texts = (None if amount is None else f"{amount:f}" for amount in sums)
            return *texts, money.currency, money.outcome, money.firm, money.more

        columns = ("value", "low", "high", "bid", "currency", "outcome", "firm", "more")
        return _by_distinct(cells, read, columns, plain=_PLAIN_MONEY if scale == 1 else None)

    def _place(self, name: str, amounts: pl.DataFrame, currency: pl.Series) -> None:
        """Put what the cells of a column of money say where it belongs."""
        cells, is_read = amounts["cell"], amounts["read"]
        foreign = pl.Series([False]).new_from_index(0, len(cells))
        if name != "amount":
            foreign = _meant(amounts["currency"], currency)["differs"]
        self.put_read(name, amounts["value"].set(foreign, None), is_read, cells)
        self.note(name, (amounts["more"] & is_read) | foreign, cells)
        if name not in ("amount", "low_estimate", "high_estimate"):
            return
        for part, column in (("low", "low_estimate"), ("high", "high_estimate"), ("bid", "highest_bid")):
            if amounts[part].null_count() < len(cells):
                self.fill(column, amounts[part].set(foreign, None))
        if name == "amount" and amounts["outcome"].null_count() < len(cells):
            self._outcome(amounts["outcome"], amounts["firm"].fill_null(False))

    def _outcome(self, outcome: pl.Series, firm: pl.Series) -> None:
        """Put the outcomes that amounts say; those said in so many words go before one of every row."""
        firm = outcome.is_not_null() & firm
        if "outcome" in self.for_all or "outcome" not in self.rows.columns:
            stated = self.rows.get_column("outcome", default=outcome.clear(len(outcome)))
            self.say(firm & (stated != outcome), pl.lit("outcome ") + pl.lit(outcome))
            self.put("outcome", outcome.zip_with(firm | stated.is_null(), stated))
        else:
            self.fill("outcome", outcome)
        asking = (outcome == "asking") & (self.rows["outcome"] == "asking")
        self.fill("price_basis", outcome.set(~asking.fill_null(False), None))

    def distances(self) -> None:
        """The odometer in kilometres."""
        name, unit = "odometer_km", self.habits.odometer_unit
        typed = name in self.rows.columns and not self.is_text(name)
        if typed:
            factor = DISTANCE_UNITS.get(unit)
            if factor is None:
                self.put(name, self.rows[name].cast(pl.String) + _NO_UNIT)
            elif unit != "km" and self.rows.schema[name].is_numeric():
                self.put(name, (self.rows[name].cast(pl.Float64) * factor).round(1).cast(pl.String))

        def read(text: str) -> tuple[str, str | None] | None:
            distance = read_distance(text, unit, self.habits.decimal)
            return None if distance is None else (f"{distance[0].normalize():f}", distance[1])

        for _, cells in () if typed else self.known(name):
            distances = _by_distinct(
                cells, read, ("value", "unit"), plain=_PLAIN_MONEY if unit == "km" else None
            )
            self.put_read(name, distances["value"], distances["read"], cells)
            if unit == UNKNOWN_UNIT:
                left = self.rows[name]
                bare = left.str.contains(r"^[0-9]+([.,][0-9]*)?$") & ~distances["read"]
                self.put(name, left.zip_with(~bare.fill_null(False), left + _NO_UNIT))
            else:
                differs = distances["unit"] != unit.removeprefix("thousand ")
                self.say(differs, pl.lit("odometer in ") + pl.lit(distances["unit"]))

    def dates(self) -> None:
        """Days, and how precisely the event's day is known."""
        for name, cells in self.known(*DATE_COLUMNS):
            first = cells.drop_nulls().head(1_000)
            counted = len(first) > 0 and int(first.str.contains(_SERIAL).sum()) >= 0.9 * len(first)

            def read(text: str, counted: bool = counted) -> tuple[str, str] | None:
                day = (read_serial(text) if counted else None) or read_date(text, self.habits.date_order)
                return None if day is None else (day[0].isoformat(), day[1])

            days = _by_distinct(cells, read, ("value", "precision"), plain=_PLAIN_DATE)
            whole = days["precision"].fill_null("day") == "day"
            if name == "listed_on":  # a span has no first day
                self.put_read(name, days["value"], days["read"] & whole, cells)
                continue
            self.put_read(name, days["value"], days["read"], cells)
            if not whole.all():
                self.put("date_precision", days["precision"].set(whole, None))

    def years(self) -> None:
        """Model years, out of ages where they are that."""
        ages = self.habits.year_unit == "age"
        if ages and "year" in self.rows.columns and self.rows.schema["year"].is_numeric():
            self.put("year", self.rows["year"].cast(pl.Int64, strict=False).cast(pl.String))

        def read(text: str) -> tuple[str] | None:
            cell, _, event = text.rpartition("\x1f")
            year = read_year(cell, int(event) if event else None, ages=ages)
            return None if year is None else (str(year),)

        for _, cells in self.known("year"):
            cells = cells.str.replace(r"^([0-9]{4})\.0$", "$1")
            if cells.str.contains(_PLAIN_YEAR).all():
                self.put("year", cells)
                continue
            day = self.rows.get_column("event_date", default=pl.Series([None], dtype=pl.Date))
            if day.dtype == pl.String:
                day = day.str.to_date("%Y-%m-%d", strict=False)
            if day.dtype not in (pl.Date, pl.Datetime):
                day = pl.Series([None], dtype=pl.Date)
            event = day.dt.year().cast(pl.String).fill_null("")
            years = _by_distinct(cells + "\x1f" + event, read, ("value",))
            self.put_read("year", years["value"], years["read"], cells)
            self.note("year", years["read"] & ~cells.str.contains(_PLAIN_YEAR), cells)

    def scores(self) -> None:
        """Condition scores out of a hundred."""

        def read(text: str) -> tuple[str] | None:
            score = number(_OF_A_HUNDRED.sub("", text), self.habits.decimal, grouped=False)
            return None if score is None else (f"{score:f}",)

        for name, cells in self.known("condition_score"):
            scores = _by_distinct(cells, read, ("value",), plain=_PLAIN_MONEY)
            self.put_read(name, scores["value"], scores["read"], cells)

    def read(self) -> pl.DataFrame:
        if self.otherwise:
            words = pl.concat_list(*self.otherwise).list.drop_nulls()
            self.rows = self.rows.with_columns(words.alias(SAID_OTHERWISE))
        return _with_notes(self.rows, self.noted) if self.noted else self.rows


def _with_notes(rows: pl.DataFrame, added: Iterable[pl.Series]) -> pl.DataFrame:
    """Rows with more notes behind theirs, null where there are none."""
    notes = [pl.col("notes").cast(pl.String)] if "notes" in rows.columns else []
    text = pl.concat_str([*notes, *map(pl.lit, added)], separator="; ", ignore_nulls=True)
    return rows.with_columns(pl.when(text != "").then(text).alias("notes"))


def _known(cells: pl.Series) -> pl.Series:
    """Cells without those that say that nothing is known."""
    short = cells.filter(cells.str.len_bytes() <= 20).unique()
    words = not_known()
    blank = [text for text in short.drop_nulls() if text.lower() in words or text == ""]
    return cells.set(cells.is_in(blank), None) if blank else cells


def _meant(own: pl.Series, stated: pl.Series) -> pl.DataFrame:
    """``currency``, that of each row by what its cell says and what is stated, and whether the two
    ``differs``."""
    pairs = pl.DataFrame({"own": own, "stated": stated})
    if own.null_count() == len(own):
        return pairs.select(pl.col("stated").alias("currency"), differs=False)
    met = pairs.unique(maintain_order=True)
    meanings = pl.DataFrame(
        [meant(*pair) for pair in met.iter_rows()],
        schema={"currency": pl.String, "differs": pl.Boolean},
        orient="row",
    )
    met = pl.concat([met, meanings], how="horizontal")
    return pairs.join(met, on=["own", "stated"], how="left", maintain_order="left", nulls_equal=True)


def _by_distinct(
    cells: pl.Series,
    read: Callable[[str], tuple[Any, ...] | None],
    columns: Collection[str],
    *,
    plain: str | None = None,
) -> pl.DataFrame:
    """What each ``cell`` reads as, in ``columns``, and whether it was ``read``; every distinct cell is read
    once, and those that are ``plain`` already not at all."""
    frame = cells.to_frame("cell")
    is_plain = pl.col("cell").str.contains(plain) if plain is not None else pl.lit(False)
    distinct = frame.filter(~is_plain)["cell"].drop_nulls().unique().to_list()
    readings = [(text, *row, True) for text in distinct if (row := read(text)) is not None]
    kinds = {name: pl.Boolean() if name in _FLAGS else pl.String() for name in ("cell", *columns, "read")}
    table = pl.DataFrame(readings, schema=kinds, orient="row")
    read_out = frame.join(table, on="cell", how="left", maintain_order="left")
    if plain is not None:
        read_out = read_out.with_columns(
            pl.when(is_plain).then("cell").otherwise("value").alias("value"), read=is_plain | pl.col("read")
        )
    return read_out.with_columns(pl.col("read").fill_null(False))


def _of(columns: Collection[str], wanted: Collection[str]) -> list[str]:
    return [name for name in wanted if name in columns]
