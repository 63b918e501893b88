"""Names: what is one name at once, what is proposed, and what is left alone."""

import tracemalloc
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pricing.intake.names import ALIASES, FIELDS, near_misses, settled_names, with_doubtful_names
from pricing.store.market import Market

NO_ALIASES = pl.DataFrame(schema=ALIASES)


def spelled(*rows: tuple[str, str, str | None, int]) -> pl.DataFrame:
    """Spellings and how many records have them."""
    schema = {"make": pl.String, "model": pl.String, "variant": pl.String, "records": pl.Int64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def test_capitals_and_spaces_make_no_new_name() -> None:
    rows = spelled(
        ("Corvane", "Six", None, 9), (" CORVANE ", "six", "DE  LUXE", 1), ("Corvane", "Six", "de luxe", 3)
    )
    named = settled_names(rows, NO_ALIASES)
    assert set(named["settled_make"]) == {"Corvane"} and set(named["settled_model"]) == {"Six"}
    assert named["settled_variant"].to_list() == [None, "de luxe", "de luxe"]
    assert near_misses(rows, NO_ALIASES).is_empty()


@pytest.mark.parametrize(
    ("typed", "proposed"),
    [("Corvaine", True), ("Corvane Motors", True), ("Cor-vane", True), ("Dunmere", False), ("Cor", False)],
)
def test_a_make_like_a_more_common_one_is_proposed_not_merged(typed: str, proposed: bool) -> None:
    rows = spelled(("Corvane", "Six", None, 9), (typed, "Six", None, 2))
    assert (near_misses(rows, NO_ALIASES)["name"].to_list() == ["Corvane"]) == proposed
    assert typed in settled_names(rows, NO_ALIASES)["settled_make"].to_list()


def test_figures_tell_models_apart() -> None:
    rows = spelled(
        ("Corvane", "1500 saloon", None, 9),
        ("Corvane", "1600 saloon", None, 3),
        ("Corvane", "1500 salon", None, 1),
    )
    found = near_misses(rows, NO_ALIASES)
    assert found.select("field", "make", "typed", "name").rows() == [
        ("model", "Corvane", "1500 salon", "1500 saloon")
    ]


def test_models_are_compared_within_their_make_only() -> None:
    rows = spelled(("Corvane", "Thistle", None, 9), ("Dunmere", "Thistel", None, 3))
    assert near_misses(rows, NO_ALIASES).is_empty()


def test_an_alias_of_a_make_carries_its_models_along() -> None:
    rows = spelled(("Corvane", "Six", None, 9), ("Corvaine", "SIX", None, 2))
    aliases = pl.DataFrame([("make", None, None, "corvaine", "Corvane")], schema=ALIASES, orient="row")
    named = settled_names(rows, aliases)
    assert named.select("settled_make", "settled_model").unique().rows() == [("Corvane", "Six")]
    assert near_misses(rows, aliases).is_empty()


def test_a_rare_spelling_of_a_common_name_is_doubtful_until_it_is_settled(tmp_path: Path) -> None:
    """What a pick-list leaves out: never a name that nearly as many records have."""
    rows = [("Aubrelle", "Rive")] * 20 + [
        ("Aubrele", "Rive"),
        ("Lark & Fell", "Heron"),
        ("Lark & Fell", "Herons"),
    ]
    header = "make,model,year,outcome,event_date,amount,currency,price_basis\n"
    lines = [f"{make},{model},1966,sold,2024-05-{day % 28 + 1:02d},{4000 + day},EUR,all-in\n"
             for day, (make, model) in enumerate(rows)]  # fmt: skip
    (tmp_path / "notes.csv").write_text(header + "".join(lines))
    market = Market.open(tmp_path / "market.duckdb")
    market.load([tmp_path / "notes.csv"])
    names = market.sales().select(FIELDS).unique()

    def doubtful() -> set[str]:
        found = with_doubtful_names(names, market.names())
        return {*found.filter("make_doubtful")["make"], *found.filter("model_doubtful")["model"]}

    assert doubtful() == {"Aubrele"}
    market.settle_name("make", "Aubrele", "Aubrele")
    assert doubtful() == set()


def test_a_file_with_as_many_makes_as_rows_asks_for_no_more_than_a_true_one() -> None:
    made = np.random.default_rng(0).choice(list("abcdefghijkl"), size=(60_000, 9))
    makes = ["Corvane", *dict.fromkeys(map("".join, made.tolist()))]
    rows = pl.DataFrame({"make": makes, "records": [9] + [1] * (len(makes) - 1)})
    rows = rows.vstack(pl.DataFrame({"make": ["Corvaine"], "records": [2]}))
    rows = rows.with_columns(model=pl.lit("Six"), variant=pl.lit(None, pl.String)).select(*FIELDS, "records")
    tracemalloc.start()
    found = near_misses(rows, NO_ALIASES)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.row(-1, named=True)["name"] == "Corvane" and found.row(-1, named=True)["typed"] == "corvaine"
    assert peak < 200_000_000  # one square of 60,000 names alone has 14 GB
