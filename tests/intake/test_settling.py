"""Settling what a proposed mapping asks: the answer goes in, the question out, and the rest stays."""

import polars as pl
import pytest

from pricing.errors import MappingError
from pricing.intake.mappings.proposals import Proposal, propose
from pricing.intake.mappings.settling import with_answers

ROW = {
    "Marque": "Corvane",
    "Model": "Six",
    "Built": "1968",
    "Sale date": "3/5/2024",
    "Price": "4,250",
    "Odo": "81",
    "Condition": "tatty",
}


@pytest.fixture
def asked() -> Proposal:
    return propose(pl.DataFrame([ROW, {**ROW, "Sale date": "4/5/2024"}]), "hall")


def test_each_question_of_a_word_is_settled(asked: Proposal) -> None:
    names = {question.name for question in asked.questions}
    assert names == {
        "channel", "currency", "country", "outcome", "price_basis", "order", "odometer_km",
        "condition_band:tatty",
    }  # fmt: skip
    answers = {question.name: question.choices[0] for question in asked.questions}
    settled = with_answers(asked, answers | {"premium": "18,5 %"})
    assert settled.questions == ()
    assert settled.mapping.date_order == "day-month-year"
    assert settled.mapping.constants["channel"] == "auction"
    assert settled.mapping.words == {"condition_band": {"tatty": "project"}}
    (premium,) = settled.mapping.charges
    assert [str(tier.rate) for tier in premium.tiers] == ["0.185"]


def test_a_hammer_price_asks_for_its_premium_and_all_in_does_not(asked: Proposal) -> None:
    hammer = with_answers(asked, {"price_basis": "hammer"})
    assert "premium" in {question.name for question in hammer.questions}
    assert "premium" not in {
        question.name for question in with_answers(hammer, {"price_basis": "all-in"}).questions
    }
    with pytest.raises(MappingError, match="needs the currency"):
        with_answers(hammer, {"premium": "15"})
    settled = with_answers(hammer, {"premium": "15", "currency": "GBP"})
    assert "premium" not in {question.name for question in settled.questions}


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("order", "any", "order is one of day-month-year"),
        ("channel", "auktion", "did you mean auction"),
        ("chanel", "auction", "no answer is called 'chanel'; did you mean channel"),
        ("condition_bant:tatty", "project", "did you mean condition_band"),
        ("condition_band:tatty", "good", "condition_band:tatty is one of project"),
        ("premium", "a lot", "in per cent"),
        ("premium", "150", "between 0 and 100"),
        ("currency", "XYZ", "currency cannot be that"),
    ],
)
def test_what_is_no_choice_is_refused(asked: Proposal, name: str, value: str, told: str) -> None:
    with pytest.raises(MappingError, match=told):
        with_answers(asked, {"currency": "GBP", name: value})


def test_a_word_left_unknown_is_asked_no_more_and_means_nothing(asked: Proposal) -> None:
    settled = with_answers(asked, {"condition_band:tatty": "unknown"})
    assert "condition_band:tatty" not in {question.name for question in settled.questions}
    assert settled.mapping.words == {}
