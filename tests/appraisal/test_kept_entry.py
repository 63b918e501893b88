"""An appraisal written by an earlier version of this program: later versions must give the same numbers.

``kept_entry.json.gz`` is the example of the demo market as it was entered in November 2026. It is never made
anew: where a change of the program cannot read it, the change is wrong.
"""

import gzip
import json
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from pricing.appraisal.evidence import FROZEN_KINDS
from pricing.appraisal.evidence_json import deserialise, digest
from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.record.record import read_kept
from pricing.appraisal.register import Entry
from pricing.reports.formats.pdf import pdf
from pricing.reports.report import report
from pricing.words.language.locale import LocaleWords
from tests.appraisals import pdf_text

KEPT = Path(__file__).with_name("kept_entry.json.gz")


@pytest.fixture(scope="module")
def facts() -> Facts:
    kept = json.loads(gzip.decompress(KEPT.read_bytes()))
    assert digest(kept["evidence"]) == kept["digest"]
    evidence = deserialise(kept["evidence"], FROZEN_KINDS)
    record = read_kept(kept["record"])
    return facts_of(
        Entry("kept", 1, record, evidence, kept["digest"], datetime(2026, 11, 25), "A. Clerk", "-")
    )


def test_the_numbers_are_those_of_the_day(facts: Facts) -> None:
    assert facts.model is not None
    assert facts.comparables is not None
    assert facts.model.figures == (Decimal("3593.81"), Decimal("4683.84"), Decimal("5933.38"))
    assert facts.comparables.figures == (Decimal("3115.22"), Decimal("4554.54"), Decimal("6658.85"))
    adjusted = facts.grid["adjusted_price"].to_list()
    assert adjusted[:3] == [Decimal("4960.75"), Decimal("5125.99"), Decimal("7193.02")]
    assert facts.rate == Decimal("0.861780")
    assert facts.evidence.budget is not None
    assert facts.evidence.budget.p50 == Decimal("1835.41")


def test_its_document_can_still_be_written(facts: Facts) -> None:
    said = pdf_text(pdf(report(facts, LocaleWords.of("en_GB"))))
    for words in (
        "Mirela Okonjo-Tarn",
        "\u00a34,680",
        "\u00a36,660",
        "0.8618",
        "Draft for a qualified valuer",
    ):
        assert words in said
