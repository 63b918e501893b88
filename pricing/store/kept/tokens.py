"""Tokens that let programs in, kept in the market: a digest of each, never the token.

A token is 256 random bits, so one pass of SHA-256 is enough to keep it by: nobody tries 2**256 guesses (NIST
SP 800-63B, 5.1.2, look-up secrets of at least 112 bits need no slow hash).
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import polars as pl

from pricing.clean_text import clean_name
from pricing.errors import MarketError
from pricing.store.audit import now, write_audit
from pricing.store.connected import Connected
from pricing.store.connection import Opened, add_row, next_name, run, value

PREFIX: Final = "ccp_"
"""How every token begins, so that one that leaks can be told from other secrets."""

LONGEST_NAME: Final = 100


@dataclass(frozen=True)
class Token:
    """A token as it is kept; ``name`` says whose it is."""

    token_id: str
    name: str
    role: str
    digest: str
    expires_at: datetime | None


def digest_of(token: str) -> str:
    """What a token is kept by."""
    return hashlib.sha256(token.encode()).hexdigest()


def tokens_in_force(opened: Opened) -> dict[str, Token]:
    """The tokens that were not revoked, by digest; whether one has run out is for whoever asks to see."""
    rows = run(opened, "SELECT token_id, name, role, digest, expires_at FROM tokens WHERE revoked_at IS NULL")
    return {row[3]: Token(*row) for row in rows}


class Tokens(Connected):
    """The tokens of a market: ``Market.tokens``."""

    def new(self, name: str, role: str, days: int | None = None) -> tuple[str, str]:
        """Make a token for somebody; returns its id, and the token itself, which is told this once. Raises
        ``MarketError`` where the name has a token in force already, or is no name."""
        plain = clean_name(name, "a token", MarketError)
        if not 0 < len(plain) <= LONGEST_NAME:
            raise MarketError(f"a token needs a name of up to {LONGEST_NAME} characters; got {name[:40]!r}")
        if days is not None and not 1 <= days <= 36_500:
            raise MarketError(f"a token holds for 1 to 36,500 days; got {days}")
        token, at = PREFIX + secrets.token_urlsafe(32), now()
        until = None if days is None else at + timedelta(days=days)
        with self._connect(write=True) as opened:
            same = "name = ? AND revoked_at IS NULL AND coalesce(expires_at > ?, true)"
            if value(opened, f"SELECT 1 FROM tokens WHERE {same}", [plain, at]):  # noqa: S608
                raise MarketError(
                    f"{plain!r} has a token in force already; revoke it first, or choose another name"
                )
            token_id = next_name(opened, "tokens", "token")
            add_row(
                opened, "tokens", token_id=token_id, name=plain, role=role, digest=digest_of(token),
                made_at=at, expires_at=until,
            )  # fmt: skip
            write_audit(opened, at, "token", token_id, {"name": plain, "role": role, "until": until})
        return token_id, token

    def revoke(self, token_id: str) -> None:
        """Let a token open nothing from now on. Raises ``MarketError`` where there is none such in force."""
        at = now()
        with self._connect(write=True) as opened:
            revoked = "UPDATE tokens SET revoked_at = ? WHERE token_id = ? AND revoked_at IS NULL"
            if not value(opened, revoked, [at, token_id]):
                raise MarketError(f"there is no token {token_id!r} in force; `pricing token list` lists them")
            write_audit(opened, at, "revoke token", token_id, {})

    def listed(self) -> pl.DataFrame:
        """Every token: token_id, name, role, made_at, expires_at, revoked_at."""
        return self._frame(
            "SELECT token_id, name, role, made_at, expires_at, revoked_at FROM tokens ORDER BY token_id"
        )
