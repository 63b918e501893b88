"""Profiles: what a desk answers alike, kept in the market, taken over, and told to nobody else."""

from dataclasses import fields

import pytest

from pricing.appraisal.record.profiles import (
    KINDS,
    answers_of,
    keep_profile,
    profile,
    profiles,
    with_profiles,
)
from pricing.appraisal.record.record import Appraisal, read_record
from pricing.appraisal.record.sections import SECTIONS
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError, MarketError
from pricing.store.market import Market


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_kept_is_what_is_taken_over_and_nothing_else(market: Market, entry: Entry, kind: str) -> None:
    made = keep_profile(market, kind, f"the {kind}", entry.record)
    taken = with_profiles(Appraisal(), [profile(market, f"the {kind}")])
    assert answers_of(taken, kind) == made.answers == answers_of(entry.record, kind) != {}
    blank = read_record({})
    for other in KINDS:
        if other != kind:
            assert answers_of(taken, other) == answers_of(blank, other) == {}
    market.profiles.forget(kind, f"the {kind}")
    assert profiles(market) == []


def test_every_field_of_a_profile_is_one_of_the_record_and_of_one_kind_only() -> None:
    names = [name for asked in KINDS.values() for name in asked]
    assert len(set(names)) == len(names)
    for name in names:
        section, _, field = name.partition(".")
        assert field in {part.name for part in fields(SECTIONS[section])}
    anew = {"assignment.conflicts", "assignment.prior_services", "valuer.completed_on", "opinion.figure"}
    assert not anew & set(names)


def test_a_profile_replaces_the_one_of_its_name_and_refuses_what_makes_no_sense(
    market: Market, entry: Entry
) -> None:
    keep_profile(market, "valuer", "desk", entry.record)
    other = read_record({"valuer": {"name": "B. Valuer"}, "assignment": {"client": "Trust"}})
    keep_profile(market, "valuer", "desk", other)
    assert profile(market, "desk").answers == {"valuer.name": "B. Valuer"}
    keep_profile(market, "client", "desk", other)
    with pytest.raises(AppraisalError, match="is a profile of client and of valuer: say which"):
        profile(market, "desk")
    with pytest.raises(AppraisalError, match="there is no firm profile 'desk'"):
        profile(market, "desk", "firm")
    with pytest.raises(AppraisalError, match="answers none of valuer.firm"):
        keep_profile(market, "firm", "desk", other)
    with pytest.raises(AppraisalError, match="no kind of profile 'team'"):
        keep_profile(market, "team", "desk", other)
    with pytest.raises(MarketError, match="there is no texts profile 'desk'"):
        market.profiles.forget("texts", "desk")
    for kind in ("valuer", "client"):
        market.profiles.forget(kind, "desk")


def test_what_a_profile_says_stands_in_the_market_alone(market: Market, entry: Entry) -> None:
    keep_profile(market, "valuer", "desk", entry.record)
    told = market.audit().write_json()
    assert "desk" in told and "Contact Psi" not in told
    market.profiles.forget("valuer", "desk")
