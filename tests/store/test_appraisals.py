import json
import shutil
from pathlib import Path

import pytest

from pricing.errors import MarketError
from pricing.store.appraisals import Draft, add_revisions, changes_of, last_revisions, read_revision
from pricing.store.market import Market


@pytest.fixture
def path(small_market: Market, tmp_path: Path) -> Path:
    copy = tmp_path / "market.duckdb"
    shutil.copy(small_market.path, copy)
    return copy


def draft(text: str, **more: object) -> Draft:
    return Draft(json.dumps({"text": text}), "{}", "d1", "A. Clerk", "because", **more)  # type: ignore[arg-type]


def test_revisions_are_numbered_and_none_is_lost(path: Path) -> None:
    assert add_revisions(path, [draft("one"), draft("two")]) == [("appraisal-0001", 1), ("appraisal-0002", 1)]
    later = draft("three", appraisal_id="appraisal-0001", after=1, changes=[("text", "one", "three")])
    assert add_revisions(path, [later]) == [("appraisal-0001", 2)]
    assert read_revision(path, "appraisal-0001").number == 2
    first = read_revision(path, "appraisal-0001", 1)
    assert (json.loads(first.record)["text"], first.made_by, first.reason) == ("one", "A. Clerk", "because")
    assert (first.evidence, first.digest) == ("{}", "d1")
    assert last_revisions(path)["revision"].to_list() == [2, 1]
    assert changes_of(path, "appraisal-0001").select("revision", "field", "old", "new").rows() == [
        (1, None, None, None), (2, "text", "one", "three"),
    ]  # fmt: skip


def test_a_revision_of_an_old_one_keeps_nothing_of_its_batch(path: Path) -> None:
    add_revisions(path, [draft("one")])
    stale = draft("two", appraisal_id="appraisal-0001", after=0)
    with pytest.raises(MarketError, match="has had a revision meanwhile: its last is 1, this one follows 0"):
        add_revisions(path, [draft("other"), stale])
    assert last_revisions(path).height == 1


def test_a_market_without_appraisals_has_none(path: Path) -> None:
    assert last_revisions(path).is_empty()
    assert changes_of(path, "appraisal-0001").is_empty()
    with pytest.raises(MarketError, match="holds no appraisal"):
        read_revision(path, "appraisal-0001")
    with pytest.raises(MarketError, match="there is no appraisal"):
        add_revisions(path, [draft("x", appraisal_id="appraisal-0001", after=1)])


def test_names_go_in_as_text(path: Path) -> None:
    name = "'); DROP TABLE appraisals; --"
    add_revisions(path, [Draft("{}", None, None, name, name)])
    assert last_revisions(path)["made_by"].to_list() == [name]
