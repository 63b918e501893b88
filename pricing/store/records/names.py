"""The market's alias table and the names of its cars."""

import polars as pl

from pricing.clean_text import clean_name
from pricing.errors import MarketError
from pricing.intake.names import FIELDS, near_misses, settled_names
from pricing.store.audit import now, write_audit
from pricing.store.connection import Opened, add_row, frame, run, value


def spellings(opened: Opened) -> pl.DataFrame:
    """Every spelling of make, model and variant, and how many records have it."""
    return frame(
        opened, "SELECT make, model, variant, count(*) AS records FROM records GROUP BY ALL ORDER BY ALL"
    )


def known_cars(opened: Opened) -> list[tuple[str, str, str | None]]:
    """Make, model and variant of every car under its settled names, the most records first, and as typed."""
    named = settled_names(spellings(opened), aliases(opened)).sort("records", descending=True)
    settled = named.select("settled_make", "settled_model", "settled_variant").rows()
    return [*settled, *named.select(*FIELDS).rows()]


def aliases(opened: Opened) -> pl.DataFrame:
    """The alias table."""
    return frame(opened, "SELECT field, make, model, typed, name FROM aliases ORDER BY ALL")


def under_settled_names(opened: Opened, rows: pl.DataFrame) -> pl.DataFrame:
    """Rows with make, model and variant as they were settled; their order and columns as they were."""
    differs = pl.any_horizontal(pl.col(field).ne_missing(pl.col(f"settled_{field}")) for field in FIELDS)
    others = settled_names(spellings(opened), aliases(opened)).filter(differs)
    if others.is_empty():
        return rows
    return (
        rows.join(others.drop("records"), on=FIELDS, how="left", maintain_order="left", nulls_equal=True)
        .with_columns(
            pl.when(pl.col("settled_make").is_null()).then(field).otherwise(f"settled_{field}").alias(field)
            for field in FIELDS
        )
        .select(rows.columns)
    )


def list_names(opened: Opened) -> pl.DataFrame:
    """Near misses that wait for a person (state ``proposed``) and aliases that were settled (``settled``)."""
    table = aliases(opened)
    proposed = near_misses(spellings(opened), table).with_columns(state=pl.lit("proposed"))
    return pl.concat([proposed, table.with_columns(state=pl.lit("settled"))], how="diagonal")


def settle_name(
    opened: Opened, field: str, typed: str, name: str, make: str | None, model: str | None
) -> None:
    """See ``Market.settle_name``; a later word replaces an earlier."""
    needs = {"make": (), "model": (make,), "variant": (make, model)}
    if field not in needs:
        raise MarketError(f"a name is one of {', '.join(FIELDS)}; got {field!r}")
    if any(value is None for value in needs[field]) or not typed.strip() or not name.strip():
        raise MarketError(
            f"settling a {field} needs what was typed, the name, and within which make and model it stands"
        )
    name = clean_name(name, f"a {field}", MarketError)
    key = " ".join(typed.lower().split())
    within = [make if field != "make" else None, model if field == "variant" else None]
    run(
        opened,
        "DELETE FROM aliases WHERE field = ? AND typed = ? "
        "AND make IS NOT DISTINCT FROM ? AND model IS NOT DISTINCT FROM ?",
        [field, key, *within],
    )
    alias = {"field": field, "make": within[0], "model": within[1], "name": name}
    add_row(opened, "aliases", typed=key, **alias)
    write_audit(opened, now(), "name", key, alias)


def forget_name(opened: Opened, field: str, typed: str) -> int:
    """Take back what was settled about a spelling; returns how many aliases went."""
    key = " ".join(typed.lower().split())
    deleted = int(value(opened, "DELETE FROM aliases WHERE field = ? AND typed = ?", [field, key]))
    if deleted:
        write_audit(opened, now(), "forget name", key, {"field": field})
    return deleted
