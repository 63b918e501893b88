"""A document with one block of every kind, the same for ever: what the golden pictures are of."""

from typing import Any, Final

from pricing.reports.formats.blocks import (
    AnswerList,
    Blanks,
    Bullets,
    Column,
    Cover,
    Figure,
    Heading,
    NewPage,
    Pages,
    Paragraph,
    Photographs,
    Plate,
    Statement,
    Table,
)
from tests.drawn_photographs import drawn_photograph

BARS: Final[dict[str, Any]] = {
    "$schema": "https://vega.github.io/schema/vega-lite/v6.1.0.json",
    "data": {"values": [{"name": "a", "size": 3}, {"name": "b", "size": 5}, {"name": "c", "size": 4}]},
    "mark": {"type": "bar", "color": "#0072B2"},
    "encoding": {"x": {"field": "size", "type": "quantitative"}, "y": {"field": "name", "type": "nominal"}},
    "width": 400,
    "config": {"font": "Libertinus Serif"},
}

SAMPLE: Final = Pages(
    title="Draft appraisal",
    subject="1966 Corvane Six",
    mark="Draft for a qualified valuer",
    reference="appraisal-0001, revision 1",
    language="en-GB",
    author="Valuer Phi",
    cover=Cover((("Prepared for", "Client Alpha"), ("Effective date", "30 June 2026")), "What it is not."),
    contents=True,
    pictures={"bars": BARS},
    photographs={"seen": drawn_photograph(), "upright": drawn_photograph((200, 320))},
    blocks=(
        Heading("First part"),
        Statement("Opinion of value", "\u00a37,350", "market value, private, at 30 June 2026"),
        Statement("The value rests on assumptions", "Assumption Rho.", manner="warning"),
        Paragraph("Running text of one paragraph.\nAnd another one after it."),
        Paragraph("A caution.", "caution"),
        Paragraph("Small print.", "small"),
        Bullets(("One item", "Another item")),
        AnswerList((("Client", "Client Alpha"), ("Use", "Use Gamma")), "Terms"),
        NewPage(),
        Heading("Second part"),
        Heading("Below it", 2),
        Table(
            "Some numbers",
            (Column("Name", 2), Column("Amount", 1, True), Column("Share", 1, True)),
            (("first", "1,234.50", "40%"), ("second", "\u2212234.50", "60%"), ("Total", "1,000.00", "100%")),
            strong=(2,),
            note="What the table rests on.",
        ),
        Figure("bars", "Three bars", "Bars of a, b and c: 3, 5 and 4."),
        Photographs(
            (
                Plate(
                    "seen",
                    "Photograph 1: with what was found",
                    "A green field with a red corner",
                    (("Finding", "Gearbox leaks"), ("Note", "Seen and tried")),
                ),
                Plate("upright", "Photograph 2: one of two in a row", "A green field, upright"),
                Plate("seen", "Photograph 3: the other", "A green field with a red corner"),
            )
        ),
        Blanks(("Signature", "Place and date")),
    ),
)
