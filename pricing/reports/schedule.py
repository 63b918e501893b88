"""A collection's schedule as a workbook: what it is worth car by car, and every sale behind it."""

import io
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

import xlsxwriter

from pricing.appraisal.collection import Item
from pricing.appraisal.collection_total import Total, figure_of
from pricing.appraisal.record.record import Appraisal
from pricing.reports.collection import (
    ADDED_UP,
    TITLE,
    collection_mark,
    note_words,
    refusal_words,
    total_sentence,
)
from pricing.reports.evidence import fit_words
from pricing.reports.wording import ROAD, car_name, condition_words, identity_words, standing_warning
from pricing.words.language.locale import LocaleWords, shown
from pricing.words.language.plain_text import capital
from pricing.words.sentences import CAUTION

PROGRAM: Final = "classic-car-pricing"
"""The program by its name in ``Evidence.software``."""

_WIDTHS: Final = (14, 7, 34, 26, 16, 13, 13, 13, 13, 13, 12, 7, 10, 44)


def schedule(
    shared: Appraisal, items: Sequence[Item], total: Total, words: LocaleWords, made_on: date
) -> bytes:
    """The schedule as a workbook: a sheet of cars with its total, a sheet of every sale used, what to know.

    Texts are written as texts, whatever they look like; amounts and days as what they are.
    """
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True, "strings_to_formulas": False}) as book:
        book.set_properties({"title": words.word(TITLE), "created": made_on})
        _cars_sheet(book, shared.assignment.currency, items, total, words)
        _sales_sheet(book, items, words)
        _notes_sheet(book, items, total_sentence(total, shared.assignment.currency, words), words)
    return buffer.getvalue()


def _cars_sheet(book: Any, currency: str, items: Sequence[Item], total: Total, words: LocaleWords) -> None:
    sheet = book.add_worksheet(words.say("Schedule"))
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    money, strong, day = (
        book.add_format(kind)
        for kind in ({"num_format": "#,##0.00"}, {"num_format": "#,##0.00", "bold": True},
                     {"num_format": "yyyy-mm-dd"})
    )  # fmt: skip
    heads = (
        words.say("Reference"), words.say("Row"), words.say("Car"), words.say("Identity"),
        words.say("Condition"), words.say("Low, {currency}", currency=currency),
        words.say("Middle, {currency}", currency=currency), words.say("High, {currency}", currency=currency),
        words.say("Counted, {currency}", currency=currency), words.say("Last valued"), words.say("On"),
        words.say("In"), words.say("Change, %"), words.say("Note"),
    )  # fmt: skip
    for place, (head, width) in enumerate(zip(heads, _WIDTHS, strict=True)):
        sheet.set_column(place, place, width)
        sheet.write_string(0, place, head, bold)
    for line, item in enumerate(items, start=1):
        facts = item.facts
        sheet.write_string(line, 0, _cell(item.row.reference))
        sheet.write_number(line, 1, item.row.number)
        figure = None if facts is None else figure_of(facts)
        if item.before is not None:
            before = item.before
            sheet.write_number(line, 9, float(before.figure), money)
            sheet.write_datetime(line, 10, before.effective_date, day)
            sheet.write_string(line, 11, before.currency)
            if (
                figure is not None
                and facts is not None
                and facts.currency == before.currency
                and before.figure
            ):
                sheet.write_number(line, 12, round(100 * float(figure / before.figure - 1), 1))
        if facts is None:
            sheet.write_string(line, 13, _cell(refusal_words(item, words)))
            continue
        for place, text in enumerate(
            (car_name(facts), identity_words(facts, words), condition_words(facts, words)), start=2
        ):
            sheet.write_string(line, place, _cell(text))
        amounts = [*(facts.model.figures if facts.model is not None else (None,) * 3), figure]
        for place, amount in enumerate(amounts, start=5):
            if amount is not None:
                sheet.write_number(line, place, float(amount), money)
        sheet.write_string(line, 13, _cell(note_words(facts, words)))
    last = len(items) + 1
    sheet.write_string(last, 0, words.say("Sum"), bold)
    sheet.write_formula(last, 8, f"=SUM(I2:I{last})", strong, float(total.added))
    sheet.write_string(last + 1, 0, words.say("Together"), bold)
    for place, amount in enumerate((total.low, total.mid, total.high), start=5):
        sheet.write_number(last + 1, place, float(amount), strong)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, last - 1, len(heads) - 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _sales_sheet(book: Any, items: Sequence[Item], words: LocaleWords) -> None:
    sheet = book.add_worksheet(words.say("Sales used"))
    bold, money = book.add_format({"bold": True, "bottom": 1}), book.add_format({"num_format": "#,##0.00"})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    heads = (
        words.say("Reference"), words.say("Date"), words.say("Make"), words.say("Model"),
        words.say("Variant"), words.say("Year"), words.say("Condition"), words.say("Price, all-in"),
        words.say("Currency"), words.say("Adjusted price"), words.say("Source"),
        words.say("Source reference"),
    )  # fmt: skip
    for place, head in enumerate(heads):
        sheet.set_column(place, place, 16)
        sheet.write_string(0, place, head, bold)
    line = 0
    for item in items:
        if item.facts is None or item.facts.grid.is_empty():
            continue
        for row in item.facts.grid.iter_rows(named=True):
            line += 1
            texts = {
                0: item.row.reference,
                2: row["make"],
                3: row["model"],
                4: row["variant"],
                6: words.word(row["condition_band"]),
                8: item.facts.base_currency,
                10: row["source"],
                11: row["source_ref"],
            }
            for place, text in texts.items():
                sheet.write_string(line, place, _cell(text or ""))
            sheet.write_datetime(line, 1, row["event_date"], day)
            sheet.write_number(line, 5, row["year"])
            sheet.write_number(line, 7, float(row["price"]), money)
            sheet.write_number(line, 9, float(row["adjusted_price"]), money)
    sheet.freeze_panes(1, 1)


def _notes_sheet(book: Any, items: Sequence[Item], said: str, words: LocaleWords) -> None:
    sheet = book.add_worksheet(words.say("To know"))
    sheet.set_column(0, 0, 110, book.add_format({"text_wrap": True}))
    valued = [item.facts for item in items if item.facts is not None]
    kept = (collection_mark(valued), ADDED_UP, CAUTION, ROAD)
    mark, *others = (words.word(text) for text in kept)
    lines = [mark, f"{capital(said)}.", *others]
    if valued:
        found = valued[0].evidence
        lines += [
            standing_warning(valued[0], words) or "",
            words.say("Digest of the market's records: {digest}", digest=found.market.digest),
            words.say("Fit of the price model: {fit}", fit=fit_words(valued[0], words)),
            words.say("Program: {program}", program=f"{PROGRAM} {found.software[PROGRAM]}"),
        ]
    for place, text in enumerate(line for line in lines if line):
        sheet.write_string(place, 0, text)


def _cell(text: str) -> str:
    """A text as a cell holds it: at most 32,767 letters (the limit of the format)."""
    return shown(text)[:32_000]
