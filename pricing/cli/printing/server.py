"""What the command line shows of a service: tokens, configuration, findings about its health."""

from collections.abc import Sequence

import polars as pl
from rich.text import Text

from pricing.cli.printing.terminal import console, text_table
from pricing.operations.doctor import GOOD, HealthCheck
from pricing.store.audit import now


def show_tokens(frame: pl.DataFrame) -> None:
    """The tokens of a market, and whether each opens anything."""
    table = text_table("token", "name", "role", "made", "state")
    for row in frame.iter_rows(named=True):
        if row["revoked_at"] is not None:
            state = f"revoked on {row['revoked_at']:%Y-%m-%d}"
        elif row["expires_at"] is None:
            state = "in force until revoked"
        else:
            word = "in force until" if row["expires_at"] > now() else "ran out on"
            state = f"{word} {row['expires_at']:%Y-%m-%d}"
        table.add_row(row["token_id"], Text(row["name"]), row["role"], f"{row['made_at']:%Y-%m-%d}", state)
    console().print(table if table.row_count else "no tokens yet: `pricing token new NAME` makes one")


def show_health_checks(findings: Sequence[HealthCheck]) -> None:
    """What was found, and what to do."""
    table = text_table("", "state", "found", "what to do")
    for finding in findings:
        style = "" if finding.state == GOOD else "bold"
        table.add_row(finding.what, Text(finding.state, style=style), Text(finding.found), Text(finding.do))
    console().print(table)
