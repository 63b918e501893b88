"""What people say, as a written appraisal prints it: as opinions, with who said them, and never as sales."""

from typing import Any, Final

from pricing.decisions.valuation import Valuation
from pricing.reports.blocks import Block, Column, Heading, Paragraph, Table
from pricing.words.locale import LocaleWords
from pricing.words.opinions import HONESTY, OPINION_ALONE, ground_sentence

OPEN: Final = "open"


def alone_paragraph(valuation: Valuation, words: LocaleWords, sales: int) -> Paragraph:
    """What stands where the price model would be described, in a market without one."""
    return Paragraph(
        f"{OPINION_ALONE}. The market file held {words.number(sales)} sales by the effective date, too few "
        "for a price model; the range is what the people below said, and no adjustment was made of it."
    )


def opinions_part(valuation: Valuation, words: LocaleWords) -> list[Block]:
    """Every statement about the car's model with its source and standing; nothing where nobody said any."""
    if valuation.opinions.is_empty():
        return []
    ground = ground_sentence(valuation)
    rows = tuple(
        (
            words.short_day(row["stated_on"]),
            _who(row),
            row["condition_band"] or f"score {row['condition_score']:g}",
            _amount(row["low"], words),
            _amount(row["high"], words),
            f"{row['currency']}, {row['price_basis']}",
            row["holds"],
        )
        for row in valuation.opinions.iter_rows(named=True)
    )
    columns = (
        Column("Said on", 1.2), Column("By", 2.2), Column("State", 1.3), Column("From", 1, True),
        Column("To", 1, True), Column("In", 1.2), Column("Meant to hold", 1.2),
    )  # fmt: skip
    return [
        Heading("Opinions taken into account", 2),
        *([] if ground is None else [Paragraph(ground)]),
        Table("What people say of the model; opinions, not sales", columns, rows),
        Paragraph(HONESTY),
    ]


def _who(row: dict[str, Any]) -> str:
    return row["source"] if row["standing"] is None else f"{row['source']} ({row['standing']})"


def _amount(amount: Any, words: LocaleWords) -> str:
    return OPEN if amount is None else words.plain(amount, 0)
