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
from pricing.intake.written.table import MONEY_COLUMNS

Words = Mapping[str, Mapping[str, str]]
"""Column of the contract, word of the vocabulary, words of the source, parted by ``; ``."""

ENGLISH: Final[Words] = {
    "drive_side": {"left": "LHD", "right": "RHD"},
    "condition_band": {
        "project": "needs everything; barn find; dismantled",
        "solid restorable": "solid, wants restoring; complete, runs, needs welding; sound basis",
        "average": "tidy runner; presentable; used regularly, honest",
        "top condition": "fully restored; as new; show standard",
    },
    "channel": {"auction": "auction", "dealer": "dealer", "private": "private sale"},
    "outcome": {"sold": "sold", "unsold": "not sold", "asking": "for sale", "withdrawn": "withdrawn"},
    "price_basis": {"hammer": "hammer", "all-in": "all in", "asking": "asked"},
}
"""Words of the club's register for the words of the vocabulary; one of several where people choose freely."""

SWEDISH: Final[Words] = {
    "drive_side": {"left": "vänster", "right": "höger"},
    "condition_band": {
        "project": "renoveringsobjekt",
        "solid restorable": "god grund",
        "average": "bruksskick",
        "top condition": "toppskick",
    },
    "matching_numbers": {"claimed": "uppgivet", "documented": "dokumenterat", "inspected": "besiktat"},
    "channel": {"auction": "auktion", "dealer": "handlare", "private": "privat"},
    "outcome": {"sold": "såld", "unsold": "osåld", "asking": "till salu", "withdrawn": "återkallad"},
    "price_basis": {"hammer": "klubbat", "all-in": "totalt", "asking": "begärt"},
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

REGISTER, WORKBOOK, EXCHANGE = range(3)
HEADINGS: Final = {
    "source_ref": ("Entry", "Objekt", "reference"),
    "make": ("Make", "Märke", "marque"),
    "model": ("Model", "Modell", "type"),
    "variant": ("Version", "Utförande", "version"),
    "year": ("Year", "Årsmodell", "model_year"),
    "chassis_number": ("Chassis no.", "Chassinummer", "chassis"),
    "body_style": ("Body", "Kaross", "body"),
    "drive_side": ("Drive", "Ratt", "steering"),
    "condition_band": ("Condition", "Skick", "state"),
    "condition_score": ("Points /100", "Poäng", "points"),
    "odometer_km": ("Mileage", "Mätarställning km", "km"),
    "options": ("Options", "Utrustning", "extras"),
    "matching_numbers": ("Matching nos.", "Nummer", "numbers"),
    "history_file": ("History", "Historik", "papers"),
    "channel": ("Through", "Säljväg", "venue"),
    "country": ("Country", "Land", "country"),
    "outcome": ("Result", "Utfall", "result"),
    "event_date": ("Date", "Datum", "day"),
    "amount": ("Price", "Belopp", "value"),
    "currency": ("Currency", "Valuta", "currency"),
    "price_basis": ("Price is", "Prisslag", "value_is"),
    "premium": ("Premium", "Provision", "fee"),
    "low_estimate": ("Est. low", "Utrop lågt", "estimate_from"),
    "high_estimate": ("Est. high", "Utrop högt", "estimate_to"),
    "reserve": ("Reserve", "Bevakning", "reserve"),
    "highest_bid": ("Top bid", "Högsta bud", "last_bid"),
    "listed_on": ("Advertised", "Annonserad", "offered_since"),
    "notes": ("Remarks", "Anmärkning", "remark"),
}
"""What the register, the workbook and the exchange head each column of the contract."""


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
    cells = {
        "year": pl.col("year").cast(pl.String),
        "condition_score": pl.col("condition_score").cast(pl.String),
        "odometer_km": (pl.col("odometer_km") / 1.609344).round(0).cast(pl.Int64).cast(pl.String),
        "options": pl.struct(options),
        "history_file": pl.col("history_file").replace_strict({True: "yes", False: "no"}),
        **{name: pl.col(name).dt.strftime("%d/%m/%Y") for name in ("event_date", "listed_on")},
        **{name: _pounds(name, style) for name in MONEY_COLUMNS},
        **_in_words(ENGLISH, rng, records.height),
    }
    return _headed(records, REGISTER, cells).unnest("Options").drop("Currency")


def workbook_table(records: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Bruksholm Auktionskammare: a Swedish workbook in kronor and kilometres, conditions in words and
    points."""
    cells = {
        "year": pl.col("year").cast(pl.Int64),
        "options": pl.col("options").list.join("; ").str.replace_all("_", " "),
        **{name: pl.col(name).cast(pl.Float64) for name in MONEY_COLUMNS},
        **_in_words(SWEDISH, rng, records.height),
    }
    return _headed(records, WORKBOOK, cells)


def exchange_table(records: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Kelderhaag Exchange: typed columns, several currencies, kilometres, the vocabulary's own words."""
    amounts = {name: pl.col(name).cast(pl.Decimal(18, 2)) for name in MONEY_COLUMNS}
    return _headed(records, EXCHANGE, {"odometer_km": pl.col("odometer_km").cast(pl.Int32), **amounts})


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


def _headed(records: pl.DataFrame, source: int, cells: Mapping[str, pl.Expr]) -> pl.DataFrame:
    """Records under the headings of a source, with ``cells`` in place of the contract's own."""
    return records.select(
        cells.get(name, pl.col(name)).alias(headings[source]) for name, headings in HEADINGS.items()
    )


def _in_words(language: Words, rng: np.random.Generator, rows: int) -> dict[str, pl.Expr]:
    """By column its cells in the source's words, chosen at random where there are several."""
    cells = {}
    for name, words in language.items():
        choices = {code: said.split("; ") for code, said in words.items()}
        most = max(map(len, choices.values()))
        flat = {
            f"{code} {place}": of_code[place % len(of_code)]
            for code, of_code in choices.items()
            for place in range(most)
        }
        which = pl.Series(rng.integers(0, most, rows)).cast(pl.String)
        cells[name] = (pl.col(name) + " " + which).replace_strict(flat)
    return cells


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
    ending: str
    reference: str
    """First letter of its references."""
    table: Callable[[pl.DataFrame, np.random.Generator], pl.DataFrame]
    encode: Callable[[pl.DataFrame], bytes]
    defects: Defects

    @property
    def file(self) -> str:
        """The name of its file."""
        return f"{self.name.lower().replace(' ', '_')}.{self.ending}"


SOURCES: Final = (
    Source("Quenmoor Register", "csv", "Q", register_table, csv_bytes, REGISTER_DEFECTS),
    Source("Bruksholm Auktionskammare", "xlsx", "B", workbook_table, xlsx_bytes, WORKBOOK_DEFECTS),
    Source("Kelderhaag Exchange", "parquet", "M", exchange_table, parquet_bytes, EXCHANGE_DEFECTS),
)
"""In load order."""
