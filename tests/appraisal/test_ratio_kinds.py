"""The ratio study is of cars like the subject, and the market's stands apart."""

import polars as pl
import pytest

from pricing.appraisal.ratio_kinds import ENOUGH, FEWEST, TIERS, study_of_kind, valued_sales
from pricing.appraisal.register import Entry
from pricing.errors import EvidenceError
from pricing.model.accuracy.ratio_study import ratio_study
from tests.evidence.markets import small_book, small_model


@pytest.fixture(scope="module")
def valued() -> pl.DataFrame:
    return valued_sales(small_book(), small_model())


def test_the_frozen_study_is_of_the_subjects_kind(entry: Entry) -> None:
    found = entry.evidence
    assert found is not None and found.ratios is not None and found.ratio_kinds is not None
    assert "graded" in found.ratio_kind
    kinds = found.ratio_kinds.filter(pl.col("where") == "kind")
    row = kinds.filter(pl.col("group") == found.ratio_kind).row(0, named=True)
    assert (row["sales"], row["cod"]) == (found.ratios.sales, found.ratios.cod)
    assert not kinds["group"].str.contains("not graded").any()
    whole = found.ratio_kinds.filter(pl.col("where") == "market")
    assert {"all sales", "graded", "not graded"} <= set(whole["group"])


def test_a_kind_is_its_band_and_its_third_of_the_market(valued: pl.DataFrame) -> None:
    top = valued.filter("graded", pl.col("tier") == TIERS[2], pl.col("condition_band") == "top condition")
    car = {"make": top["make"][0], "model": top["model"][0], "condition_band": "top condition"}
    study, name, table = study_of_kind(valued, car, float(top["middle"].max()))  # type: ignore[arg-type]
    wider = table.filter(pl.col("where") == "kind").to_dicts()
    first = next(row for row in wider if row["sales"] >= ENOUGH)
    assert (name, study.sales) == (first["group"], first["sales"])
    named = table.filter(pl.col("group") == f"market: graded, top condition, {TIERS[2]}")
    if named.height:
        again = ratio_study(top["value"].to_numpy(), top["price"].to_numpy())
        assert named["cod"].item() == pytest.approx(again.cod)
    inside = valued.filter("graded").select(pl.col("price").is_between("low", "high").mean()).item()
    assert table.filter(pl.col("group") == "graded")["coverage"].item() == pytest.approx(inside)
    assert [valued.filter(pl.col("tier") == tier).height for tier in TIERS] == pytest.approx(
        [valued.height / 3] * 3, abs=1
    )


def test_too_few_sales_give_no_study(valued: pl.DataFrame) -> None:
    few = valued.filter("graded").head(FEWEST - 1)
    with pytest.raises(EvidenceError, match="no kind of the car has"):
        study_of_kind(few, {"make": "x", "model": "y", "condition_band": "average"}, 5_000.0)
