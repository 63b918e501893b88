"""Work under a key is done once and kept with what came of it, in a file and on a server."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pricing.errors import DoneMeanwhileError
from pricing.store.kept.answers import IdempotencyKey, KeptAnswer
from pricing.store.kept.appraisals import Draft
from pricing.store.market import Market
from tests.postgres_server import PostgresServer
from tests.store.postgres.test_copy import contents
from tests.store.test_market import TODAY, write

IDEMPOTENCY = IdempotencyKey("a key", "what is asked", 201)


def works(folder: Path) -> dict[str, Callable[[Market], object]]:
    rows = write(folder / "notes.csv", {})
    return {
        "load": lambda market: market.load([rows], today=TODAY),
        "fit": lambda market: market.store_fit(b"fit", {"rows": 1}),
        "appraisal": lambda market: market.appraisals.keep([Draft("{}", None, None, "anna", "first")]),
        "undo": lambda market: market.undo("batch-0001"),
    }


@pytest.mark.parametrize("name", ["load", "fit", "appraisal", "undo"])
def test_a_key_is_used_once_and_what_came_of_it_is_kept_in_the_same_write(tmp_path: Path, name: str) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    if name == "undo":
        works(tmp_path)["load"](market)
    work = works(tmp_path)[name]
    assert market.answers.kept("a key") is None
    work(market.under(IDEMPOTENCY))
    kept = market.answers.kept("a key")
    assert kept is not None and (kept.request, kept.status) == ("what is asked", 201)
    came: dict[str, dict[str, object]] = {
        "load": {"read": 1, "accepted": 1, "batch_id": "batch-0001"}, "fit": {"fit_id": "fit-0001"},
        "appraisal": {"appraisal_id": "appraisal-0001", "revision": 1},
        "undo": {"batch_id": "batch-0001", "records": 1},
    }  # fmt: skip
    assert came[name].items() <= kept.result.items()
    before = contents(market.path)
    with pytest.raises(DoneMeanwhileError):
        works(tmp_path)["fit"](market.under(IDEMPOTENCY))
    assert contents(market.path) == before


def test_what_only_was_tried_leaves_the_key_free(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb").under(IDEMPOTENCY)
    rows = write(tmp_path / "notes.csv", {})
    assert market.load([rows], today=TODAY, dry_run=True).accepted == 1
    assert market.answers.kept("a key") is None
    assert market.load([rows], today=TODAY).accepted == 1


def test_a_key_is_held_by_one_at_a_time_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    held = Market.open(tmp_path / "market.duckdb").answers.key_held
    with held("a key") as mine, held("a key") as again, held("b") as other:
        assert (mine, again, other) == (True, False, True)
    with held("a key") as mine:
        assert mine
    (folder,) = tmp_path.glob("pricing-keys-*")
    assert list(folder.iterdir()) == []


def test_a_key_is_held_on_every_machine_and_used_once_on_the_server(desk: Callable[[str], Market]) -> None:
    here, there = desk("here"), desk("there")
    assert here.path != there.path
    with here.answers.key_held("a key") as mine, there.answers.key_held("a key") as theirs:
        assert (mine, theirs) == (True, False)
    with there.answers.key_held("a key") as theirs:
        assert theirs
    assert here.under(IDEMPOTENCY).store_fit(b"fit", {"rows": 1}) == "fit-0001"
    with pytest.raises(DoneMeanwhileError):
        there.under(IDEMPOTENCY).store_fit(b"another fit", {"rows": 1})
    kept = KeptAnswer("what is asked", 201, {"fit_id": "fit-0001"})
    assert there.answers.kept("a key") == here.answers.kept("a key") == kept
    assert there.fits().height == 1


def test_a_key_goes_with_the_session_that_is_cut(
    desk: Callable[[str], Market], postgres: PostgresServer
) -> None:
    here, there = desk("here"), desk("there")
    with here.answers.key_held("a key"):
        postgres.cut_sessions()
        with there.answers.key_held("a key") as theirs:
            assert theirs
