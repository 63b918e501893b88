"""An appraisal prints what people say as opinions, with who said them, in a market that holds nothing
else."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pricing.appraisal.evidence import FROZEN_KINDS, Known, gather
from pricing.appraisal.evidence_json import deserialise, serialise
from pricing.appraisal.facts import facts_of
from pricing.appraisal.register import enter, read
from pricing.model.market_fit import fit_market
from pricing.model.saved import save
from pricing.reports.formats.blocks import Pages, Table
from pricing.reports.report import report
from pricing.snapshot import Snapshot
from pricing.words.language.locale import LocaleWords
from tests.appraisals import full_record
from tests.opinion_market import opinion_market

AT = date(2026, 5, 2)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    market = opinion_market(Path(tmp_path_factory.mktemp("appraised")) / "market.duckdb")
    fit_id = save(fit_market(market), market)
    car: dict[str, Any] = {
        "make": "Corvane", "model": "Six", "variant": None, "year": 1966, "odometer_km": None, "options": [],
        "condition_band": "average",
    }  # fmt: skip
    record = full_record(car, AT, assignment__currency="EUR")
    evidence = gather(record, Known.on(Snapshot.of(market), AT, fit_id))
    assert serialise(deserialise(serialise(evidence), FROZEN_KINDS)) == serialise(evidence)
    (name,) = enter(market, [(record, evidence)], by="Clerk One")
    return report(facts_of(read(market, name)), LocaleWords.of("en_GB"))


def test_opinions_are_printed_with_their_sources(pages: Pages) -> None:
    (table,) = (b for b in pages.blocks if isinstance(b, Table) and "opinions, not sales" in b.caption)
    assert [row[2] for row in table.rows] == ["top condition", "average", "solid restorable", "project"]
    assert table.rows[1][1] == "A. Rowe (restores them)" and table.rows[1][3:5] == ("3,000", "5,000")
    assert table.rows[3][3] == "open" and table.rows[0][6] == "eight in ten"


def test_the_mark_stands_where_the_price_model_would(pages: Pages) -> None:
    text = repr(pages.blocks)
    assert "Opinion alone: no sale confirms this range. The market file held 0 sales" in text
    assert "A regression with partial pooling" not in text
    assert (
        "This approach gives no value: no sales are laid out: the market is priced by opinion alone." in text
    )
