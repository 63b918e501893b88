"""What people say, as a written appraisal prints it: as opinions, with who said them, and never as sales."""

from typing import Any

from pricing.decisions.valuation import Valuation
from pricing.reports.formats.blocks import Block, Column, Heading, Paragraph, Table
from pricing.words.language.locale import LocaleWords
from pricing.words.opinions import HONESTY, OPINION_ALONE, ground_sentence


def alone_paragraph(valuation: Valuation, words: LocaleWords, sales: int) -> Paragraph:
    """What stands where the price model would be described, in a market without one."""
    return Paragraph(
        words.say(
            "{mark}. The market file held {sales} sales by the effective date, too few for a price model; "
            "the range is what the people below said, and no adjustment was made of it.",
            mark=words.word(OPINION_ALONE), sales=words.number(sales),
        )
    )  # fmt: skip


def opinions_part(valuation: Valuation, words: LocaleWords) -> list[Block]:
    """Every statement about the car's model with its source and standing; nothing where nobody said any."""
    if valuation.opinions.is_empty():
        return []
    ground = ground_sentence(valuation, words)
    rows = tuple(
        (
            words.short_day(row["stated_on"]),
            _who(row),
            words.word(row["condition_band"])
            or words.say("score {score}", score=words.number(row["condition_score"])),
            _amount(row["low"], words),
            _amount(row["high"], words),
            f"{row['currency']}, {words.word(row['price_basis'])}",
            words.word(row["holds"]),
        )
        for row in valuation.opinions.iter_rows(named=True)
    )
    columns = (
        Column(words.say("Said on"), 1.2), Column(words.say("By"), 2.2), Column(words.say("State"), 1.3),
        Column(words.say("Low"), 1, True), Column(words.say("High"), 1, True), Column(words.say("In"), 1.2),
        Column(words.say("Meant to hold"), 1.2),
    )  # fmt: skip
    return [
        Heading(words.say("Opinions taken into account"), 2),
        *([] if ground is None else [Paragraph(ground)]),
        Table(words.say("What people say of the model; opinions, not sales"), columns, rows),
        Paragraph(words.word(HONESTY)),
    ]


def _who(row: dict[str, Any]) -> str:
    return row["source"] if row["standing"] is None else f"{row['source']} ({row['standing']})"


def _amount(amount: Any, words: LocaleWords) -> str:
    return words.say("open") if amount is None else words.plain(amount, 0)
