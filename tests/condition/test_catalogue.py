from decimal import Decimal
from pathlib import Path

import pytest

from pricing.condition.catalogue import LABOUR_KINDS, Catalogue, read_quotes
from pricing.errors import InspectionError, PricingError
from tests.condition.walks import CATALOGUE, catalogue

GOOD = """
[catalogue]
name = "own"
notice = "mine"
currency = "EUR"
price_date = 2024-01-02
[tax]
DE = 0.19
[labour.DE]
currency = "EUR"
welding = 50
[[job]]
id = "weld"
title = "Weld"
area = "structure"
kind = "welding"
per = "place"
parts = [1, 2.5, 3]
hours = [1, 2, 3]
"""

QUOTE = """
[[quote]]
job = "weld"
amount = [100, 110.5, 150]
currency = "EUR"
by = "A workshop"
quoted_on = 2024-05-01
"""


def test_figures_are_exact(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(GOOD)
    own = Catalogue.open(tmp_path / "own.toml")
    assert own.job("weld").parts == (Decimal(1), Decimal("2.5"), Decimal(3))
    assert own.labour_rate("DE", "welding") == 50
    assert own.tax_rate("DE") == Decimal("0.19")


def test_the_demo_catalogue_says_that_it_is_invented() -> None:
    demo = catalogue()
    assert "Invented" in demo.notice
    assert CATALOGUE.read_text().startswith("# INVENTED demo data")
    for country in demo.tax:
        assert all(demo.labour_rate(country, kind) > 0 for kind in LABOUR_KINDS)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("hours = [1, 2, 3]", "hours = [-1, 2, 3]", "job 'weld': hours.0: got -1, expected a number from 0"),
        (
            "hours = [1, 2, 3]",
            "hours = [3, 2, 1]",
            "job 'weld': hours: low, likely, high must rise, got 3 / 2 / 1",
        ),
        ("hours = [1, 2, 3]", "hours = [1, 2]", "job 'weld': hours.2 is missing"),
        ("hours = [1, 2, 3]", 'hours = [1, "2", 3]', "job 'weld': hours.1: got '2', expected a number"),
        ("hours = [1, 2, 3]", "hours = [1, nan, 3]", "job 'weld': hours.1: got NaN"),
        ("hours = [1, 2, 3]", "hours = [1, inf, 3]", "job 'weld': hours.1: got Infinity"),
        ("hours = [1, 2, 3]", "", "job 'weld': hours is missing"),
        (
            "hours = [1, 2, 3]",
            'hours = [1, 2, 3]\nincludes = ["x"]',
            "job 'weld' includes the unknown job 'x'",
        ),
        ('kind = "welding"', 'kind = "magic"', "kind should be .*'welding'.*; got 'magic'"),
        ('area = "structure"', 'area = "roof"', "area should be .*'structure'.*; got 'roof'"),
        ('per = "place"', 'per = "day"', "per should be 'car' or 'place'; got 'day'"),
        ('id = "weld"', "", "job 1: id is missing"),
        ("DE = 0.19", "DE = -0.1", "tax.DE: got -0.1"),
        ("welding = 50", "baking = 50", "unknown key 'labour.DE.baking'"),
        ('[labour.DE]\ncurrency = "EUR"', "[labour.DE]", "labour.DE.currency is missing"),
        ('currency = "EUR"\nprice', 'currency = "EURO"\nprice', "'EURO' is not an ISO 4217 code"),
        ('notice = "mine"', "", "catalogue.notice is missing"),
        ("price_date = 2024-01-02", 'price_date = "x"', "catalogue.price_date should be a valid date"),
        ("[tax]\nDE = 0.19", "", "tax is missing"),
        ("[catalogue]", "[catalog]", "catalogue is missing"),
        ("[catalogue]", "[catalogue", "cannot be read as TOML"),
    ],
)
def test_a_catalogue_that_makes_no_sense_is_refused_in_one_line(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    assert old in GOOD
    (tmp_path / "own.toml").write_text(GOOD.replace(old, new))
    with pytest.raises(PricingError, match=message) as caught:
        Catalogue.open(tmp_path / "own.toml")
    assert "\n" not in str(caught.value).strip()


def test_a_job_twice_is_refused(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(GOOD + GOOD[GOOD.index("[[job]]") :])
    with pytest.raises(InspectionError, match="job 'weld' stands there twice"):
        Catalogue.open(tmp_path / "own.toml")


def test_what_the_catalogue_lacks_is_named() -> None:
    with pytest.raises(InspectionError, match="unknown job 'polish'"):
        catalogue().job("polish")
    with pytest.raises(InspectionError, match="no labour rate for 'paint' in country 'XX'"):
        catalogue().labour_rate("XX", "paint")
    with pytest.raises(InspectionError, match="no tax rate for country 'XX'"):
        catalogue().tax_rate("XX")


def test_quotes_are_read_as_a_range_or_one_figure(tmp_path: Path) -> None:
    (tmp_path / "q.toml").write_text(QUOTE + QUOTE.replace("[100, 110.5, 150]", "99"))
    ranged, fixed = read_quotes(tmp_path / "q.toml")
    assert ranged.amount == (Decimal(100), Decimal("110.5"), Decimal(150))
    assert fixed.amount == (Decimal(99),) * 3


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[100, 110.5, 150]", "[150, 110.5, 100]", "quote 'weld': amount: low, likely, high must rise"),
        ("[100, 110.5, 150]", "-1", "amount.0: got -1"),
        ('currency = "EUR"', 'currency = "XYZ"', "'XYZ' is not an ISO 4217 code"),
        ('currency = "EUR"', "", "'weld': currency is missing"),
        ("2024-05-01", '"May"', "quoted_on should be a valid date"),
        ("[[quote]]", "[[quotes]]", "unknown key 'quotes'"),
    ],
)
def test_a_quote_that_makes_no_sense_is_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    (tmp_path / "q.toml").write_text(QUOTE.replace(old, new))
    with pytest.raises(PricingError, match=message):
        read_quotes(tmp_path / "q.toml")
