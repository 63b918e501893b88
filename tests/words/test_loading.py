"""A load in words: the counts are the report's, in every case."""

from dataclasses import replace

import pytest

from pricing.intake.mappings.mapping import Mapping
from pricing.store.records.loading import LoadReport
from pricing.words.loading import dates_sentence, load_sentence, rules_table

REPORT = LoadReport(12_345, 12_000, 300, 45, "batch-0007", {"a_rule": 3, "b_rule": 300, "c_rule": 3}, (), 0)


@pytest.mark.parametrize(
    ("report", "dry_run", "end"),
    [
        (REPORT, False, "45 already known (batch-0007)"),
        (REPORT, True, "45 already known (a dry run: the market is as it was)"),
        (replace(REPORT, batch_id=None), False, "known; nothing was new, and the market is as it was"),
    ],
)
def test_the_counts_are_said(report: LoadReport, dry_run: bool, end: str) -> None:
    said = load_sentence(report, dry_run=dry_run)
    assert said.startswith("12,345 rows read: 12,000 accepted, 300 rejected, 45 already known")
    assert said.endswith(end)
    assert "None" not in said


def test_rules_come_the_most_broken_first_then_by_name() -> None:
    assert rules_table(REPORT).rows() == [("b rule", 300), ("a rule", 3), ("c rule", 3)]


def test_no_date_order_is_left_unsaid() -> None:
    assert dates_sentence(Mapping("hall", {})) == "No column of dates is named."
    assert "month-day-year" in dates_sentence(
        Mapping("hall", {"listed_on": "Seen"}, date_order="month-day-year")
    )
