"""Profiles in the market file: answers that a desk gives again and again, under a kind and a name.

They stand in the market and nowhere else; the audit names a profile and tells nothing of its answers.
"""

import polars as pl

from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import add_rows, value


class Profiles(Connected):
    """The profiles of a market: ``Market.profiles``."""

    def keep(self, kind: str, name: str, answers: str) -> None:
        """Keep a profile, in the place of one of that kind and name; ``answers`` is JSON."""
        with self._connect(write=True) as opened:
            at = now()
            cells = {"kind": kind, "name": name, "answers": answers, "kept_at": at}
            add_rows(opened, "profiles", [cells], clash="replace")
            write_audit(opened, at, "profile", name, {"kind": kind, "done": "kept"})

    def all(self) -> pl.DataFrame:
        """Every profile: kind, name, answers, kept_at."""
        return self._frame("SELECT kind, name, answers, kept_at FROM profiles ORDER BY kind, name")

    def forget(self, kind: str, name: str) -> None:
        """Remove a profile from the market. Raises ``MarketError`` when there is none such."""
        with self._connect(write=True) as opened:
            if not value(opened, "DELETE FROM profiles WHERE kind = ? AND name = ?", [kind, name]):
                raise MarketError(
                    f"there is no {kind} profile {name!r}; `pricing profiles list` lists those there are"
                )
            write_audit(opened, now(), "profile", name, {"kind": kind, "done": "forgotten"})
