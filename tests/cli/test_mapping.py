"""The way of a file into a market on the command line: its columns, its layout, its currency, one sale."""

from pathlib import Path

import pytest

from pricing.errors import DoubtError, MappingError, MarketError, PricingError
from pricing.intake.mappings.mapping_files import KEYS
from pricing.store.market import Market
from pricing.words.mapping_keys import MAPPING_KEYS
from tests.cli.test_intake import run

SHEET = (
    "Marque,Modell,Built,Sold on,Price,Odo\n"
    "Corvane,Six,1968,13/05/2024,\"£4,250\",54k miles\nCorvaine,Six,'67,14/05/2024,SEK 45 000,TMU\n"
)  # fmt: skip
SAID = ("channel=private", "price_basis=all-in", "currency=GBP", "country=GB")
ANSWERS = tuple(word for answer in SAID for word in ("--set", answer))


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "club.csv"
    path.write_text(SHEET)
    return path


def test_what_holds_for_the_whole_file_is_given_and_the_file_loads(sheet: Path, tmp_path: Path) -> None:
    shown = run("map", sheet, *ANSWERS)
    assert "Marque" in shown and "100%" in shown and "To settle" not in shown
    market = tmp_path / "market.duckdb"
    said = run("load", sheet, market=market)
    assert "2 rows read: 2 accepted" in said
    assert "currency SEK (1)" in said and "odometer (1)" in said
    assert "prices are kept in GBP" in said
    assert Market.open(market).sales()["year"].sort().to_list() == [1967, 1968]
    assert run("load", sheet, market=market).count("2 already known") == 1


def test_what_is_left_open_is_printed_as_the_command_that_settles_it(sheet: Path) -> None:
    """What was said stands in it, a name with a blank can be typed, and the first mapping is written over."""
    with sheet.open("a") as file:
        file.write("Corvane,Six,1969,15/05/2024,4000,30\n")
    spaced = sheet.rename(sheet.with_name("club sales.csv"))
    shown = " ".join(run("map", spaced, "--set", "currency=GBP").split())
    left = "--set price_basis=... --set channel=... --set country=... --set odometer_km=... --overwrite"
    assert f"with: pricing map '{spaced}' --set currency=GBP {left}" in shown
    with pytest.raises(PricingError, match="--overwrite"):
        run("map", spaced, *ANSWERS)
    assert "To settle" not in run("map", spaced, *ANSWERS, "--set", "odometer_km=miles", "--overwrite")


def test_a_channel_may_stay_unknown_and_a_wrong_answer_is_refused(sheet: Path) -> None:
    assert "[constants] channel" not in run("map", sheet, "--no-write", "--set", "channel=unknown")
    assert "[constants] channel" in run("map", sheet, "--no-write")
    for wrong in ("channel=raffle", "channel", "colour=red", "currency=XYZ"):
        with pytest.raises(MappingError):
            run("map", sheet, "--no-write", "--set", wrong)


def test_a_file_that_is_not_ours_is_told_the_way(sheet: Path, tmp_path: Path) -> None:
    with pytest.raises(PricingError, match=r"has no column .* pricing map .*club.csv"):
        run("load", sheet, market=tmp_path / "market.duckdb")
    assert not (tmp_path / "market.duckdb").exists()


def test_the_layout_is_printed_and_a_template_written(tmp_path: Path) -> None:
    shown = run("format", "--template", tmp_path / "mine.xlsx")
    assert "price_basis" in shown and "hammer, all-in, net, asking" in shown and "required" in shown
    assert (tmp_path / "mine.xlsx").is_file()
    assert "[units] odometer_km" in run("format", "--mapping")


def test_columns_and_words_are_told_without_a_terminal(sheet: Path) -> None:
    shown = run("map", sheet, "--no-write", *ANSWERS, "--column", "Odo=notes", "--set", "channel=unknown")
    assert "chosen" in shown and "odometer_km" not in shown
    with pytest.raises(MappingError, match="did you mean Odo"):
        run("map", sheet, "--no-write", "--column", "Oddo=notes")


def test_every_key_of_a_mapping_is_in_its_help() -> None:
    """Each part that ``mapping_text`` can write stands in the help of the command and of the page."""
    told = " ".join(key for key, _ in MAPPING_KEYS)
    for key in KEYS:
        assert key in told, key
    shown = " ".join(run("map", "--help").split())
    assert all(" ".join(said.split())[:30] in shown for _, said in MAPPING_KEYS)


def test_a_market_without_records_says_what_to_do(tmp_path: Path) -> None:
    Market.open(tmp_path / "market.duckdb")
    with pytest.raises(MarketError, match="holds no records, .* pricing load FILE"):
        run("fit", market=tmp_path / "market.duckdb")


def test_one_sale_is_added_and_taken_out_and_the_currency_changed(tmp_path: Path) -> None:
    market = tmp_path / "market.duckdb"
    cells = ("make=Corvane", "model=Six", "year='68", "amount=£4,250", "outcome=sold", "price_basis=all-in")
    assert "added (batch-0001)" in run("add", *cells, market=market)
    hall = (*cells, "source=the hall", "chassis_number=CV/1234")
    run("add", *cells[:-1], "price_basis=all-in", "chassis_number=CV/1234", "source=notes", market=market)
    with pytest.raises(MarketError, match="may hold this sale already: .*--all-the-same"):
        run("add", *hall, market=market)
    assert Market.open(market).sales(every_record=True).height == 2, "nothing was added"
    assert "It may be one sale with these" in run("add", *hall, "--all-the-same", market=market)
    run("undo", "batch-0003", market=market)
    run("undo", "batch-0002", market=market)
    assert "1 records are priced in EUR" in run("currency", "EUR", market=market)
    record = Market.open(market).sales()["record_id"][0]
    assert "is taken out" in run("remove", record[:6], "--reason", "entered twice", market=market)
    with pytest.raises(MarketError, match="column=value"):
        run("add", "Corvane", market=market)


def test_doubtful_figures_are_asked_about_unless_believed(tmp_path: Path) -> None:
    header = "make,model,year,channel,country,outcome,event_date,amount,currency,price_basis\n"
    rows = [
        f"Corvane,Six,1968,private,GB,sold,2024-05-{day:02d},{10 + day},USD,all-in\n" for day in range(1, 29)
    ]
    (tmp_path / "thousands.csv").write_text(header + "".join(rows))
    with pytest.raises(DoubtError, match="are they in thousands"):
        run("load", tmp_path / "thousands.csv", market=tmp_path / "market.duckdb")
    assert "28 accepted" in run(
        "load", tmp_path / "thousands.csv", "--believe", market=tmp_path / "market.duckdb"
    )
