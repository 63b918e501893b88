"""Settling what a mapping asks: the answer goes in, the question out, and the rest stays."""

import polars as pl
import pytest

from pricing.errors import MappingError
from pricing.intake.proposals import open_questions, propose
from pricing.intake.settling import answerable, settled

ROW = {
    "Marque": "Corvane",
    "Model": "Six",
    "Built": "1968",
    "Sale date": "3/5/2024",
    "Price": "4,250",
    "Odo": "81",
}


def test_each_question_of_one_word_is_settled_and_the_others_are_left() -> None:
    text = propose(pl.DataFrame([ROW, {**ROW, "Sale date": "4/5/2024"}]), "hall").text
    before = open_questions(text)
    questions = answerable(text)
    assert {question.key for question in questions} >= {"order", "channel", "currency", "country"}
    for question in questions:
        text = settled(text, question, question.choices[0])
    assert answerable(text) == ()
    assert open_questions(text) == [
        asked for asked in before if asked not in {question.text for question in questions}
    ]
    assert 'order = "day-month-year"' in text
    assert 'channel = "auction"' in text


def test_what_is_no_choice_or_no_mapping_is_refused() -> None:
    text = '# To settle: [dates] order: which\nsource = "hall"\n[columns]\nevent_date = "Day"\n'
    (question,) = answerable(text)
    with pytest.raises(MappingError, match="order is one of"):
        settled(text, question, "any")
    with pytest.raises(MappingError, match="cannot be read as TOML"):
        settled(text + "[", question, "day-month-year")
