"""The mappings that a market keeps, one a source: the next file of it is read by the same."""

from collections.abc import Iterable

import duckdb

from pricing.intake.mappings.mapping import Mapping
from pricing.intake.mappings.mapping_files import mapping_text, parse_mapping
from pricing.store.connection import run


def kept_mappings(opened: duckdb.DuckDBPyConnection) -> list[Mapping]:
    """Every mapping kept, by its source in alphabetical order."""
    texts = run(opened, "SELECT mapping FROM mappings ORDER BY source")
    return [parse_mapping(text) for (text,) in texts]


def keep_mappings(opened: duckdb.DuckDBPyConnection, mappings: Iterable[Mapping]) -> None:
    """Keep mappings, each in place of an earlier one of its source."""
    for mapping in mappings:
        run(
            opened,
            "INSERT INTO mappings (source, mapping) VALUES (?, ?) "
            "ON CONFLICT DO UPDATE SET mapping = excluded.mapping",
            [mapping.source, mapping_text(mapping)],
        )
