"""Links between records of one sale: found after each load among its cars, and parted by a person."""

from datetime import date, datetime
from typing import Final

import polars as pl

from pricing.errors import MarketError
from pricing.intake.duplicates import DETAILS, EVIDENCE, SAME_ODOMETER_KM, choose_primary_records, find_links
from pricing.store.audit import write_audit
from pricing.store.connection import Opened, add_rows, frame, run, value

_LINKED: Final = (
    f"SELECT record_id, outcome, event_date, {', '.join(DETAILS)} FROM records "  # noqa: S608 - fixed names
    "SEMI JOIN (SELECT record_id FROM links UNION SELECT other_id FROM links) AS either USING (record_id)"
)

_KNOWN: Final = (
    "AND record_id IN (SELECT record_id FROM records WHERE event_date <= $day) "
    "AND other_id IN (SELECT record_id FROM records WHERE event_date <= $day)"
)

NEAR_ODOMETER: Final = 0.02
"""How far, as a part of the larger, two readings of one car on one day may be apart, a typing slip or a
rounding: common practice, no source."""

_MAY_BE_ONE: Final = """
new AS (SELECT chassis_key, model_key, year, odometer_km FROM records WHERE batch_id = $batch),
chassis AS (
    SELECT chassis_key FROM records WHERE chassis_key IN (SELECT chassis_key FROM new)
    GROUP BY chassis_key HAVING count(*) > 1
),
models AS (
    SELECT model_key, year FROM records
    WHERE (model_key, year) IN (SELECT (model_key, year) FROM new) AND odometer_km IS NOT NULL
    GROUP BY ALL HAVING count(*) > 1 AND bool_or(chassis_key IS NULL)
),
places AS (
    SELECT record_id, chassis_key, model_key, year, shift, floor((odometer_km + shift) / 2) AS place
    FROM records SEMI JOIN models USING (model_key, year), (VALUES (0), (1)) AS shifts(shift)
    WHERE odometer_km IS NOT NULL
),
shared AS (
    SELECT model_key, year, shift, place FROM places
    GROUP BY ALL HAVING count(*) > 1 AND bool_or(chassis_key IS NULL)
),
may_be_one AS (
    SELECT record_id FROM records SEMI JOIN chassis USING (chassis_key)
    UNION
    SELECT record_id FROM places SEMI JOIN shared USING (model_key, year, shift, place)
)
"""
"""Records of cars that a batch touched which share a chassis number, or a model, a year and an odometer
reading where one of them has no chassis number. Readings at most 1 km apart share a 2 km place by a shift."""


def link_batch(opened: Opened, batch_id: str) -> int:
    """Link the records of a batch with each other and with older ones of the same cars; returns how many
    links.

    A link that was parted stays parted.
    """
    columns = ", ".join(EVIDENCE)
    query = f"WITH {_MAY_BE_ONE} SELECT {columns} FROM records SEMI JOIN may_be_one USING (record_id)"  # noqa: S608
    touched = frame(opened, query, {"batch": batch_id})
    linked = find_links(touched).select("record_id", "other_id", "rule", batch_id=pl.lit(batch_id))
    added = add_rows(opened, "links", linked, clash="skip")
    if added:
        refresh_primary_records(opened)
    return added


def nearly_same(opened: Opened, batch_id: str | None) -> tuple[str, ...]:
    """Records of other batches with the car, day, outcome and price of one of a batch, whose odometers differ
    by more than links allow and less than ``NEAR_ODOMETER``: perhaps one sale, for a person to say."""
    rows = run(
        opened,
        "SELECT DISTINCT other.record_id FROM records AS new JOIN records AS other "
        "ON new.batch_id = $batch AND other.batch_id IS DISTINCT FROM $batch "
        "AND new.model_key = other.model_key AND lower(new.make) = lower(other.make) "
        "AND new.year = other.year AND new.event_date = other.event_date AND new.outcome = other.outcome "
        "AND new.amount = other.amount AND new.currency = other.currency "
        "WHERE abs(new.odometer_km - other.odometer_km) "
        "BETWEEN $linked AND $near * greatest(new.odometer_km, other.odometer_km) "
        "AND coalesce(new.chassis_key = other.chassis_key, true) ORDER BY ALL",
        {"batch": batch_id, "linked": SAME_ODOMETER_KM, "near": NEAR_ODOMETER},
    )
    return tuple(name for (name,) in rows)


def doubles_of(opened: Opened, batch_id: str | None, most: int) -> tuple[str, ...]:
    """Records of other batches that a batch is linked with."""
    rows = run(
        opened,
        "WITH pairs AS (SELECT record_id, other_id FROM links WHERE parted_at IS NULL "
        "UNION SELECT other_id, record_id FROM links WHERE parted_at IS NULL) "
        "SELECT DISTINCT other_id FROM pairs WHERE record_id IN (SELECT record_id FROM records "
        "WHERE batch_id = $batch) AND other_id NOT IN "
        "(SELECT record_id FROM records WHERE batch_id = $batch) ORDER BY ALL LIMIT $most",
        {"batch": batch_id, "most": most},
    )
    return tuple(name for (name,) in rows)


def refresh_primary_records(opened: Opened) -> None:
    """Set ``front_id`` of every record that stands behind the primary record of the same sale."""
    behind = behind_as_of(opened)
    for change in (
        "front_id = NULL WHERE front_id IS NOT NULL AND record_id NOT IN (SELECT record_id FROM behind)",
        "front_id = behind.primary_id FROM behind "
        "WHERE records.record_id = behind.record_id AND records.front_id IS DISTINCT FROM behind.primary_id",
    ):
        run(opened, f"UPDATE records SET {change}", behind=behind)  # noqa: S608


def behind_as_of(opened: Opened, as_of: date | None = None) -> pl.DataFrame:
    """The records that stand behind a better one; with ``as_of`` by what was known on that day."""
    known = "" if as_of is None else _KNOWN
    query = f"SELECT record_id, other_id FROM links WHERE parted_at IS NULL {known}"  # noqa: S608
    links = frame(opened, query, {"day": as_of} if known else None)
    linked = frame(opened, _LINKED)
    return choose_primary_records(linked, links).filter(pl.col("record_id") != pl.col("primary_id"))


def set_parted(opened: Opened, record_id: str, at: datetime, *, parted: bool) -> int:
    """Part a record from those it is linked with, or link it again; returns how many links changed."""
    if not run(opened, "SELECT 1 FROM records WHERE record_id = ?", [record_id]):
        raise MarketError(f"the market holds no record {record_id!r}")
    changed = value(
        opened,
        "UPDATE links SET parted_at = $at "
        "WHERE (record_id = $name OR other_id = $name) AND (parted_at IS NULL) = $live",
        {"at": at if parted else None, "name": record_id, "live": parted},
    )
    if changed:
        refresh_primary_records(opened)
        write_audit(opened, at, "part" if parted else "link", record_id, {"links": changed})
    return int(changed)
