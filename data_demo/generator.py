"""Write the demo market: ``python -m data_demo.generator`` makes ``raw/`` and ``truth/`` again, the same
each time."""

import json
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

from data_demo.duplicates import add_duplicates
from data_demo.market import draw_market
from data_demo.parameters import (
    ASKING_GAP_CENTRE,
    ASKING_GAP_SLOPE,
    CHANNELS,
    COUNTRIES,
    DEGREES_OF_FREEDOM,
    HISTORY_EFFECT,
    NOISE,
    OPTIONS,
    ORIGINALITY,
    SCORE_KNOTS,
    TIME_TO_SALE,
    Parameters,
)
from data_demo.sources import SOURCES, parquet_bytes
from data_demo.untidy import annotate, misspell, mistype, spoil

SEED: Final = 20261125
FOLDER: Final = Path(__file__).parent


def generate(seed: int = SEED) -> dict[str, bytes]:
    """Every file of the demo market, by its path below ``data_demo/``."""
    rng = np.random.default_rng(seed)
    market, parameters = draw_market(rng)
    market = annotate(misspell(mistype(add_duplicates(market, rng), rng), rng), rng)
    files, truths = {}, []
    for source in SOURCES:
        records = market.filter(pl.col("source") == source.name).sort("event_date", "true_sale", "true_best")
        number = pl.int_range(1, records.height + 1, eager=True).cast(pl.String).str.zfill(5)
        records = records.with_columns(source_ref=source.reference + number)
        table, truth = spoil(source.table(records, rng), records, source.defects, rng)
        files[f"raw/{source.file}"] = source.encode(table)
        truths.append(truth.with_columns(file=pl.lit(source.file)))
    drawn_from = pl.col("^true_.*$").exclude("true_asking").name.map(lambda name: name.removeprefix("true_"))
    true_rows = pl.concat(truths).select("file", "source_ref", drawn_from)
    files["truth/records.parquet"] = parquet_bytes(true_rows)
    files["truth/parameters.json"] = _parameter_truth(parameters)
    return files


def _parameter_truth(parameters: Parameters) -> bytes:
    frames = {
        "months": parameters.months,
        "makes": parameters.makes,
        "models": parameters.models.with_columns(
            options=pl.col("options").arr.to_list().list.eval(pl.element().fill_nan(None))
        ),
        "variants": parameters.variants,
        "options": OPTIONS,
        "channels": CHANNELS,
        "countries": COUNTRIES,
        "originality": ORIGINALITY,
        "noise": NOISE,
        "condition_effects": parameters.condition_effects(),
    }
    facts = {
        "seed": SEED,
        "currency": "EUR",
        "intercept": parameters.intercept,
        "interactions": parameters.interactions,
        "history_effect": HISTORY_EFFECT,
        "degrees_of_freedom": DEGREES_OF_FREEDOM,
        "score_knots": SCORE_KNOTS.tolist(),
        "asking_gap_slope": ASKING_GAP_SLOPE,
        "asking_gap_centre": ASKING_GAP_CENTRE,
        "time_to_sale": TIME_TO_SALE,
    }
    columns = {name: json.loads(frame.write_json()) for name, frame in frames.items()}
    return (json.dumps(facts | columns, ensure_ascii=False, indent=1) + "\n").encode()


def main() -> None:
    """Write every file below ``data_demo/``."""
    for name, content in generate().items():
        path = FOLDER / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    main()
