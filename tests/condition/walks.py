"""Inspections and a price model of known shape, for tests."""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from hypothesis import strategies as st

from pricing.car import CAR_TYPES
from pricing.car_fields import CONDITION
from pricing.condition.catalogue import Catalogue
from pricing.condition.checks import CONSTRUCTIONS, NOT_SEEN, STATES, Sheet
from pricing.condition.inspection import Finding, Inspection
from pricing.condition.inspection_files import save
from pricing.model.distribution import PriceDistribution
from tests.known_market import NORMAL_LAW

CATALOGUE: Final = Path(__file__).parents[2] / "data_demo" / "repair_catalogue.toml"
EXTENSIONS: Final = Path(__file__).parents[2] / "data_demo" / "sheets"
CAR: Final = {"make": "Wexcombe", "model": "Teasel", "year": 1966}


def catalogue() -> Catalogue:
    """The demo catalogue."""
    return Catalogue.open(CATALOGUE)


def walk(construction: str = "separate chassis", state: str = "sound", **found: str) -> Inspection:
    """Every check in one state, but for those in ``found``."""
    begun = Inspection.start(construction, CAR)
    filled = begun.fill(Finding(check.id, state) for check in begun.sheet.checks)
    return filled.fill(Finding(check, other) for check, other in found.items())


def car_frame(inspection: Inspection) -> pl.DataFrame:
    """The car as one row for a price model, without any condition."""
    types = {name: kind for name, kind in CAR_TYPES.items() if name not in CONDITION}
    return pl.DataFrame({name: [inspection.car.get(name)] for name in types}, schema=types)


def write_graded(file: Path) -> None:
    """Forty inspections of two kinds in the current folder, and the list of them with the band that somebody
    gave each."""
    lines = ["inspection,condition_band"]
    for number in range(40):
        band, state = ("top condition", "sound") if number % 2 else ("average", "worn")
        save(walk(state=state), Path(f"{number}.json"))
        lines.append(f"{number}.json,{band}")
    file.write_text("\n".join(lines))


def random_walk(construction: str, shares: Sequence[float], rng: np.random.Generator) -> Inspection:
    """Every check in a state drawn with ``shares`` (by ``STATES``)."""
    begun = Inspection.start(construction, CAR)
    drawn = rng.choice(len(STATES), p=shares, size=len(begun.sheet.checks)).tolist()
    return begun.fill(
        Finding(check.id, STATES[place]) for check, place in zip(begun.sheet.checks, drawn, strict=True)
    )


@st.composite
def walks(draw: st.DrawFn) -> Inspection:
    """Any inspection, whole or half done."""
    construction = draw(st.sampled_from(CONSTRUCTIONS))
    sheet = Sheet.open(construction)
    states = draw(
        st.lists(st.sampled_from((*STATES, NOT_SEEN)), min_size=len(sheet.checks), max_size=len(sheet.checks))
    )
    begun = Inspection.start(construction, CAR)
    return begun.fill(
        Finding(check.id, state)
        for check, state in zip(sheet.checks, states, strict=True)
        if state != NOT_SEEN
    )


class PricedByScore:
    """A price model that knows only condition: log price linear in the score between the prices of the trade
    (common practice, no source: a modest, plentiful small saloon), normal about it with one deviation."""

    scores = (0.0, 12.5, 37.5, 62.5, 75.0, 87.5, 100.0)
    prices = (480.0, 700.0, 1450.0, 3900.0, 5500.0, 8700.0, 10000.0)
    middles: Mapping[str, float] = {
        "project": 12.5,
        "solid restorable": 37.5,
        "average": 62.5,
        "top condition": 87.5,
    }

    def __init__(self, times: float = 1.0, deviation: float = 0.2) -> None:
        self.times, self.deviation = times, deviation

    def distribution(self, cars: pl.DataFrame, as_of: date | None = None) -> PriceDistribution:
        middle = pl.col("condition_band").replace_strict(self.middles, return_dtype=pl.Float64)
        score = cars.select(pl.coalesce("condition_score", middle)).to_series().to_numpy()
        centre = np.interp(score, self.scores, np.log(np.array(self.prices) * self.times))
        return PriceDistribution(NORMAL_LAW, centre[:, None], np.full((len(cars), 1), self.deviation))
