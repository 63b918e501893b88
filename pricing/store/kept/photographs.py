"""Photographs that appraisals name, in the market file: the bytes as they came, once by their digest, and the
picture that is shown of them. Rows are added and never altered."""

import hashlib
from collections.abc import Collection, Sequence
from typing import Final

import duckdb
import polars as pl

from pricing.errors import MarketError
from pricing.store.audit import now
from pricing.store.connection import Connect, frame, run
from pricing.untrusted.photographs import ReadPhotograph

FACTS: Final = ("digest", "kind", "width", "height", "taken_on", "removed")


class KeptPhotographs:
    """The photographs of a market: ``Market.photographs``. They come in with the revision that names them."""

    def __init__(self, connect: Connect) -> None:
        self._connect = connect

    def described(self, digests: Collection[str]) -> pl.DataFrame:
        """Of those of the digests that are kept: digest, kind, width, height, taken_on, removed, size (bytes
        of the original)."""
        with self._connect() as opened:
            return frame(
                opened,
                f"SELECT {', '.join(FACTS)}, octet_length(content)::BIGINT AS size FROM photographs "  # noqa: S608
                "WHERE list_contains(?::VARCHAR[], digest) ORDER BY digest",
                [list(digests)],
            )

    def shown(self, digests: Collection[str]) -> dict[str, bytes]:
        """The pictures that are shown, by digest: JPEG, upright, without what cameras write."""
        with self._connect() as opened:
            rows = run(
                opened, "SELECT digest, shown FROM photographs WHERE list_contains(?::VARCHAR[], digest)",
                [list(digests)],
            )  # fmt: skip
        return {digest: bytes(content) for digest, content in rows}

    def first_record(self, digest: str) -> str | None:
        """The earliest record that names a photograph, as it is kept; None where none does."""
        with self._connect() as opened:
            rows = run(
                opened,
                "SELECT record FROM appraisals WHERE contains(record, ?) ORDER BY made_at, appraisal_id, "
                "revision LIMIT 1",
                [digest],
            )
        return str(rows[0][0]) if rows else None

    def original(self, digest: str) -> bytes:
        """The bytes as they came.

        Raises:
            MarketError: there is none of that digest, or the bytes were altered.
        """
        with self._connect() as opened:
            rows = run(opened, "SELECT content FROM photographs WHERE digest = ?", [digest])
        if not rows:
            raise MarketError(f"the market holds no photograph of digest {digest[:12]}")
        content = bytes(rows[0][0])
        if hashlib.sha256(content).hexdigest() != digest:
            raise MarketError(
                f"photograph {digest[:12]} was altered: it does not match its digest; restore a backup"
            )
        return content


def insert_photographs(opened: duckdb.DuckDBPyConnection, photographs: Sequence[ReadPhotograph]) -> None:
    """Keep photographs, each once, in the transaction at hand."""
    for shot in photographs:
        run(
            opened,
            "INSERT INTO photographs (digest, content, shown, kind, width, height, taken_on, removed, "
            "kept_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
            [shot.digest, shot.content, shot.shown, shot.kind, shot.width, shot.height, shot.taken_on,
             list(shot.removed), now()],
        )  # fmt: skip
