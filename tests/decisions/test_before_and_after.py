"""Cars sold before and after a change, with a model that knows what they bring."""

from datetime import date
from typing import Any

import numpy as np
import polars as pl

from pricing.decisions.sell.what_ifs import before_and_after
from tests.known_market import BASE, KnownModel

BANDS = {"average": 1.0, "top condition": 1.8}


def sales(lift: float, pairs: int = 12) -> pl.DataFrame:
    """Every car sold twice, the second time with papers and in a better band, which bring ``lift`` and what
    the model says of the band."""
    rows: list[dict[str, Any]] = []
    for number in range(pairs):
        for turn, (band, papers) in enumerate((("average", False), ("top condition", True))):
            price = BASE * BANDS["average"] * (lift if turn else 1.0) * np.exp(0.02 * (-1) ** (number + turn))
            rows.append(
                {
                    "record_id": f"{number}-{turn}", "make": "Corvane", "model": "Six", "variant": None,
                    "year": 1965, "chassis_number": f"C{number}", "outcome": "sold", "price": price,
                    "event_date": date(2020 + 2 * turn, 1, 1), "history_file": papers, "options": [],
                    "condition_band": band, "condition_score": None, "matching_numbers": None,
                }
            )  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None)


def test_a_lift_is_found_and_none_is_not() -> None:
    found = {one.change: one for one in before_and_after(sales(1.3), KnownModel())}
    assert found["repair"].pairs == 12 and found["repair"].supported
    assert found["repair"].effect is not None and abs(found["repair"].effect - np.log(1.3)) < 0.03
    assert found["numbers documented"].pairs == 0 and not found["numbers documented"].supported
    flat = {one.change: one for one in before_and_after(sales(1.0), KnownModel())}
    assert not flat["repair"].supported


def test_few_pairs_support_nothing() -> None:
    (papers, _, repair) = before_and_after(sales(1.3, pairs=3), KnownModel())
    assert (repair.pairs, repair.supported, papers.supported) == (3, False, False)
