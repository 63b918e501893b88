"""A collection's schedule as a workbook: what it is worth car by car, and every sale behind it."""

import io
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
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
    per_cent_since,
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
_BOLD: Final[dict[str, Any]] = {"bold": True, "bottom": 1}
_MONEY: Final = "#,##0.00"


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
    heads = (
        words.say("Reference"), words.say("Row"), words.say("Car"), words.say("Identity"),
        words.say("Condition"), words.say("Low, {currency}", currency=currency),
        words.say("Middle, {currency}", currency=currency), words.say("High, {currency}", currency=currency),
        words.say("Counted, {currency}", currency=currency), words.say("Last valued"), words.say("On"),
        words.say("In"), words.say("Change, %"), words.say("Note"),
    )  # fmt: skip
    head = _BOLD | {"text_wrap": True, "valign": "top"}
    sheet, write = _sheet(book, words.say("Schedule"), heads, _WIDTHS, head)
    bold, strong = book.add_format(head), book.add_format({"num_format": _MONEY, "bold": True})
    for line, item in enumerate(items, start=1):
        facts, before = item.facts, item.before
        cells: list[Any] = [None] * len(heads)
        cells[:2] = item.row.reference, item.row.number
        if before is not None:
            cells[9:12] = before.figure, before.effective_date, before.currency
            change = per_cent_since(item)
            cells[12] = None if change is None else round(change, 1)
        if facts is None:
            cells[13] = refusal_words(item, words)
        else:
            cells[2:5] = car_name(facts), identity_words(facts, words), condition_words(facts, words)
            cells[5:9] = *(facts.model.figures if facts.model is not None else (None,) * 3), figure_of(facts)
            cells[13] = note_words(facts, words)
        write(line, cells)
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
    heads = (
        words.say("Reference"), words.say("Date"), words.say("Make"), words.say("Model"),
        words.say("Variant"), words.say("Year"), words.say("Condition"), words.say("Price, all-in"),
        words.say("Currency"), words.say("Adjusted price"), words.say("Source"),
        words.say("Source reference"),
    )  # fmt: skip
    sheet, write = _sheet(book, words.say("Sales used"), heads, (16,) * len(heads), _BOLD)
    used = [
        (item.row.reference, item.facts.base_currency, row)
        for item in items
        if item.facts is not None
        for row in item.facts.grid.iter_rows(named=True)
    ]
    for line, (reference, currency, row) in enumerate(used, start=1):
        car = [row[name] or "" for name in ("make", "model", "variant", "year")]
        prices = row["price"], currency, row["adjusted_price"]
        condition, source = words.word(row["condition_band"]), (row["source"], row["source_ref"])
        write(line, [reference, row["event_date"], *car, condition, *prices, *source])
    sheet.freeze_panes(1, 1)


def _sheet(
    book: Any, name: str, heads: Sequence[str], widths: Sequence[int], head: dict[str, Any]
) -> tuple[Any, Callable[[int, Sequence[Any]], None]]:
    """A sheet with its heads, each so wide; and what writes a line of it: texts as texts, whatever they look
    like, at most 32,767 letters (the limit of the format); amounts and days as what they are."""
    sheet = book.add_worksheet(name)
    bold = book.add_format(head)
    money, day = book.add_format({"num_format": _MONEY}), book.add_format({"num_format": "yyyy-mm-dd"})
    for place, (title, width) in enumerate(zip(heads, widths, strict=True)):
        sheet.set_column(place, place, width)
        sheet.write_string(0, place, title, bold)

    def write(line: int, cells: Sequence[Any]) -> None:
        for place, cell in enumerate(cells):
            match cell:
                case None:
                    continue
                case Decimal():
                    sheet.write_number(line, place, float(cell), money)
                case date():
                    sheet.write_datetime(line, place, cell, day)
                case str():
                    sheet.write_string(line, place, shown(cell)[:32_000])
                case _:
                    sheet.write_number(line, place, cell)

    return sheet, write


def _notes_sheet(book: Any, items: Sequence[Item], together: str, words: LocaleWords) -> None:
    sheet = book.add_worksheet(words.say("To know"))
    sheet.set_column(0, 0, 110, book.add_format({"text_wrap": True}))
    valued = [item.facts for item in items if item.facts is not None]
    notes = (collection_mark(valued), ADDED_UP, CAUTION, ROAD)
    mark, *others = (words.word(note) for note in notes)
    lines = [mark, f"{capital(together)}.", *others]
    if valued:
        evidence = valued[0].evidence
        lines += [
            standing_warning(valued[0], words) or "",
            words.say("Digest of the market's records: {digest}", digest=evidence.market.digest),
            words.say("Fit of the price model: {fit}", fit=fit_words(valued[0], words)),
            words.say("Program: {program}", program=f"{PROGRAM} {evidence.software[PROGRAM]}"),
        ]
    for place, line in enumerate(filter(None, lines)):
        sheet.write_string(place, 0, line)
