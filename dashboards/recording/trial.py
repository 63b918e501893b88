"""What a table would come to before anything of it is kept: its first records in words, what would be
rejected and why, what is doubtful."""

from datetime import UTC, datetime
from typing import Final

import streamlit as st

from dashboards import caches
from dashboards.caches import GivenTable
from dashboards.recording.mapping import called
from dashboards.tables import TableColumn, show_table
from dashboards.text import write, write_list
from pricing.intake.checking import preview
from pricing.intake.mappings.proposals import Proposal
from pricing.intake.written.cars import CarNames
from pricing.records.contract import REQUIRED
from pricing.snapshot import Snapshot
from pricing.store.records.loading import LoadReport
from pricing.words.language.plain_text import capital, escaped
from pricing.words.loading import (
    dates_sentence,
    load_sentence,
    new_name_questions,
    record_sentence,
    refused_table,
    rules_table,
    told_sentences,
)

ROWS_PREVIEWED: Final = 5
TRIED_AT_ONCE: Final = 8_000_000
"""Bytes of a table up to which every row is tried while the person waits."""


def show_records(table: GivenTable, proposal: Proposal, snapshot: Snapshot | None) -> None:
    """The first rows as the records they would become."""
    st.header("The first rows, as records")
    rows = caches.sample(table, proposal.mapping.layout)
    names = CarNames() if snapshot is None else caches.car_names(snapshot)
    records = preview(proposal.mapping, rows, datetime.now(UTC).date(), ROWS_PREVIEWED, names)
    write_list(record_sentence(row) for row in records.iter_rows(named=True))
    if "event_date" in proposal.mapping.columns:
        st.caption(dates_sentence(proposal.mapping))


def show_trial(table: GivenTable, proposal: Proposal, snapshot: Snapshot | None) -> LoadReport | None:
    """What a load would come to, row by row; nothing while a large table has not been tried."""
    st.header("What would be loaded, and what not")
    large = len(table.content) > TRIED_AT_ONCE
    if large and not st.button("Try every row", help="Nothing is kept of it."):
        return None
    records = "" if snapshot is None else snapshot.state.records
    report = caches.trial(str(caches.own_market_path()), records, table, proposal.mapping)
    first = ", ".join(  # what holds for every row, is still open, and no record can be without
        called(question.name)
        for question in proposal.questions
        if question.section == "constants" and question.name in REQUIRED
    )
    if first and report.rejected:
        st.warning(
            escaped(
                f"Choose under What holds for every row first: {first}. Until then each row that does not "
                "say it would be rejected."
            )
        )
    show_report(report, dry_run=True)
    refused = refused_table(report)
    if refused.height and not first:  # till then it would say the same of every row
        st.write("Rows that would wait in quarantine until they are mended, and why:")
        show_table(
            refused,
            "rows that would be rejected",
            {
                "row": TableColumn("Row", "%d", "small"),
                "why": TableColumn("Why", width="medium"),
                "cells": TableColumn("The row as it stands", width="large"),
            },
            every=refused,
            height="content" if refused.height < 8 else 300,
        )
    return report


def show_report(report: LoadReport, *, dry_run: bool = False) -> None:
    """What became of the rows, and what else there is to know."""
    says = st.warning if report.accepted + report.known == 0 else st.info if dry_run else st.success
    says(escaped(f"{load_sentence(report, dry_run=dry_run)}."))
    for doubt in report.doubts:
        st.warning(escaped(f"Doubtful: {doubt}"))
    others = (words for words in told_sentences(report) if not words.startswith("doubtful"))
    write(*(f"{capital(words)}." for words in others))
    for question in new_name_questions(report):
        st.warning(escaped(f"{capital(question)}: mend the file, or settle it under Names later."))
    rules = rules_table(report)
    if rules.height and not dry_run:
        columns = {"rule": "Rule broken", "rows": "Rows"}
        show_table(rules, "rules broken", columns, height="content")
