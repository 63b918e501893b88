"""Cells of a record as they are typed on the command line."""

from collections.abc import Sequence

from pricing.errors import MarketError


def typed_cells(typed: Sequence[str]) -> dict[str, str]:
    """Cells typed as column=value, by column.

    Raises:
        MarketError: one is none, or a column is named twice.

    >>> typed_cells(["year=1966", "price-basis=all-in", "notes="])
    {'year': '1966', 'price_basis': 'all-in', 'notes': ''}
    """
    cells: dict[str, str] = {}
    for cell in typed:
        name, equals, value = cell.partition("=")
        column = name.strip().replace("-", "_")
        if not equals:
            raise MarketError(f"a cell is typed as column=value, such as year=1966; got {cell!r}")
        if column in cells:
            raise MarketError(f"{column} is said twice: {cells[column]!r} and {value!r}")
        cells[column] = value
    return cells
