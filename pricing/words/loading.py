"""What became of a load, and how a mapping reads dates, in plain words."""

import polars as pl

from pricing.intake.mapping import DATE_COLUMNS, Mapping
from pricing.store.loading import LoadReport
from pricing.words.sentences import option_words


def load_sentence(report: LoadReport, *, dry_run: bool = False) -> str:
    """How many rows were read and what became of them, or would have; the four numbers add up.

    >>> load_sentence(LoadReport(3, 1, 1, 1, "batch-0002", {"year_out_of_range": 1}, (), 0))
    '3 rows read: 1 accepted, 1 rejected, 1 already known (batch-0002)'
    >>> load_sentence(LoadReport(2, 0, 0, 2, None, {}, (), 0))
    '2 rows read: 0 accepted, 0 rejected, 2 already known; nothing was new, and the market is as it was'
    >>> load_sentence(LoadReport(2, 1, 0, 1, "batch-0002", {}, (), 0), dry_run=True)
    '2 rows read: 1 accepted, 0 rejected, 1 already known (a dry run: the market is as it was)'
    """
    counts = (
        f"{report.read:,} rows read: {report.accepted:,} accepted, {report.rejected:,} rejected, "
        f"{report.known:,} already known"
    )
    if dry_run:
        return f"{counts} (a dry run: the market is as it was)"
    if report.batch_id is None:
        return f"{counts}; nothing was new, and the market is as it was"
    return f"{counts} ({report.batch_id})"


def rules_table(report: LoadReport) -> pl.DataFrame:
    """Rules that rejected rows broke, in words, and the rows that broke each, the most first.

    >>> rules_table(LoadReport(3, 1, 2, 0, "batch-0002", {"year_out_of_range": 2}, (), 0)).rows()
    [('year out of range', 2)]
    """
    ranked = sorted(report.by_rule.items(), key=lambda pair: (-pair[1], pair[0]))
    rows = [(option_words(rule), count) for rule, count in ranked]
    return pl.DataFrame(rows, schema={"rule": pl.String, "rows": pl.Int64}, orient="row")


def dates_sentence(mapping: Mapping) -> str:
    """In which order a mapping reads dates.

    >>> dates_sentence(Mapping("hall", {"event_date": "Day"}, date_order="day-month-year"))
    'Dates are read as day-month-year.'
    >>> dates_sentence(Mapping("hall", {"event_date": "Day"}))
    'Only dates written as 2024-05-31 are read; any other order has to be stated.'
    """
    if not any(name in mapping.columns for name in DATE_COLUMNS):
        return "No column of dates is named."
    if mapping.date_order is None:
        return "Only dates written as 2024-05-31 are read; any other order has to be stated."
    return f"Dates are read as {mapping.date_order}."
