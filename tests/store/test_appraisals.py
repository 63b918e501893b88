import json
import shutil
from pathlib import Path

import pytest

from pricing.errors import MarketError
from pricing.store.kept.appraisals import Appraisals, Draft
from pricing.store.market import Market


@pytest.fixture
def kept(small_market: Market, tmp_path: Path) -> Appraisals:
    copy = tmp_path / "market.duckdb"
    shutil.copy(small_market.path, copy)
    return Market.open(copy).appraisals


def draft(text: str, **more: object) -> Draft:
    return Draft(json.dumps({"text": text}), "{}", "d1", "A. Clerk", "because", **more)  # type: ignore[arg-type]


def test_revisions_are_numbered_and_none_is_lost(kept: Appraisals) -> None:
    assert kept.keep([draft("one"), draft("two")]) == [("appraisal-0001", 1), ("appraisal-0002", 1)]
    later = draft("three", appraisal_id="appraisal-0001", after=1, changes=[("text", "one", "three")])
    assert kept.keep([later]) == [("appraisal-0001", 2)]
    assert kept.revision("appraisal-0001").number == 2
    first = kept.revision("appraisal-0001", 1)
    assert (json.loads(first.record)["text"], first.made_by, first.reason) == ("one", "A. Clerk", "because")
    assert (first.evidence, first.digest) == ("{}", "d1")
    assert kept.last_revisions()["revision"].to_list() == [2, 1]
    assert kept.changes_of("appraisal-0001").select("revision", "field", "old", "new").rows() == [
        (1, None, None, None), (2, "text", "one", "three"),
    ]  # fmt: skip


def test_a_revision_of_an_old_one_keeps_nothing_of_its_batch(kept: Appraisals) -> None:
    kept.keep([draft("one")])
    stale = draft("two", appraisal_id="appraisal-0001", after=0)
    with pytest.raises(MarketError, match="has had a revision meanwhile: its last is 1, this one follows 0"):
        kept.keep([draft("other"), stale])
    assert kept.last_revisions().height == 1


def test_a_market_without_appraisals_has_none(kept: Appraisals) -> None:
    assert kept.last_revisions().is_empty()
    assert kept.changes_of("appraisal-0001").is_empty()
    with pytest.raises(MarketError, match="holds no appraisal"):
        kept.revision("appraisal-0001")
    with pytest.raises(MarketError, match="there is no appraisal"):
        kept.keep([draft("x", appraisal_id="appraisal-0001", after=1)])


def test_names_go_in_as_text(kept: Appraisals) -> None:
    name = "'); DROP TABLE appraisals; --"
    kept.keep([Draft("{}", None, None, name, name)])
    assert kept.last_revisions()["made_by"].to_list() == [name]
