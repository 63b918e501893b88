from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pricing.errors import OpinionError
from pricing.opinions.elicitation import ANSWERS, CLOSE, Bisection, tails


def answered(law: Any, least: float, most: float) -> tuple[Bisection, int]:
    """The quartiles of somebody who has this law of the log price in mind, and how many questions it took."""
    asked, questions = Bisection.between(Decimal(str(least)), Decimal(str(most))), 0
    shares = {"median": 0.5, "lower quartile": 0.25, "upper quartile": 0.75}
    while not asked.done:
        below = law.cdf(np.log(float(asked.price)))
        wanted = shares[asked.stage]
        asked = asked.answered(ANSWERS[0] if below < wanted else ANSWERS[2])
        questions += 1
    return asked, questions


@given(st.floats(6.0, 11.0), st.floats(0.1, 0.5))
def test_quartiles_come_out_as_they_were_in_mind(middle: float, spread: float) -> None:
    law = stats.norm(middle, spread)
    least, most = np.exp(law.ppf([0.0005, 0.9995]))
    asked, questions = answered(law, float(least), float(most))
    found = np.log([float(price) for price in asked.quartiles])
    assert np.all(np.diff(found) > 0)
    assert np.all(np.abs(found - law.ppf([0.25, 0.5, 0.75])) < 2.5 * np.log(CLOSE))
    assert questions < 30


def test_what_is_fed_back_is_the_law_through_the_quartiles() -> None:
    """A normal law has its quartiles .6745 and its outer tenths 1.2816 deviations from the middle."""
    law = stats.norm(8.0, 0.3)
    quartiles = tuple(Decimal(str(price)) for price in np.exp(law.ppf([0.25, 0.5, 0.75])))
    assert np.log(tails(quartiles)) == pytest.approx(law.ppf([0.1, 0.9]))  # type: ignore[arg-type]


def test_questions_end_and_wrong_answers_are_refused() -> None:
    asked = Bisection.between(Decimal(1000), Decimal(9000))
    with pytest.raises(OpinionError, match="the median is not known yet"):
        _ = asked.quartiles
    with pytest.raises(OpinionError, match="the answer is one of"):
        asked.answered("perhaps")
    for _ in range(3):
        asked = asked.answered(ANSWERS[1])
    with pytest.raises(OpinionError, match="the answer is one of"):
        asked.answered(ANSWERS[0])
    for least, most in (("0", "5"), ("5", "5"), ("NaN", "5")):
        with pytest.raises(OpinionError, match="above nought and below"):
            Bisection.between(Decimal(least), Decimal(most))
