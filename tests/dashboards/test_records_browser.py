"""The head of a file of the demo market goes in through a real browser, on a desk and on a phone."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

import data_demo
from dashboards.recording.mapping import called
from pricing.intake.mappings.mapping_files import write_mapping_text
from pricing.intake.mappings.proposals import propose
from pricing.intake.tables.readers import read_whole
from pricing.store.market import Market
from pricing.words.loading import load_sentence
from tests.dashboards.browser import (
    DESKTOP,
    OVERFLOW,
    PHONE,
    choose,
    chromium,
    no_errors,
    served,
    shot,
    window,
)
from tests.ports import free_port

pytestmark = pytest.mark.browser


@pytest.fixture
def base(tmp_path: Path) -> Iterator[str]:
    chromium()
    with served(Market.open(tmp_path / "market.duckdb").path, free_port()) as found:
        yield found


@pytest.mark.parametrize(
    "size", [DESKTOP, pytest.param(PHONE, marks=pytest.mark.soak)], ids=["desktop", "phone"]
)
def test_a_file_without_its_mapping_is_seen_counted_loaded_and_taken_back(
    size: tuple[int, int], browser: Browser, base: str, tmp_path: Path
) -> None:
    (demo,) = [path for path in data_demo.files() if path.suffix == ".csv"]
    file = tmp_path / demo.name
    file.write_bytes(b"".join(demo.read_bytes().splitlines(keepends=True)[:400]))
    proposal = propose(read_whole(file), file.name.split(".")[0])
    mapping = tmp_path / "mapping.toml"
    write_mapping_text(proposal.text, mapping)
    expected = Market.open(tmp_path / "other.duckdb").load([file], mapping=mapping)
    market = Market.open(tmp_path / "market.duckdb")
    with window(size, browser) as (opened, errors):
        opened.goto(f"{base.rstrip('/')}/records")
        opened.locator("input[type=file]").first.set_input_files(file)
        for column in proposal.columns:
            expect(
                opened.get_by_role("combobox", name=f"What {column.theirs!r} is", exact=True)
            ).to_have_value(called(column.ours))
        opened.get_by_text(load_sentence(expected, dry_run=True)).wait_for()
        assert max(opened.evaluate(OVERFLOW)) <= 0
        assert market.batches().is_empty()
        opened.get_by_role("button", name="Load the file now").click()
        opened.get_by_text(load_sentence(expected)).wait_for()
        assert max(opened.evaluate(OVERFLOW)) <= 0
        assert market.batches()["accepted"].to_list() == [expected.accepted]
        with opened.expect_download() as given:
            opened.get_by_role("button", name="Download the rejected rows").click()
        assert given.value.suggested_filename == "rejected_rows.zip"
        shot(opened, tmp_path / "page.png", whole=False)
        opened.reload()
        opened.get_by_text("What waits for you").wait_for()
        choose(opened, "Batch to take back", re.compile("batch-0001"))
        opened.get_by_role("button", name="Take back").click()
        opened.get_by_role("button", name="Take batch-0001 back now").click()
        opened.get_by_text("records of batch-0001 are gone").wait_for()
        assert market.sales().is_empty()
    assert (tmp_path / "page.png").stat().st_size > 30_000
    assert no_errors(errors)
