"""The North American check digit against the worked example of its rule."""

import polars as pl

from pricing.intake.suspicions import check_digit


def digit(number: str) -> str | None:
    """The check digit of one number."""
    found = pl.DataFrame({"number": [number]}).select(check_digit(pl.col("number"))).item()
    assert found is None or isinstance(found, str)
    return found


def test_the_worked_example() -> None:
    """1M8GDM9AXKP042788 has X (the example that 49 CFR 565 and its descriptions work through; recomputed)."""
    assert digit("1M8GDM9AXKP042788") == "X"


def test_seventeen_ones() -> None:
    """A number of ones only checks to 1: each weight once, 89 in all (customary test value, from memory)."""
    assert digit("1" * 17) == "1"


def test_another_form_has_none() -> None:
    """I, O and Q are not used (ISO 3779), and a number from before 1981 has any form."""
    assert digit("IM8GDM9AXKP042788") is None
    assert digit("WX/34-0102") is None
