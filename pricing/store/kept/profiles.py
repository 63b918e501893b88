"""Profiles in the market file: answers that a desk gives again and again, under a kind and a name.

They stand in the market and nowhere else; the audit names a profile and tells nothing of its answers.
"""

import polars as pl

from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connection import Connect, add_row, frame, run


class Profiles:
    """The profiles of a market: ``Market.profiles``."""

    def __init__(self, connect: Connect) -> None:
        self._connect = connect

    def keep(self, kind: str, name: str, answers: str) -> None:
        """Keep a profile, in the place of one of that kind and name; ``answers`` is JSON."""
        with self._connect(write=True) as opened:
            at = now()
            run(opened, "DELETE FROM profiles WHERE kind = ? AND name = ?", [kind, name])
            add_row(opened, "profiles", kind=kind, name=name, answers=answers, kept_at=at)
            write_audit(opened, at, "profile", name, {"kind": kind, "done": "kept"})

    def all(self) -> pl.DataFrame:
        """Every profile: kind, name, answers, kept_at."""
        with self._connect() as opened:
            return frame(opened, "SELECT kind, name, answers, kept_at FROM profiles ORDER BY kind, name")

    def forget(self, kind: str, name: str) -> None:
        """Remove a profile from the market. Raises ``MarketError`` when there is none such."""
        with self._connect(write=True) as opened:
            known = run(opened, "SELECT 1 FROM profiles WHERE kind = ? AND name = ?", [kind, name])
            if not known:
                raise MarketError(
                    f"there is no {kind} profile {name!r}; `pricing profiles list` lists those there are"
                )
            run(opened, "DELETE FROM profiles WHERE kind = ? AND name = ?", [kind, name])
            write_audit(opened, now(), "profile", name, {"kind": kind, "done": "forgotten"})
