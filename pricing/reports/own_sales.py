"""What the records hold of the subject itself: its earlier sales and offers, and what is said of them."""

from typing import Any

from pricing.appraisal.facts import Facts
from pricing.reports.formats.blocks import Block, Heading, Paragraph, number, table, text
from pricing.reports.wording import NONE, band_words, row_source
from pricing.words.language.locale import LocaleWords


def own_sales_sentence(facts: Facts, words: LocaleWords) -> str:
    """Whether the records hold earlier sales or offers of the car, or why they could not be looked for."""
    sales, chassis = facts.evidence.own_sales, facts.record.subject.chassis_number
    at = words.day(facts.record.assignment.effective_date)
    if sales is None and chassis:
        return words.say(
            "Earlier sales and offers of the car were not looked for when its evidence was gathered, or "
            "chassis number {chassis} is too short to look by.",
            chassis=chassis,
        )
    if sales is None:
        return words.say(
            "No chassis number is given by which earlier sales and offers of the car could be looked for."
        )
    if sales.is_empty():
        return words.say(
            "No sale or offer of chassis number {chassis} stands in the records up to {day}.",
            chassis=chassis, day=at,
        )  # fmt: skip
    return words.many(
        "The records up to {day} hold {number} earlier sale or offer of chassis number {chassis}, whatever "
        "way it was written.",
        "The records up to {day} hold {number} earlier sales or offers of chassis number {chassis}, whatever "
        "way it was written.",
        sales.height, day=at, chassis=chassis,
    )  # fmt: skip


def own_sales_blocks(facts: Facts, words: LocaleWords) -> list[Block]:
    """The sentence, the records themselves, and what the valuer says of them."""
    sales, opinion = facts.evidence.own_sales, facts.record.opinion.earlier_sales
    blocks: list[Block] = [Heading(words.say("Earlier sales and offers of the car"), 2)]
    blocks.append(Paragraph(own_sales_sentence(facts, words)))
    if sales is not None and sales.height:
        numbers = {} if facts.grid.is_empty() else dict(facts.grid.select("record_id", "number").iter_rows())

        def outcome(row: dict[str, Any]) -> str:
            came = f"{words.word(row['outcome'])}, {words.word(row['channel'])}"
            if row["record_id"] not in numbers:
                return came
            place = numbers[row["record_id"]]
            return words.say("{record} (comparable {number})", record=came, number=place)

        def recorded(row: dict[str, Any]) -> str:
            if row["amount"] is None:
                return NONE
            return f"{row['currency']} {words.plain(row['amount'], 0)}, {words.word(row['price_basis'])}"

        def all_in(row: dict[str, Any]) -> str:
            return NONE if row["price"] is None else words.plain(row["price"], 0)

        records = table(
            words.say("Earlier sales and offers of the car itself, newest first"),
            sales.iter_rows(named=True),
            text(words.say("Day"), 1.1, lambda row: words.short_day(row["event_date"])),
            text(words.say("What came of it"), 1.2, outcome),
            number(words.say("As recorded"), 1.5, recorded),
            number(words.say("All-in, {currency}", currency=facts.base_currency), 1.2, all_in),
            text(words.say("Condition"), 1.2, lambda row: band_words(row["condition_band"], words)),
            text(words.say("Source and reference"), 2.2, row_source),
            note=words.say("All-in prices hold at their own days. A sale that is comparable too says so."),
        )
        blocks.append(records)
    return [*blocks, *([Paragraph(opinion)] if opinion else [])]
