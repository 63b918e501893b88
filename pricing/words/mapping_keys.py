"""What a mapping file may hold, in the words of its help and of the page."""

from typing import Final

MAPPING_KEYS: Final = (
    ("source", "where the file comes from; the one part that must be there"),
    ("sheet", "sheet of a workbook; without it all that are shown"),
    ("delimiter", "mark between the cells of a text file; without it found out"),
    ("encoding", "utf-8, utf-16, latin-1 or mac-roman; without it found out"),
    ("header_row", "row of the headings, counted from 1; without it found out"),
    ("[columns]", 'which of their columns each of ours is: amount = "Price paid"'),
    ("[car] column", "their column of whole cars in one cell, such as 1966 Wexcombe Sedge de luxe"),
    ("[car] unknown", "refuse, or by words: of a car that the market does not know, first word and second"),
    ("[parts]", "columns of theirs that go with one: event_month and event_year, odometer_unit"),
    ("[constants]", 'what is the same in every row: currency = "GBP"'),
    ("[dates] order", "day-month-year, month-day-year or year-month-day, of dates in figures"),
    ("[numbers] decimal", "the decimal mark, . or , where both are possible"),
    (
        "[units] odometer_km",
        "unit of the odometer where the cell names none: km, miles, mil, thousand km, or unknown",
    ),
    ("[units] amount", "one, thousand or hundredth: what bare figures of money count"),
    ("[units] year", "year, or age where the column holds the car's age at the event"),
    ("[words.<column>]", 'their word for one of ours: tatty = "project"'),
    ("[options] packed", "their column that lists options; separator: the mark between them"),
    ("[options] yes", "words for yes beside those that are generally understood"),
    ("[options.columns]", 'option = their column of yes and no: overdrive = "O/D"'),
    ("[options.words]", 'their word in a list of options: "wires" = "wire_wheels"'),
    ("[[premium]]", "the buyer's premium: from, until, currency, tiers (rate, up_to), tax, minimum"),
    ("[[commission]]", "the seller's commission, in the same form"),
)
"""Each part of a mapping file, and what it says."""


def keys_text() -> str:
    """All of it, a line each.

    >>> keys_text().splitlines()[0]
    'source: where the file comes from; the one part that must be there'
    """
    return "\n".join(f"{key}: {said}" for key, said in MAPPING_KEYS)
