"""The demo market as three sources give it: a club's text table, a sale room's workbook, an exchange's
columns; and what each writes that breaks a rule of the record contract."""

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

import numpy as np
import polars as pl
import xlsxwriter

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

Defects = dict[str, dict[str, object]]
"""Name of the rule broken, and the values, by column of the source, that break it."""

REGISTER_DEFECTS: Final[Defects] = {
    "make_missing": {"Make": None},
    "model_missing": {"Model": ""},
    "year_missing": {"Year": None},
    "year_unreadable": {"Year": "mid sixties"},
    "year_out_of_range": {"Year": "1066"},
    "condition_band_unknown": {"Condition": "lovely", "Points /100": None},
    "condition_score_unreadable": {"Condition": None, "Points /100": "high"},
    "condition_score_out_of_range": {"Condition": None, "Points /100": "140"},
    "condition_score_outside_band": {"Condition": "barn find", "Points /100": "91.5"},
    "odometer_km_unreadable": {"Mileage": "genuine"},
    "odometer_negative": {"Mileage": "-12000"},
    "odometer_absurd": {"Mileage": "9000000"},
    "drive_side_unknown": {"Drive": "middle"},
    "matching_numbers_unknown": {"Matching nos.": "hoped"},
    "history_file_unreadable": {"History": "perhaps"},
    "channel_missing": {"Through": None},
    "channel_unknown": {"Through": "raffle"},
    "country_missing": {"Country": None},
    "country_unknown": {"Country": "ZZ"},
    "outcome_missing": {"Result": None},
    "outcome_unknown": {"Result": "stolen"},
    "event_date_missing": {"Date": None},
    "event_date_unreadable": {"Date": "31/02/2024"},
    "event_date_in_future": {"Date": "14/03/2031"},
    "event_date_too_early": {"Date": "02/05/1931", "Year": "1931"},
    "listed_on_unreadable": {"Advertised": "spring"},
    "listed_after_event": {"Date": "01/06/2019", "Advertised": "01/09/2019"},
    "amount_unreadable": {"Price": "on application", "Premium": None},
    "amount_not_positive": {"Price": "-£4,250", "Premium": None},
    "amount_absurd": {"Price": "£987,654,321", "Premium": None},
    "sold_without_amount": {"Price": None, "Premium": None},
    "asking_without_amount": {"Result": "for sale", "Price is": "asked", "Price": None, "Premium": None},
    "asking_outcome_needs_asking_basis": {"Result": "for sale", "Price is": "all in", "Premium": None},
    "asking_basis_needs_asking_outcome": {"Result": "sold", "Price is": "asked", "Premium": None},
    "price_basis_missing": {"Price is": None},
    "price_basis_unknown": {"Price is": "roughly"},
    "premium_unreadable": {"Premium": "usual"},
    "premium_negative": {"Premium": "-£120"},
    "premium_above_amount": {"Price": "£2,000", "Premium": "£20,000"},
    "low_estimate_unreadable": {"Est. low": "modest"},
    "high_estimate_unreadable": {"Est. high": "ambitious"},
    "reserve_unreadable": {"Reserve": "secret"},
    "highest_bid_unreadable": {"Top bid": "not enough"},
    "estimate_not_positive": {"Est. low": "£0", "Est. high": "£4,000"},
    "estimates_reversed": {"Est. low": "£9,000", "Est. high": "£6,000"},
    "reserve_not_positive": {"Reserve": "£0"},
    "highest_bid_not_positive": {"Top bid": "£0"},
    "text_too_long": {"Version": "very " * 120 + "long"},
}
WORKBOOK_DEFECTS: Final[Defects] = {
    "event_date_in_future": {"Datum": date(2029, 5, 5)},
    "amount_not_positive": {"Belopp": -45000.0, "Provision": None},
    "currency_missing": {"Valuta": None},
    "condition_score_out_of_range": {"Skick": None, "Poäng": 250.0},
}

EXCHANGE_DEFECTS: Final[Defects] = {
    "currency_unknown": {"currency": "ECU"},
    "option_unknown": {"extras": ["ejector_seat"]},
    "option_repeated": {"extras": ["overdrive", "overdrive"]},
    "country_unknown": {"country": "XX"},
    "year_out_of_range": {"model_year": 2190},
}


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
        choices = {code: texts.split("; ") for code, texts in words.items()}
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
