"""Photographs that appraisals name, in the market file: the bytes as they came, once by their digest, and the
picture that is shown of them. Rows are added and never altered."""

import hashlib
from collections.abc import Collection, Sequence

import polars as pl

from pricing.errors import MarketError
from pricing.store.audit import now
from pricing.store.connected import Connected
from pricing.store.connection import Opened, add_rows, value
from pricing.untrusted.photographs import ReadPhotograph


class KeptPhotographs(Connected):
    """The photographs of a market: ``Market.photographs``. They come in with the revision that names them."""

    def described(self, digests: Collection[str]) -> pl.DataFrame:
        """Of digests that are kept: digest, kind, width, height, taken_on, removed, size in bytes."""
        return self._frame(
            "SELECT digest, kind, width, height, taken_on, removed, octet_length(content)::BIGINT AS size "
            "FROM photographs WHERE list_contains(?::VARCHAR[], digest) ORDER BY digest",
            [list(digests)],
        )

    def shown(self, digests: Collection[str]) -> dict[str, bytes]:
        """The pictures that are shown, by digest: JPEG, upright, without what cameras write."""
        query = "SELECT digest, shown FROM photographs WHERE list_contains(?::VARCHAR[], digest)"
        return {digest: bytes(content) for digest, content in self._rows(query, [list(digests)])}

    def first_record(self, digest: str) -> str | None:
        """The earliest record that names a photograph, as it is kept; None where none does."""
        named = "SELECT record FROM appraisals WHERE contains(record, ?)"
        return self._ask(value, f"{named} ORDER BY made_at, appraisal_id, revision LIMIT 1", [digest])

    def original(self, digest: str) -> bytes:
        """The bytes as they came. Raises ``MarketError`` where there are none, or they were altered."""
        content = self._ask(value, "SELECT content FROM photographs WHERE digest = ?", [digest])
        if content is None:
            raise MarketError(f"the market holds no photograph of digest {digest[:12]}")
        if hashlib.sha256(content).hexdigest() != digest:
            raise MarketError(
                f"photograph {digest[:12]} was altered: it does not match its digest; restore a backup"
            )
        return bytes(content)


def insert_photographs(opened: Opened, photographs: Sequence[ReadPhotograph]) -> None:
    """Keep photographs, each once, in the transaction at hand."""
    rows = {
        shot.digest: vars(shot) | {"removed": list(shot.removed), "kept_at": now()} for shot in photographs
    }
    add_rows(opened, "photographs", list(rows.values()), clash="skip")
