"""What the command line shows of a service: tokens, configuration, findings about its health."""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
from rich.text import Text

from pricing.cli.printing.console import print_table
from pricing.operations.doctor import GOOD, HealthCheck
from pricing.store.audit import now


def show_tokens(frame: pl.DataFrame) -> None:
    """The tokens of a market, and whether each opens anything."""
    columns: dict[str, Any] = {
        "token": "{token_id}", "name": "{name}", "role": "{role}", "made": "{made_at:%Y-%m-%d}",
        "state": _state,
    }  # fmt: skip
    print_table(columns, frame, empty="no tokens yet: `pricing token new NAME` makes one")


def _state(token: Mapping[str, Any]) -> str:
    if token["revoked_at"] is not None:
        return f"revoked on {token['revoked_at']:%Y-%m-%d}"
    if token["expires_at"] is None:
        return "in force until revoked"
    word = "in force until" if token["expires_at"] > now() else "ran out on"
    return f"{word} {token['expires_at']:%Y-%m-%d}"


def show_health_checks(checks: Sequence[HealthCheck]) -> None:
    """What was found, and what to do."""

    def state(check: HealthCheck) -> Text:
        return Text(check.state, style="" if check.state == GOOD else "bold")

    print_table({"": "{what}", "state": state, "found": "{found}", "what to do": "{do}"}, checks)
