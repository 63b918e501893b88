"""An index in a sentence, with an interval and without."""

from dataclasses import replace

import polars as pl

from data_demo.simulated import simulate_market
from pricing.evidence.indices.index import price_index
from pricing.words.evidence import index_sentence


def test_an_index_is_told_with_its_interval_or_with_the_reason_for_none() -> None:
    index = price_index(simulate_market(2_000, 20, 3, all_sold=True)[0], period="year")
    last = index.frame.row(-1, named=True)
    assert (
        f"{last['index']:.1f} in {last['period']}, where {index.base} is 100 ({last['low']:.1f} to "
        in index_sentence(index)
    )
    bare = index.frame.with_columns(pl.lit(None, dtype=pl.Float64).alias(end) for end in ("low", "high"))
    assert "(no interval, as no sale is left over" in index_sentence(replace(index, frame=bare))
