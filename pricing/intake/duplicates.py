"""Records of one sale: found by what cars and offers have in common, linked by a named rule, nothing deleted.

Two records are of the same car when their chassis numbers agree (however typed), or, where one has none, when
model, year and odometer do. Of one car, two records are one piece of evidence when they tell of the same
offer, or when the earlier one did not end in a sale and the later one follows within a year. After a sale the
next offer is a new one. The windows are common practice, no source.
"""

from typing import Final

import numpy as np
import polars as pl
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

RULES: Final = (
    "same lot",
    "same sale in two sources",
    "listing that became a sale",
    "listed again",
    "offered again",
)
"""Why two records are linked."""

KEYS: Final = ("chassis_key", "model_key")
EVIDENCE: Final = (
    "record_id", *KEYS, "make", "variant", "year", "odometer_km", "source", "channel", "country", "outcome",
    "event_date", "listed_on", "amount", "currency", "price",
)  # fmt: skip
"""Columns that ``find_links`` needs."""

SHORTEST_CHASSIS_NUMBER: Final = 4
SAME_EVENT_DAYS: Final = 7
AGAIN_DAYS: Final = 365
SAME_PRICE: Final = 0.01
SAME_ODOMETER_KM: Final = 1.0

DETAILS: Final = (
    "variant", "chassis_number", "body_style", "drive_side", "condition_band", "condition_score",
    "odometer_km", "matching_numbers", "history_file", "premium", "low_estimate", "high_estimate", "reserve",
    "highest_bid", "listed_on",
)  # fmt: skip
"""What a record need not say of the car and the offer; of two equal ones the one that says more goes in
front."""


def chassis_key(number: str) -> str:
    """The letters and digits of one chassis number, however it was typed.

    >>> chassis_key("wx/34-0102")
    'WX340102'
    """
    return "".join(filter(str.isalnum, number)).upper()


def is_searchable(number: str) -> bool:
    """Whether a chassis number is long enough to look for its car by.

    >>> is_searchable("wx/34"), is_searchable("7-1"), is_searchable("")
    (True, False, False)
    """
    return len(chassis_key(number)) >= SHORTEST_CHASSIS_NUMBER


def with_keys(records: pl.DataFrame) -> pl.DataFrame:
    """Add ``KEYS``, spelling-proof forms of the chassis number and the model.

    >>> row = {"chassis_number": "wx/34-0102", "model": "Sédge Mk. 2"}
    >>> with_keys(pl.DataFrame([row])).select(KEYS).row(0)
    ('WX340102', 'sédgemk2')
    """
    chassis = pl.col("chassis_number").str.to_uppercase().str.replace_all(r"[^\pL\pN]", "")
    models = records.select("model").unique().with_columns(_spelling_proof("model").alias("model_key"))
    return records.with_columns(
        pl.when(chassis.str.len_chars() >= SHORTEST_CHASSIS_NUMBER).then(chassis).alias("chassis_key"),
    ).join(models, on="model", how="left", maintain_order="left", nulls_equal=True)


def _spelling_proof(name: str) -> pl.Expr:
    return pl.col(name).str.to_lowercase().str.replace_all(r"[^\pL\pN]", "")


def find_links(records: pl.DataFrame) -> pl.DataFrame:
    """Pairs of records that are one piece of evidence: record_id, other_id, rule (one of ``RULES``).

    Records of a car stand in order of time, and each is compared with the one before it.
    """
    rows = records.select(EVIDENCE).with_columns(
        _spelling_proof("make").alias("make_key"),
        # On one day a listing comes before the sale that it led to.
        order=pl.col("outcome").replace_strict(_ORDER, default=0, return_dtype=pl.Int8),
    )
    near_years = (pl.col("year") - pl.col("year before")).abs() <= 1
    known = rows.filter(pl.col("chassis_key").is_not_null())
    driven = rows.filter(pl.col("odometer_km").is_not_null())
    return pl.concat(
        [
            _links(known, ["chassis_key", "model_key"], ["event_date", "order"], near_years),
            _links(known, ["chassis_key", "make_key"], ["event_date", "order"], near_years),
            _links(driven, ["model_key", "year"], ["odometer_km", "event_date", "order"], _same_odometer()),
        ]
    ).unique(["record_id", "other_id"], keep="first", maintain_order=True)


_ORDER: Final = {"withdrawn": 0, "asking": 1, "unsold": 2, "sold": 3}


def _links(rows: pl.DataFrame, car: list[str], time: list[str], same_car: pl.Expr) -> pl.DataFrame:
    """Links between neighbours in a sort by car and time, under a test of being the same car."""
    ordered = rows.lazy().sort(*car, *time, "record_id")
    before = pl.all().shift(1).name.suffix(" before")
    together = pl.all_horizontal(pl.col(name) == pl.col(f"{name} before") for name in car)
    return (
        ordered.with_columns(before)
        .filter(together & same_car)
        .with_columns(rule=_rule())
        .filter(pl.col("rule").is_not_null())
        .select("record_id", other_id="record_id before", rule="rule")
        .collect()
    )


def _same_odometer() -> pl.Expr:
    """One of the two has no chassis number, and nothing that both say differs."""
    agree = pl.all_horizontal(
        (pl.col(name) == pl.col(f"{name} before")).fill_null(True)
        for name in ("variant", "country", "channel")
    )
    near = (pl.col("odometer_km") - pl.col("odometer_km before")).abs() <= SAME_ODOMETER_KM
    chassis = pl.col("chassis_key").is_null() | pl.col("chassis_key before").is_null()
    return agree & near & chassis


def _rule() -> pl.Expr:
    """The rule that makes a record one with the record before it of the same car; null for none."""
    now, before = pl.col("outcome"), pl.col("outcome before")
    days = (pl.col("event_date") - pl.col("event_date before")).dt.total_days()
    price, amount = (
        (pl.col(name).cast(pl.Float64) / pl.col(f"{name} before").cast(pl.Float64)).log().abs() <= SAME_PRICE
        for name in ("price", "amount")
    )
    same_amount = amount & (pl.col("currency") == pl.col("currency before"))
    same_price = (price | same_amount).fill_null(pl.col("price").is_null() & pl.col("price before").is_null())
    same_event = (days.abs() <= SAME_EVENT_DAYS) & (now == before) & same_price
    same_source = pl.col("source") == pl.col("source before")
    follows = days.is_between(0, AGAIN_DAYS) & (before != "sold")
    rules = (
        ("same lot", same_event & same_source & (pl.col("channel") == "auction")),
        ("same sale in two sources", same_event & ~same_source),
        ("listed again", same_event),
        ("listing that became a sale", follows & (now == "sold") & (before != "unsold")),
        ("listed again", follows & (now != "unsold") & (before != "unsold")),
        ("offered again", follows),
    )
    return pl.coalesce(pl.when(holds).then(pl.lit(rule)) for rule, holds in rules)


def choose_primary_records(records: pl.DataFrame, links: pl.DataFrame) -> pl.DataFrame:
    """The best record of each group of linked ones: record_id, primary_id; only records that have links.

    A sale goes before an unsold lot, that before an asking price; then the latest offer, then the record that
    says most of the car.
    """
    if links.is_empty():
        return pl.DataFrame(schema={"record_id": pl.String, "primary_id": pl.String})
    names = pl.concat([links["record_id"], links["other_id"]]).unique().sort()
    place = {"record_id": names, "place": np.arange(names.len())}
    pairs = links.join(pl.DataFrame(place), on="record_id").join(
        pl.DataFrame(place), left_on="other_id", right_on="record_id", suffix=" other"
    )
    ends = (pairs["place"].to_numpy(), pairs["place other"].to_numpy())
    size = (names.len(), names.len())
    _, group = connected_components(coo_array((np.ones(pairs.height), ends), shape=size), directed=False)
    details = pl.sum_horizontal(pl.col(name).is_not_null() for name in DETAILS)
    age = (pl.col("event_date").max().over("group") - pl.col("event_date")).dt.total_days()
    return (
        pl.DataFrame({"record_id": names, "group": group})
        .join(records.select("record_id", "outcome", "event_date", details=details), on="record_id")
        .with_columns(
            order=pl.col("outcome").replace_strict(_ORDER, default=0, return_dtype=pl.Int8),
            age=age // (SAME_EVENT_DAYS + 1),
        )
        .sort("group", "order", "age", "details", "record_id", descending=[False, True, False, True, False])
        .select("record_id", primary_id=pl.col("record_id").first().over("group"))
    )
