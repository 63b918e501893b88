"""What people say, as a written appraisal prints it: as opinions, with who said them, and never as sales."""

from typing import Any

from pricing.decisions.valuation import Valuation
from pricing.reports.formats.blocks import Block, Heading, Paragraph, number, table, text
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

    def source(row: dict[str, Any]) -> str:
        return row["source"] if row["standing"] is None else f"{row['source']} ({row['standing']})"

    def state(row: dict[str, Any]) -> str:
        score = row["condition_score"]
        return words.word(row["condition_band"]) or words.say("score {score}", score=words.number(score))

    def amount(price: Any) -> str:
        return words.say("open") if price is None else words.plain(price, 0)

    return [
        Heading(words.say("Opinions taken into account"), 2),
        *([] if ground is None else [Paragraph(ground)]),
        table(
            words.say("What people say of the model; opinions, not sales"),
            valuation.opinions.iter_rows(named=True),
            text(words.say("Said on"), 1.2, lambda row: words.short_day(row["stated_on"])),
            text(words.say("By"), 2.2, source),
            text(words.say("State"), 1.3, state),
            number(words.say("Low"), 1, lambda row: amount(row["low"])),
            number(words.say("High"), 1, lambda row: amount(row["high"])),
            text(words.say("In"), 1.2, lambda row: f"{row['currency']}, {words.word(row['price_basis'])}"),
            text(words.say("Meant to hold"), 1.2, lambda row: words.word(row["holds"])),
        ),
        Paragraph(words.word(HONESTY)),
    ]
