"""The demo market as three sources give it: a club's text table, a sale room's workbook, an exchange's
columns."""

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
import polars as pl
import xlsxwriter

from data_demo.defects import EXCHANGE_DEFECTS, REGISTER_DEFECTS, WORKBOOK_DEFECTS, Defects

Words = Mapping[str, Mapping[str, tuple[str, ...]]]
"""Column of the contract, word of the vocabulary, words of the source."""

ENGLISH: Final[Words] = {
    "condition_band": {
        "project": ("needs everything", "barn find", "dismantled"),
        "solid restorable": ("solid, wants restoring", "complete, runs, needs welding", "sound basis"),
        "average": ("tidy runner", "presentable", "used regularly, honest"),
        "top condition": ("fully restored", "as new", "show standard"),
    },
    "drive_side": {"left": ("LHD",), "right": ("RHD",)},
    "channel": {"auction": ("auction",), "dealer": ("dealer",), "private": ("private sale",)},
    "outcome": {
        "sold": ("sold",),
        "unsold": ("not sold",),
        "asking": ("for sale",),
        "withdrawn": ("withdrawn",),
    },
    "price_basis": {"hammer": ("hammer",), "all-in": ("all in",), "asking": ("asked",)},
}
"""Words of the club's register for the words of the vocabulary; one of several where people choose freely."""

SWEDISH: Final[Words] = {
    "condition_band": {
        "project": ("renoveringsobjekt",),
        "solid restorable": ("god grund",),
        "average": ("bruksskick",),
        "top condition": ("toppskick",),
    },
    "drive_side": {"left": ("vänster",), "right": ("höger",)},
    "matching_numbers": {
        "claimed": ("uppgivet",),
        "documented": ("dokumenterat",),
        "inspected": ("besiktat",),
    },
    "channel": {"auction": ("auktion",), "dealer": ("handlare",), "private": ("privat",)},
    "outcome": {
        "sold": ("såld",),
        "unsold": ("osåld",),
        "asking": ("till salu",),
        "withdrawn": ("återkallad",),
    },
    "price_basis": {"hammer": ("klubbat",), "all-in": ("totalt",), "asking": ("begärt",)},
}

OPTION_COLUMNS: Final = {
    "air_conditioning": "Air con",
    "alloy_wheels": "Alloys",
    "automatic_gearbox": "Automatic",
    "electronic_ignition": "Elec. ignition",
    "factory_hardtop": "Hardtop",
    "factory_sunroof": "Sunroof",
    "five_speed_gearbox": "5-speed",
    "front_disc_brakes": "Discs",
    "later_engine": "Later engine",
    "leather_interior": "Leather",
    "overdrive": "Overdrive",
    "power_steering": "PAS",
    "servo_brakes": "Servo",
    "tow_bar": "Tow bar",
    "wire_wheels": "Wires",
}
"""The register's yes/no columns."""


def register_table(records: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """The Quenmoor Register: all text; miles, pounds as typed, day/month/year, options in columns of their
    own."""
    style = pl.Series(rng.integers(0, 3, records.height))
    options = [
        pl.when(pl.col("options").list.contains(code))
        .then(pl.lit("yes"))
        .otherwise(pl.lit("no"))
        .alias(column)
        for code, column in OPTION_COLUMNS.items()
    ]
    return records.select(
        pl.col("source_ref").alias("Entry"),
        pl.col("make").alias("Make"),
        pl.col("model").alias("Model"),
        pl.col("variant").alias("Version"),
        pl.col("year").cast(pl.String).alias("Year"),
        pl.col("chassis_number").alias("Chassis no."),
        pl.col("body_style").alias("Body"),
        _words("drive_side", ENGLISH, rng, records.height).alias("Drive"),
        _words("condition_band", ENGLISH, rng, records.height).alias("Condition"),
        pl.col("condition_score").cast(pl.String).alias("Points /100"),
        (pl.col("odometer_km") / 1.609344).round(0).cast(pl.Int64).cast(pl.String).alias("Mileage"),
        *options,
        pl.col("matching_numbers").alias("Matching nos."),
        pl.col("history_file").replace_strict({True: "yes", False: "no"}).alias("History"),
        _words("channel", ENGLISH, rng, records.height).alias("Through"),
        pl.col("country").alias("Country"),
        _words("outcome", ENGLISH, rng, records.height).alias("Result"),
        _day("event_date").alias("Date"),
        _pounds("amount", style).alias("Price"),
        _words("price_basis", ENGLISH, rng, records.height).alias("Price is"),
        _pounds("premium", style).alias("Premium"),
        _pounds("low_estimate", style).alias("Est. low"),
        _pounds("high_estimate", style).alias("Est. high"),
        _pounds("reserve", style).alias("Reserve"),
        _pounds("highest_bid", style).alias("Top bid"),
        _day("listed_on").alias("Advertised"),
        pl.col("notes").alias("Remarks"),
    )


def workbook_table(records: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Bruksholm Auktionskammare: a Swedish workbook in kronor and kilometres, conditions in words and
    points."""
    return records.select(
        pl.col("source_ref").alias("Objekt"),
        pl.col("make").alias("Märke"),
        pl.col("model").alias("Modell"),
        pl.col("variant").alias("Utförande"),
        pl.col("year").cast(pl.Int64).alias("Årsmodell"),
        pl.col("chassis_number").alias("Chassinummer"),
        pl.col("body_style").alias("Kaross"),
        _words("drive_side", SWEDISH, rng, records.height).alias("Ratt"),
        _words("condition_band", SWEDISH, rng, records.height).alias("Skick"),
        pl.col("condition_score").alias("Poäng"),
        pl.col("odometer_km").alias("Mätarställning km"),
        pl.col("options").list.join("; ").str.replace_all("_", " ").alias("Utrustning"),
        _words("matching_numbers", SWEDISH, rng, records.height).alias("Nummer"),
        pl.col("history_file").alias("Historik"),
        _words("channel", SWEDISH, rng, records.height).alias("Säljväg"),
        pl.col("country").alias("Land"),
        _words("outcome", SWEDISH, rng, records.height).alias("Utfall"),
        pl.col("event_date").alias("Datum"),
        pl.col("amount").cast(pl.Float64).alias("Belopp"),
        pl.col("currency").alias("Valuta"),
        _words("price_basis", SWEDISH, rng, records.height).alias("Prisslag"),
        pl.col("premium").cast(pl.Float64).alias("Provision"),
        pl.col("low_estimate").cast(pl.Float64).alias("Utrop lågt"),
        pl.col("high_estimate").cast(pl.Float64).alias("Utrop högt"),
        pl.col("reserve").cast(pl.Float64).alias("Bevakning"),
        pl.col("highest_bid").cast(pl.Float64).alias("Högsta bud"),
        pl.col("listed_on").alias("Annonserad"),
        pl.col("notes").alias("Anmärkning"),
    )


def exchange_table(records: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Kelderhaag Exchange: typed columns, several currencies, kilometres, the vocabulary's own words."""
    money = pl.Decimal(18, 2)
    return records.select(
        pl.col("source_ref").alias("reference"),
        pl.col("make").alias("marque"),
        pl.col("model").alias("type"),
        pl.col("variant").alias("version"),
        pl.col("year").alias("model_year"),
        pl.col("chassis_number").alias("chassis"),
        pl.col("body_style").alias("body"),
        pl.col("drive_side").alias("steering"),
        pl.col("condition_band").alias("state"),
        pl.col("condition_score").alias("points"),
        pl.col("odometer_km").cast(pl.Int32).alias("km"),
        pl.col("options").alias("extras"),
        pl.col("matching_numbers").alias("numbers"),
        pl.col("history_file").alias("papers"),
        pl.col("channel").alias("venue"),
        pl.col("country").alias("country"),
        pl.col("outcome").alias("result"),
        pl.col("event_date").alias("day"),
        pl.col("amount").cast(money).alias("value"),
        pl.col("currency").alias("currency"),
        pl.col("price_basis").alias("value_is"),
        pl.col("premium").cast(money).alias("fee"),
        pl.col("low_estimate").cast(money).alias("estimate_from"),
        pl.col("high_estimate").cast(money).alias("estimate_to"),
        pl.col("reserve").cast(money).alias("reserve"),
        pl.col("highest_bid").cast(money).alias("last_bid"),
        pl.col("listed_on").alias("offered_since"),
        pl.col("notes").alias("remark"),
    )


def csv_bytes(table: pl.DataFrame) -> bytes:
    """Comma-separated UTF-8 text."""
    return table.write_csv().encode()


def parquet_bytes(table: pl.DataFrame) -> bytes:
    """Parquet, compressed with zstandard."""
    buffer = io.BytesIO()
    table.write_parquet(buffer, compression="zstd", compression_level=15)
    return buffer.getvalue()


def xlsx_bytes(table: pl.DataFrame) -> bytes:
    """A workbook of two sheets, auctions and advertisements, the same columns in both."""
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True}) as workbook:
        workbook.set_properties({"created": datetime(2026, 7, 1)})
        auctions = table["Säljväg"] == "auktion"
        table.filter(auctions).write_excel(workbook, "Auktioner", autofilter=False)
        table.filter(~auctions).write_excel(workbook, "Annonser", autofilter=False)
    return buffer.getvalue()


def _words(name: str, language: Words, rng: np.random.Generator, rows: int) -> pl.Expr:
    """The column in the source's words, chosen at random where there are several."""
    words = language[name]
    most = max(len(choice) for choice in words.values())
    flat = {
        f"{code} {place}": words[code][place % len(words[code])] for code in words for place in range(most)
    }
    which = pl.Series(rng.integers(0, most, rows)).cast(pl.String)
    return (pl.col(name) + " " + which).replace_strict(flat)


def _day(name: str) -> pl.Expr:
    return pl.col(name).dt.strftime("%d/%m/%Y")


def _pounds(name: str, style: pl.Series) -> pl.Expr:
    """``£4,250``, ``4250`` or ``£ 4250.00``, as people type it."""
    pence = (pl.col(name) * 100).round(0).cast(pl.Int64)
    whole, rest = (pence // 100).cast(pl.String), (pence % 100).cast(pl.String).str.zfill(2)
    decimals = pl.when(pence % 100 == 0).then(pl.lit("")).otherwise(pl.lit(".") + rest)
    thousands = whole.str.replace(r"^(\d+)(\d{3})$", "$1,$2").str.replace(r"^(\d+)(\d{3}),", "$1,$2,")
    return (
        pl.when(style == 0)
        .then(pl.lit("£") + thousands + decimals)
        .when(style == 1)
        .then(whole + decimals)
        .otherwise(pl.lit("£ ") + whole + "." + rest)
    )


@dataclass(frozen=True)
class Source:
    """A source of the demo market: its name, the file it gives, how, and the rows in it that break a rule."""

    name: str
    file: str
    reference: str
    """First letter of its references."""
    table: Callable[[pl.DataFrame, np.random.Generator], pl.DataFrame]
    encode: Callable[[pl.DataFrame], bytes]
    defects: Defects


SOURCES: Final = (
    Source("Quenmoor Register", "quenmoor_register.csv", "Q", register_table, csv_bytes, REGISTER_DEFECTS),
    Source(
        "Bruksholm Auktionskammare",
        "bruksholm_auktionskammare.xlsx",
        "B",
        workbook_table,
        xlsx_bytes,
        WORKBOOK_DEFECTS,
    ),
    Source(
        "Kelderhaag Exchange",
        "kelderhaag_exchange.parquet",
        "M",
        exchange_table,
        parquet_bytes,
        EXCHANGE_DEFECTS,
    ),
)
"""In load order."""
