from pathlib import Path

import pytest

from pricing.errors import EvidenceError
from pricing.evidence.comparison.choices import Choice, in_force, keep, kept
from pricing.store.market import Market


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (("r", "drop", "  "), "needs a reason in writing"),
        (("r", "remove", "why"), "a choice is one of add, drop, weigh, adjust"),
        (("", "drop", "why"), "needs its record id"),
        (("r", "adjust", "why"), "needs a line and a per cent"),
        (("r", "drop", "why", "date", 3.0), "nothing else has them"),
        (("r", "adjust", "why", "date", -100.0), "between -95 and 1000"),
        (("r", "adjust", "why", "date", float("nan")), "between -95 and 1000"),
        (("r", "drop", "x" * 2001), "at most 2000 characters"),
    ],
)
def test_a_choice_without_what_it_needs_is_refused(given: tuple[object, ...], message: str) -> None:
    with pytest.raises(EvidenceError, match=message):
        Choice(*given)  # type: ignore[arg-type]


def test_choices_stay_on_file_in_order_and_in_the_audit(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    first = [Choice("a", "drop", "it burnt"), Choice("b", "adjust", "brothers", line="date", per_cent=-2.5)]
    assert kept(market, "the blue one") == ()
    keep(market, "the blue one", first)
    keep(market, "the blue one", [Choice("a", "add", 'another car burnt; it\'s "fine"')])
    keep(market, "another", [Choice("c", "drop", "unseen")])
    stayed = kept(market, "the blue one")
    assert stayed[:2] == tuple(first)
    assert in_force(stayed)[("a", "")].action == "add"
    assert market.audit()["action"].to_list() == [
        "evidence drop",
        "evidence adjust",
        "evidence add",
        "evidence drop",
    ]


def test_choices_need_a_name_for_the_subject(tmp_path: Path) -> None:
    market = Market.open(tmp_path / "market.duckdb")
    with pytest.raises(EvidenceError, match="kept under a name"):
        keep(market, " ", [Choice("a", "drop", "it burnt")])
