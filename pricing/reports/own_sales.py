"""What the records hold of the subject itself: its earlier sales and offers, and what is said of them."""

from typing import Any

from pricing.appraisal.facts import Facts
from pricing.reports.evidence import NONE
from pricing.reports.formats.blocks import Block, Column, Heading, Paragraph, Table
from pricing.reports.wording import band_words
from pricing.words.language.locale import LocaleWords


def own_sales_sentence(facts: Facts, words: LocaleWords) -> str:
    """Whether the records hold earlier sales or offers of the car, or why they could not be looked for."""
    found, number = facts.evidence.own_sales, facts.record.subject.chassis_number
    at = words.day(facts.record.assignment.effective_date)
    if found is None:
        if number:
            return words.say(
                "Earlier sales and offers of the car were not looked for when its evidence was gathered, or "
                "chassis number {chassis} is too short to look by.",
                chassis=number,
            )
        return words.say(
            "No chassis number is given by which earlier sales and offers of the car could be looked for."
        )
    if found.is_empty():
        return words.say(
            "No sale or offer of chassis number {chassis} stands in the records up to {day}.",
            chassis=number, day=at,
        )  # fmt: skip
    return words.many(
        "The records up to {day} hold {number} earlier sale or offer of chassis number {chassis}, whatever "
        "way it was written.",
        "The records up to {day} hold {number} earlier sales or offers of chassis number {chassis}, whatever "
        "way it was written.",
        found.height, day=at, chassis=number,
    )  # fmt: skip


def own_sales_blocks(facts: Facts, words: LocaleWords) -> list[Block]:
    """The sentence, the records themselves, and what the valuer says of them."""
    found, said = facts.evidence.own_sales, facts.record.opinion.earlier_sales
    blocks: list[Block] = [Heading(words.say("Earlier sales and offers of the car"), 2)]
    blocks.append(Paragraph(own_sales_sentence(facts, words)))
    if found is not None and found.height:
        numbers: dict[str, int] = (
            {} if facts.grid.is_empty() else dict(facts.grid.select("record_id", "number").iter_rows())
        )
        rows = tuple(_row(row, numbers, words) for row in found.iter_rows(named=True))
        columns = (
            Column(words.say("Day"), 1.1), Column(words.say("What came of it"), 1.2),
            Column(words.say("As recorded"), 1.5, True),
            Column(words.say("All-in, {currency}", currency=facts.base_currency), 1.2, True),
            Column(words.say("Condition"), 1.2), Column(words.say("Source and reference"), 2.2),
        )  # fmt: skip
        note = words.say("All-in prices hold at their own days. A sale that is comparable too says so.")
        caption = words.say("Earlier sales and offers of the car itself, newest first")
        blocks.append(Table(caption, columns, rows, note=note))
    return [*blocks, *([Paragraph(said)] if said else [])]


def _row(row: dict[str, Any], numbers: dict[str, int], words: LocaleWords) -> tuple[str, ...]:
    number = numbers.get(row["record_id"])
    came = f"{words.word(row['outcome'])}, {words.word(row['channel'])}"
    if number is not None:
        came = words.say("{record} (comparable {number})", record=came, number=number)
    recorded = (
        NONE if row["amount"] is None
        else f"{row['currency']} {words.plain(row['amount'], 0)}, {words.word(row['price_basis'])}"
    )  # fmt: skip
    return (
        words.short_day(row["event_date"]), came, recorded,
        NONE if row["price"] is None else words.plain(row["price"], 0),
        band_words(row["condition_band"], words), f"{row['source']}: {row['source_ref']}",
    )  # fmt: skip
