"""Names that look alike are one name, at every door where a person types one; what is no text is refused.

Categories are those of the Unicode Character Database as Python's `unicodedata` has them; joiners inside
words are those of UAX #31, 2.3; the Persian and the Sinhala word are its examples' kind, from memory.
"""

import json
import re
import unicodedata
from pathlib import Path
from typing import Any, Literal

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.appraisal.record.profiles import keep_profile, profile
from pricing.appraisal.record.record import read_record
from pricing.car import READ_TYPES, Car, checked_cars, today
from pricing.car_names import Names
from pricing.clean_text import clean_lines, clean_name, is_odd
from pricing.errors import AppraisalError, CarError, MarketError, OpinionError, PricingError
from pricing.store.connection import connection, run
from pricing.store.market import Market
from pricing.store.records.loading import LoadReport
from tests.intake.test_untidy_loads import MAPPING, ROW, TODAY, load, theirs
from tests.opinion_market import cells, opinion_market


def load_json(folder: Path, rows: list[dict[str, Any]]) -> tuple[Market, LoadReport]:
    """A file in which every character can be written."""
    path = folder / "notes.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    market = Market.open(folder / "market.duckdb", base_currency="GBP")
    return market, market.load([path], today=TODAY)


FORMS: tuple[Literal["NFC", "NFD"], ...] = ("NFC", "NFD")
LIKE_CORVANE = {
    "zero-width space": "Cor\u200bvane", "word joiner": "Cor\u2060vane", "byte order mark": "\ufeffCorvane",
    "soft hyphen": "Cor\u00advane", "joiner that joins nothing": "Cor\u200dvane\u200c",
    "isolate": "\u2066Corvane\u2069", "mark of direction": "Corvane\u200e", "variation": "Corvane\ufe0f",
    "invisible letter": "Corvane\u3164", "tag": "Corvane\U000e0041", "no-break space": "\u00a0Corvane\u2007",
    "tab": "\tCorvane\r\n", "grapheme joiner": "Cor\u034fvane",
}  # fmt: skip
NO_TEXT = {
    "NUL": "Cor\x00vane", "escape": "\x1b[2JCorvane", "C1": "Corvane\x9b31m", "private use": "Corvane\ue000",
    "none at all": "Corvane\ufffe",
}  # fmt: skip


@pytest.mark.parametrize("make", LIKE_CORVANE.values(), ids=LIKE_CORVANE)
@pytest.mark.parametrize("mapping", [None, MAPPING], ids=["our columns", "theirs"])
def test_what_shows_nothing_makes_no_other_make(tmp_path: Path, make: str, mapping: str | None) -> None:
    row = ROW if mapping is None else theirs()
    market, report = load(tmp_path, [row | {"make": make, "year": "1967"}, row], mapping)
    assert report.accepted == 2 and market.sales()["make"].to_list() == ["Corvane"] * 2
    spaces = {"no-break space", "tab"}
    told = {} if make in {LIKE_CORVANE[name] for name in spaces} else {"make": 1}
    assert report.unseen == told


@pytest.mark.parametrize("make", NO_TEXT.values(), ids=NO_TEXT)
def test_a_make_that_is_no_text_waits_in_quarantine_as_it_was(tmp_path: Path, make: str) -> None:
    market, report = load_json(tmp_path, [ROW | {"make": make}, ROW])
    assert (report.accepted, report.by_rule) == (1, {"make_unreadable": 1})
    (kept,) = market.quarantine()["raw"].str.json_path_match("$.make").to_list()
    assert kept == make


def test_a_cell_that_a_record_can_be_without_goes_to_the_notes(tmp_path: Path) -> None:
    said = {"variant": "de\x00luxe", "chassis_number": "S6\u200b-1042", "body_style": "sa\ue000loon"}
    row = ROW | said | {"notes": "rust\u202e\x1b[2J", "source": "cl\u200bub \x07"}
    market, report = load_json(tmp_path, [row])
    record = market.sales().row(0, named=True)
    assert (record["variant"], record["body_style"], record["chassis_number"]) == (None, None, "S6-1042")
    assert record["notes"] == "rust[2J; variant: deluxe; body style: saloon" and record["source"] == "club"
    assert report.not_known == {"variant": 1, "body_style": 1}
    again = market.load([tmp_path / "notes.jsonl"])
    assert (again.accepted, again.known) == (0, 1)


def test_one_name_composed_and_decomposed_is_one_make(tmp_path: Path) -> None:
    """UAX #15: the two spellings are canonically equivalent."""
    composed, parted = (unicodedata.normalize(form, "Éclair") for form in FORMS)
    rows = [ROW | {"make": composed, "year": "1967"}, ROW | {"make": parted, "year": "1968"}]
    market, _ = load(tmp_path, rows)
    assert market.sales()["make"].unique().to_list() == ["Éclair"]


@pytest.mark.parametrize("word", ["می\u200cخواهم", "ශ්\u200dරී", "क्\u200dष", "日本", "Škoda's №5"])
def test_joiners_stay_in_words_that_need_them(word: str) -> None:
    assert clean_name(word, "a car", PricingError) == unicodedata.normalize("NFC", word)


@given(st.text(max_size=40))
def test_a_cleaned_text_is_clean(text: str) -> None:
    lines = clean_lines(text)
    assert clean_lines(lines) == lines
    unseen = {"\u200c", "\u200d"}
    assert all(unicodedata.category(letter) != "Cs" for letter in lines)
    try:
        name = clean_name(text, "a car", PricingError)
    except PricingError:
        return
    assert clean_name(name, "a car", PricingError) == name == name.strip() and "  " not in name
    seen = [letter for letter in name if letter not in unseen]
    assert not {unicodedata.category(letter) for letter in seen} & {"Cc", "Cs", "Co", "Zl", "Zp"}
    assert not set(name) & {"\u200b", "\u202e", "\u2066", "\ufeff", "\u00ad"}


def car(**said: str) -> dict[str, Any]:
    return {"make": "Corvane", "model": "Six", "year": 1968} | said


def test_a_car_is_asked_about_by_what_is_seen_of_its_name() -> None:
    known = Names.of(pl.DataFrame({"make": ["Corvane"], "model": ["Six"], "variant": [None]}))
    asked = Car.checked(car(make="Cor\u200bvane\u202e", chassis_number="S\u200b6"), known=known)
    assert (asked.make, asked.chassis_number) == ("Corvane", "S6")
    for said, told in (
        ({"make": "Cor\x00vane"}, "control character U+0000 after 'Cor'"),
        ({"chassis_number": "S6\x1b"}, r"control character U\+001B"),
    ):
        with pytest.raises(CarError, match=told.replace("U+0", r"U\+0")):
            Car.checked(car(**said), known=known)
        _, refused = checked_cars(pl.DataFrame([car(**said)], schema=READ_TYPES), known, today())
        assert refused[0] is not None


def test_a_market_of_earlier_days_with_such_names_opens_and_answers(tmp_path: Path) -> None:
    market, _ = load(tmp_path, [ROW])
    with connection(market.path, write=True) as opened:
        run(opened, "UPDATE records SET make = 'Cor' || chr(8203) || chr(27) || 'vane'")
    names = Names.of(Market.open(market.path).sales())
    assert Car.checked(car(), known=names).make == "Cor\u200b\x1bvane"
    (record_id,) = market.sales()["record_id"]
    with pytest.raises(MarketError, match="make_unreadable"):
        market.correct(record_id, {"year": "1967"}, reason="seen on the plate")
    market.correct(record_id, {"make": "Corvane", "year": "1967"}, reason="seen on\x00 the plate")
    assert market.sales()["make"].to_list() == ["Corvane"]


def test_names_that_a_person_gives_are_cleaned_or_refused(tmp_path: Path) -> None:
    market = opinion_market(tmp_path / "market.duckdb")
    record = read_record({"valuer": {"name": "A. Valuer"}})
    car_id = market.kept_cars.keep("the\u200b green  one", {}, "sills\u202e\x00 new\nand painted")
    held = market.kept_cars.one("The Green One")
    assert (held.car_id, held.notes) == (car_id, "sills new\nand painted")
    market.tokens.new("Zo\u0065\u0308 \u200bdesk", "read")
    assert market.tokens.listed()["name"].to_list() == ["Zoë desk"]
    keep_profile(market, "valuer", "my\u00a0desk\ufeff", record)
    assert profile(market, "my desk").kind == "valuer"
    added = market.statements.add(cells().with_columns(source=pl.lit("B. \u200bRowe")))
    assert added.kept and set(market.opinions()["source"]) == {"A. Rowe", "B. Rowe"}
    for wrong in ("a\x1b[2J", "a\x00", "a\ue000", "a\ud800\x07"):
        with pytest.raises(MarketError, match="a kept car holds the"):
            market.kept_cars.keep(wrong, {})
        with pytest.raises(MarketError, match="a token holds the"):
            market.tokens.new(wrong, "read")
        with pytest.raises(AppraisalError, match="a profile holds the"):
            keep_profile(market, "valuer", wrong, record)
        with pytest.raises(MarketError, match="a make holds the"):
            market.settle_name("make", "corvaine", wrong)
    for empty in ("\u200b", "\u202e \ufeff"):
        with pytest.raises(MarketError, match="needs a name"):
            market.kept_cars.keep(empty, {})
        with pytest.raises(MarketError, match="needs a name"):
            market.tokens.new(empty, "read")
    with pytest.raises(OpinionError, match="cannot be read: source"):
        market.statements.add(cells().with_columns(source=pl.lit("B.\x00Rowe")))


@given(st.lists(st.none() | st.text(st.sampled_from(" aZ~\x7f\x1fé\u200b"), max_size=4), max_size=6))
def test_a_column_is_odd_where_one_of_its_cells_is(cells: list[str | None]) -> None:
    """By its bytes all at once as by its cells one by one, also where two cells meet in spaces; a part of a
    column by its own cells."""
    column = pl.Series("cell", [*cells, "two  spaces"], pl.String)[:-1]
    odd = [cell for cell in cells if cell is not None and ("  " in cell or re.search("[^ -~]", cell))]
    assert is_odd(column) == bool(odd)
