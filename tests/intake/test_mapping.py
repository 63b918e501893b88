"""Their columns into ours: units, dates, money, words, options; and the mapping file, there and back."""

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pricing.errors import FileError, MappingError
from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import (
    mapping_beside,
    mapping_text,
    read_mapping,
    write_mapping_text,
)
from pricing.intake.tables.layout import Layout
from pricing.money.charges import Charge, Tier

SOURCE = 'Halle "Nord" \\ Süd'
FULL = Mapping(
    source=SOURCE,
    columns={"make": "Märke", "amount": "Preis €", "odometer_km": "Miles", "event_date": "Datum"},
    constants={"country": "DE", "channel": "auction"},
    layout=Layout("Lots", ";", "latin-1", 3),
    date_order="day-month-year",
    decimal=",",
    odometer_unit="thousand miles",
    words={"condition_band": {"scheunenfund, echt": "project"}},
    option_columns={"overdrive": "O/D"},
    packed_options="Extras",
    option_separator=",",
    option_words={"speichenräder": "wire_wheels"},
    yes=("ja",),
    charges=(
        Charge(
            SOURCE,
            "premium",
            date(2020, 1, 1),
            "EUR",
            (Tier(Decimal("0.15"), Decimal(50_000)), Tier(Decimal("0.125"))),
            Decimal("0.2"),
            Decimal(100),
        ),
        Charge(SOURCE, "commission", date(2021, 1, 1), "EUR", (Tier(Decimal("0.1")),)),
    ),
)


def landed(mapping: Mapping, **cells: Any) -> dict[str, Any]:
    """One row of theirs as columns of ours."""
    return mapping.apply(pl.DataFrame([cells])).row(0, named=True)


def test_a_mapping_file_comes_back_as_it_went(tmp_path: Path) -> None:
    write_mapping_text(mapping_text(FULL), tmp_path / "a.csv.mapping.toml")
    assert mapping_beside(tmp_path / "a.csv") == FULL
    assert mapping_beside(tmp_path / "b.csv") is None
    with pytest.raises(FileError, match="is there already"):
        write_mapping_text("", tmp_path / "a.csv.mapping.toml")


def test_every_part_of_a_row_is_read_as_the_mapping_says() -> None:
    row = landed(
        FULL,
        **{"Märke": "Corvane", "Preis €": "4.250,50 €", "Miles": "45,5", "Datum": "3.4.2024"},
        **{"O/D": "Ja", "Extras": "Speichenräder, tow bar,, ejector seat"},
    )
    assert row == {
        "source": SOURCE, "country": "DE", "channel": "auction", "make": "Corvane", "amount": "4250.50",
        "odometer_km": "73225.2", "event_date": "2024-04-03", "currency": "EUR",
        "options": ["overdrive", "wire_wheels", "tow_bar", "ejector seat"],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "decimal", "amount", "currency"),
    [
        ("£4,250", ".", "4250", "GBP"),
        ("4.250,00 €", ",", "4250.00", "EUR"),
        ("SEK 45 000", ".", "45000", "SEK"),
        ("45\u202f000 kr", ".", "45000", None),
        ("CHF 12'500.-", ".", "12500", "CHF"),
        ("US$ 1,000,000", ".", "1000000", "USD"),
        ("$900", ".", "900", None),
        ("€4.2k", ".", "4200", "EUR"),
        ("4,25", ".", "4.25", None),
        ("4.250,00", ".", "4250.00", None),
        ("1,2,3", ".", "1,2,3", None),
        ("POA", ".", None, None),
        ("-£50", ".", "-50", "GBP"),
    ],
)
def test_money_as_people_type_it(typed: str, decimal: str, amount: str | None, currency: str | None) -> None:
    row = landed(Mapping("s", {"amount": "Price"}, decimal=decimal), Price=typed)
    assert (row["amount"], row["currency"]) == (amount, currency)


def test_a_stated_currency_goes_before_the_one_in_the_text() -> None:
    row = landed(Mapping("s", {"amount": "Price", "currency": "Ccy"}), Price="£4,250", Ccy="IEP")
    assert row["currency"] == "IEP"
    assert landed(Mapping("s", {"amount": "Price"}, {"currency": "FKP"}), Price="£4,250")["currency"] == "FKP"


@pytest.mark.parametrize(
    ("typed", "order", "day"),
    [
        ("03/04/2024", None, "03/04/2024"),
        ("2024-04-03", None, "2024-04-03"),
        ("2024-04-03T10:00:00Z", None, "2024-04-03"),
        ("03/04/2024", "day-month-year", "2024-04-03"),
        ("03/04/2024", "month-day-year", "2024-03-04"),
        ("2024.4.3", "year-month-day", "2024-04-03"),
        ("3-Apr-24", "day-month-year", "2024-04-03"),
        ("April 3, 2024", "month-day-year", "2024-04-03"),
        ("31/02/2024", "day-month-year", "31/02/2024"),
    ],
)
def test_dates_are_read_in_the_stated_order_only(typed: str, order: str | None, day: str) -> None:
    assert landed(Mapping("s", {"event_date": "Date"}, date_order=order), Date=typed)["event_date"] == day


def test_free_text_becomes_a_band_when_its_phrases_agree() -> None:
    mapping = Mapping("s", {"condition_band": "State"}, words={"condition_band": {"needs all": "project"}})
    said = ["A Barn Find", "needs all, barn find", "barn find, now concours", "nice", "AVERAGE"]
    frame = mapping.apply(pl.DataFrame({"State": said}))
    assert frame["condition_band"].to_list() == ["project", "project", said[2], "nice", "average"]


def test_typed_cells_are_taken_as_they_are() -> None:
    mapping = Mapping(
        "s", {"event_date": "Day", "amount": "Paid", "odometer_km": "Miles"}, odometer_unit="miles"
    )
    row = landed(mapping, Day=date(2024, 4, 3), Paid=4250.5, Miles=1000)
    assert (row["event_date"], row["amount"], row["odometer_km"]) == (date(2024, 4, 3), 4250.5, "1609.3")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "a mapping names its source: source = "),
        ("source = 1", "source should be a text; got '1'"),
        ('source = "s"\nsources = 1', "unknown key 'sources'; did you mean source"),
        ('source = "s"\n[columns]\ncolour = "x"', "unknown names in .columns.: colour"),
        ('source = "s"\n[columns]\nmake = ["x"]', "columns.make should be a text"),
        ('source = "s"\n[columns]\nmake = "x"\n[constants]\nmake = "y"', "from a column and from a constant"),
        ('source = "s"\n[columns]\noptions = "x"\n[options]\npacked = "y"', "keep one"),
        ('source = "s"\n[dates]\norder = "dmy"', "expected one of 'day-month-year'"),
        ('source = "s"\n[numbers]\ndecimal = ";"', "numbers.decimal"),
        ('source = "s"\n[units]\nodometer_km = "leagues"', "units.odometer_km"),
        ('source = "s"\nencoding = "klingon"', "encoding"),
        ('source = "s"\n[words.make]\na = "b"', "unknown names in .words."),
        ('source = "s"\n[options.columns]\nejector = "x"', "options.columns"),
        ('source = "s"\n[[premium]]\nfrom = 2020-01-01', "currency is missing"),
        ("source = ", "cannot be read as TOML"),
    ],
)
def test_a_mapping_file_that_is_wrong_says_where(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "m.toml").write_text(text)
    with pytest.raises(MappingError, match=message) as caught:
        read_mapping(tmp_path / "m.toml")
    assert "m.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_mapping_that_cannot_be_read_says_so(tmp_path: Path) -> None:
    with pytest.raises(MappingError, match="cannot be read"):
        read_mapping(tmp_path / "absent.toml")
