"""The sale-record contract: columns, types, units and the named rules that a row must keep.

Bad rows are a result, not an exception: ``check`` returns the rows it accepts, typed, and the rows it
rejects, as they were given, each with the names of every rule it broke.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache
from itertools import pairwise
from typing import Final

import dataframely as dy
import polars as pl
import pycountry

from pricing import vocabulary
from pricing.errors import TableError
from pricing.money.currencies import CURRENCIES, SMALL_UNIT_CURRENCIES
from pricing.records.cells import raw_text, read_cells

COUNTRIES: Final = frozenset(country.alpha_2 for country in pycountry.countries)
"""ISO 3166-1 alpha-2 codes, as pycountry (data of Debian's iso-codes) lists them."""

FIRST_SALE: Final = date(1945, 1, 1)
HIGHEST_AMOUNT: Final = 250_000_000
"""An amount of more major units is a typing error; ``SMALL_UNITS`` times that in small-unit currencies."""

SMALL_UNITS: Final = 10_000
"""Times ``HIGHEST_AMOUNT`` that an amount may be in a currency of small units."""

LOWEST_AMOUNT: Final = 10
LONGEST_WORD: Final = 500
LONGEST_NOTES: Final = 20_000


def _money() -> dy.Decimal:
    return dy.Decimal(18, 3, nullable=True)


def _word(allowed: Iterable[str], *, nullable: bool = False) -> dy.String:
    """A column of words of a closed list; another word breaks ``<column>_unknown``."""
    words = sorted(allowed)
    return dy.String(nullable=nullable, check=lambda word: word.is_in(words))


class Contract(dy.Schema):
    """One row a sale, an offer, or an asking price seen. Amounts are in major units of ``currency``.

    ``premium`` is the buyer's premium with its tax; estimates, reserve and highest bid are in hammer terms.
    ``options`` lists codes of the vocabulary, each once. ``chassis_number`` has any form. ``date_precision``
    says how much of ``event_date`` is known, null where it is the day.
    """

    record_id = dy.String(nullable=False)
    source = dy.String(nullable=False)
    source_ref = dy.String(nullable=False)
    batch_id = dy.String(nullable=False)
    make = dy.String(nullable=False)
    model = dy.String(nullable=False)
    variant = dy.String(nullable=True)
    year = dy.Int16(nullable=False)
    chassis_number = dy.String(nullable=True)
    body_style = dy.String(nullable=True)
    drive_side = _word(vocabulary.DRIVE_SIDES, nullable=True)
    condition_band = _word(vocabulary.CONDITION_BANDS, nullable=True)
    condition_score = dy.Float64(nullable=True)
    odometer_km = dy.Float64(nullable=True)
    options = dy.List(dy.String(nullable=True), nullable=False)
    matching_numbers = _word(vocabulary.MATCHING_NUMBERS, nullable=True)
    history_file = dy.Bool(nullable=True)
    channel = _word(vocabulary.CHANNELS, nullable=True)
    country = _word(COUNTRIES, nullable=True)
    outcome = _word(vocabulary.OUTCOMES)
    event_date = dy.Date(nullable=False)
    amount = _money()
    currency = _word(CURRENCIES)
    price_basis = _word(vocabulary.PRICE_BASES)
    premium = _money()
    low_estimate = _money()
    high_estimate = _money()
    reserve = _money()
    highest_bid = _money()
    listed_on = dy.Date(nullable=True)
    notes = dy.String(nullable=True)
    date_precision = _word(vocabulary.DATE_PRECISIONS, nullable=True)


_TYPES: Final = dict(pl.Schema(Contract))


def _condition_score_outside_band() -> pl.Expr:
    """Where band and score are both given, the score lies in the band (``vocabulary.BAND_EDGES``)."""
    band, score = pl.col("condition_band"), pl.col("condition_score")
    inside = [
        (band == name)
        & score.is_between(low, high, closed="both" if high == vocabulary.BAND_EDGES[-1] else "left")
        for name, (low, high) in zip(vocabulary.CONDITION_BANDS, pairwise(vocabulary.BAND_EDGES), strict=True)
    ]
    known = band.is_in(vocabulary.CONDITION_BANDS) & score.is_between(
        vocabulary.BAND_EDGES[0], vocabulary.BAND_EDGES[-1]
    )
    return ~known | pl.any_horizontal(inside)


def amount_meant(amount: pl.Expr) -> pl.Expr:
    """Whether an amount in the column ``currency`` is the price of a car: under ten units, or beyond what any
    car has fetched, it is a typing error.

    >>> said = pl.DataFrame({"amount": [9, 300_000_000], "currency": ["EUR", "JPY"]})
    >>> said.select(amount_meant(pl.col("amount")))["amount"].to_list()
    [False, True]
    """
    scale = pl.when(pl.col("currency").is_in(sorted(SMALL_UNIT_CURRENCIES))).then(SMALL_UNITS).otherwise(1)
    return amount.cast(pl.Float64).is_between(LOWEST_AMOUNT, HIGHEST_AMOUNT * scale)


_WORDS: Final = [name for name, kind in _TYPES.items() if kind == pl.String and name != "notes"]

ROW_RULES: Final = {
    "condition_score_out_of_range": pl.col("condition_score").is_between(
        vocabulary.BAND_EDGES[0], vocabulary.BAND_EDGES[-1]
    ),
    "condition_score_outside_band": _condition_score_outside_band(),
    "option_unknown": pl.col("options").list.set_difference(list(vocabulary.OPTION_CODES)).list.len() == 0,
    "option_repeated": pl.col("options").list.n_unique() == pl.col("options").list.len(),
    # Model years run from the first motor car to the year after the sale.
    "year_out_of_range": (pl.col("year") >= vocabulary.FIRST_YEAR)
    & (pl.col("year") <= pl.col("event_date").dt.year() + 1),
    "event_date_too_early": pl.col("event_date") >= FIRST_SALE,
    "listed_after_event": pl.col("listed_on") <= pl.col("event_date"),
    "odometer_negative": pl.col("odometer_km") >= 0,
    "odometer_absurd": pl.col("odometer_km") <= vocabulary.HIGHEST_ODOMETER_KM,
    "amount_not_positive": pl.col("amount") > 0,
    "amount_absurd": (pl.col("amount") <= 0) | amount_meant(pl.col("amount")),
    "sold_without_amount": (pl.col("outcome") != "sold") | pl.col("amount").is_not_null(),
    "asking_without_amount": (pl.col("outcome") != "asking") | pl.col("amount").is_not_null(),
    "asking_outcome_needs_asking_basis": (pl.col("outcome") != "asking")
    | (pl.col("price_basis") == "asking"),
    # An amount that was asked is the amount of an offer that still stands or was withdrawn.
    "asking_basis_needs_asking_outcome": (pl.col("price_basis") != "asking")
    | pl.col("outcome").is_in(["asking", "withdrawn"]),
    "premium_negative": pl.col("premium") >= 0,
    "premium_above_amount": (pl.col("premium") <= pl.col("amount")) | (pl.col("amount") <= 0),
    "estimate_not_positive": pl.min_horizontal("low_estimate", "high_estimate") > 0,
    "estimates_reversed": pl.col("low_estimate") <= pl.col("high_estimate"),
    "reserve_not_positive": pl.col("reserve") > 0,
    "highest_bid_not_positive": pl.col("highest_bid") > 0,
    "text_too_long": (pl.max_horizontal(pl.col(_WORDS).str.len_bytes()) <= LONGEST_WORD)
    & (pl.col("notes").str.len_bytes().fill_null(0) <= LONGEST_NOTES),
}
"""What a row must keep beside the constraints of its columns, by the name of the rule."""

COLUMNS: Final = tuple(_TYPES)
"""The contract's columns, in order."""

REQUIRED: Final = tuple(
    name for name, column in Contract.columns().items() if not column.nullable and name != "options"
)
"""Columns that a table must have; the others count as absent values."""


_MADE_ON_THE_WAY: Final = ("record_id", "batch_id", "source", "source_ref", "place")
"""Columns that a load adds to a table before it is checked."""

SPARED: Final = {
    "condition_score_out_of_range": ("condition_score",),
    "condition_score_outside_band": ("condition_score", "condition_band"),
    "odometer_negative": ("odometer_km",),
    "odometer_absurd": ("odometer_km",),
    "listed_after_event": ("listed_on",),
    "estimate_not_positive": ("low_estimate", "high_estimate"),
    "estimates_reversed": ("low_estimate", "high_estimate"),
    "reserve_not_positive": ("reserve",),
    "highest_bid_not_positive": ("highest_bid",),
}
"""Rules that only columns break which a record can be without, and those columns."""

OPTIONAL: Final = tuple(
    name
    for name, column in Contract.columns().items()
    if column.nullable and name not in ("notes", "premium")
)
"""Columns that a record can be without; ``premium`` is not of them, as a price would come out otherwise."""

LONGEST_CELL_NOTED: Final = 200


@dataclass(frozen=True)
class CheckResult:
    """What a check made of a table; no row is in both frames and none is in neither."""

    accepted: pl.DataFrame
    """Rows that keep every rule, in the contract's columns and types."""
    rejected: pl.DataFrame
    """The other rows as they were given, with ``broken_rules``: the names of the rules each one broke."""


def check(frame: pl.DataFrame, today: date) -> CheckResult:
    """Split a table into rows that keep the contract and rows that do not.

    Columns may be typed or text (ISO dates, plain numbers, yes/no, options parted by ``;``). An optional
    column may be absent, and columns that are none of the contract's are ignored. An event after ``today``
    has not happened yet. Beside the contract's rules a row can break ``<column>_missing`` and
    ``<column>_unreadable``.

    Raises ``TableError`` when a required column is absent.

    >>> row = {"record_id": "1", "source": "notes", "source_ref": "1", "batch_id": "b", "make": "Corvane",
    ...        "model": "Six", "year": "1968", "channel": "private", "country": "GB", "outcome": "sold",
    ...        "event_date": "2024-05-01", "amount": "4250", "currency": "GBP", "price_basis": "all-in"}
    >>> result = check(pl.DataFrame([row, row | {"amount": "-1", "year": "MCMLX"}]), date(2024, 6, 1))
    >>> result.accepted["amount"].to_list()
    [Decimal('4250.000')]
    >>> result.rejected["broken_rules"].to_list()
    [['year_unreadable', 'amount_not_positive']]
    """
    absent = [name for name in REQUIRED if name not in frame.columns]
    if absent:
        has = [name for name in frame.columns if name not in _MADE_ON_THE_WAY]
        raise TableError(f"the table has no column {', '.join(absent)}; it has: {', '.join(has) or 'none'}")
    reading = read_cells(frame, _TYPES, lines=("notes",)).with_columns(pl.col("options").fill_null([]))
    # Set operations of polars 2.1 on lists in several chunks, one of them empty, read beyond the end.
    reading = reading.with_columns(reading["options"].rechunk())
    broken = broken_rules(reading, today)
    sound = broken.is_null()
    judged = frame.drop("broken_rules", strict=False).with_columns(broken.alias("broken_rules"))
    return CheckResult(accepted=reading.filter(sound).select(COLUMNS), rejected=judged.filter(~sound))


def spared(rejected: pl.DataFrame) -> pl.DataFrame:
    """Rejected rows without the cells that a record can be without and that broke a rule: such a cell is not
    known, and its text goes to the notes.

    ``rejected`` is that of a ``CheckResult``. Added is ``not_known``, the names of the columns whose cells
    went.

    >>> row = {"odometer_km": "low", "drive_side": "middle", "notes": "blue"}
    >>> told = pl.DataFrame([row | {"broken_rules": ["odometer_km_unreadable", "drive_side_unknown"]}])
    >>> spared(told).select("odometer_km", "drive_side", "notes", "not_known").row(0)
    (None, None, 'blue; drive side: middle; odometer: low', ['drive_side', 'odometer_km'])
    """
    broken = pl.col("broken_rules")
    rejected = rejected.rechunk()
    rules = set(rejected["broken_rules"].explode().drop_nulls().unique())
    noted, names, blanked = list[pl.Expr](), list[pl.Expr](), list[pl.Expr]()
    for name in OPTIONAL:
        spared_by = {f"{name}_unreadable", f"{name}_unknown", *(r for r, of in SPARED.items() if name in of)}
        about = rules & spared_by
        if not about or name not in rejected.columns or name == "options":
            continue
        went = pl.any_horizontal(broken.list.contains(rule) for rule in about) & pl.col(name).is_not_null()
        if name == "amount":  # a sale and an asking price are nothing without theirs
            went &= ~pl.col("outcome").is_in(["sold", "asking"])
        text = raw_text(name, rejected.schema[name]).str.slice(0, LONGEST_CELL_NOTED)
        label = pl.lit(f"{name.removesuffix('_km').replace('_', ' ')}: ")
        noted.append(pl.when(went).then(label + text))
        names.append(pl.when(went).then(pl.lit(name)))
        blanked.append(pl.when(~went).then(name).alias(name))
    if {"option_unknown", "option_repeated", "options_unreadable"} & rules and "options" in rejected.columns:
        kind = rejected.schema["options"]
        listed = (
            pl.col("options")
            if kind == pl.List(pl.String)
            else raw_text("options", kind).str.split(";").list.eval(pl.element().str.strip_chars())
        )
        others = listed.list.set_difference(list(vocabulary.OPTION_CODES)).list.eval(
            pl.element().filter(pl.element() != "")
        )
        odd = broken.list.contains("option_unknown") | broken.list.contains("options_unreadable")
        noted.append(
            pl.when(odd).then(pl.lit("options: ") + others.list.join(", ").str.slice(0, LONGEST_CELL_NOTED))
        )
        names.append(pl.when(odd).then(pl.lit("options")))
        sound = listed.list.set_intersection(list(vocabulary.OPTION_CODES)).list.sort()
        mended = odd | broken.list.contains("option_repeated")
        blanked.append(pl.when(mended).then(sound).otherwise(listed).alias("options"))
    none = pl.lit([], dtype=pl.List(pl.String))
    not_known = pl.concat_list(names).list.drop_nulls() if names else none
    if "notes" in rejected.columns:
        noted.insert(0, raw_text("notes", rejected.schema["notes"]))
    notes = pl.concat_str([pl.lit(None, dtype=pl.String), *noted], separator="; ", ignore_nulls=True)
    return rejected.with_columns(
        *blanked, pl.when(notes != "").then(notes).alias("notes"), not_known.alias("not_known")
    ).drop("broken_rules")


def broken_rules(rows: pl.DataFrame, today: date, about: frozenset[str] | None = None) -> pl.Series:
    """For every row in the contract's types the names of the rules it breaks, or null for one that keeps all.

    With ``about`` only the rules that bear on one of these columns are asked: the rest are known to be kept.

    A list column ``unreadable`` names the cells of a row that could not be read (``pricing.records.cells``):
    they are told first, and are not told again as missing.

    >>> row = {"record_id": "1", "source": "notes", "source_ref": "1", "batch_id": "b", "make": "Corvane",
    ...        "model": "Six", "year": 1968, "channel": "private", "country": "GB", "outcome": "asking",
    ...        "event_date": date(2024, 5, 1), "currency": "GBP", "price_basis": "asking", "options": []}
    >>> rows = pl.DataFrame([row, row | {"amount": 4250}], schema=pl.Schema(Contract))
    >>> broken_rules(rows, date(2024, 6, 1)).to_list()
    [['asking_without_amount'], None]
    """
    late = (pl.col("event_date") > today).fill_null(False).alias("event_date_in_future")
    breaches = rows.select(*_breaches(about), late)
    broken = [name for name in breaches.columns if breaches[name].any()]
    unreadable = "unreadable" in rows.columns and (rows["unreadable"].list.len() > 0).any()
    if not broken and not unreadable:
        return pl.Series("broken_rules", [None], pl.List(pl.String)).new_from_index(0, len(rows))
    if unreadable:
        breaches = breaches.hstack([rows["unreadable"]])
    any_unreadable = [pl.col("unreadable").list.len() > 0] if unreadable else []
    any_broken = breaches.select(pl.any_horizontal(*broken, *any_unreadable)).to_series()

    def listed(name: str) -> pl.Expr:
        before = pl.col("unreadable").list.contains(name.replace("_missing", "_unreadable"))
        return pl.when(pl.col(name) & ~before if unreadable else pl.col(name)).then(pl.lit(name))

    names = pl.concat_list(*(["unreadable"] if unreadable else []), *map(listed, broken)).list.drop_nulls()
    of_rows = breaches.filter(any_broken).select(broken_rules=names).to_series()
    return of_rows.gather(pl.select(pl.when(any_broken).then(any_broken.cum_sum() - 1)).to_series())


@cache
def _breaches(about: frozenset[str] | None) -> tuple[pl.Expr, ...]:
    """Of each rule of the contract whether a row breaks it, under the rule's name; a rule that cannot be
    judged for want of a value is kept."""
    rules = ROW_RULES | {
        f"{name}_{_KINDS[kind]}": rule
        for name, column in Contract.columns().items()
        for kind, rule in column.validation_rules(pl.col(name)).items()
    }
    return tuple(
        (~rule).fill_null(False).alias(name)
        for name, rule in rules.items()
        if about is None or not about.isdisjoint(rule.meta.root_names())
    )


_KINDS: Final = {
    "nullability": "missing", "check": "unknown", "inf": "infinite", "nan": "not_a_number"
}  # fmt: skip
