"""A collection as one bound document and as a schedule in a workbook."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from pricing.appraisal.collection import Item, figure_of, total_of
from pricing.appraisal.facts import Facts
from pricing.appraisal.record import Appraisal
from pricing.progress import Progress, untold
from pricing.reports.blocks import (
    Answers,
    Block,
    Column,
    Cover,
    Figure,
    Heading,
    NewPage,
    Pages,
    Paragraph,
    Table,
)
from pricing.reports.evidence import NONE, fit_answers
from pricing.reports.pictures import Picture, ranges_picture
from pricing.reports.wording import (
    MARKS,
    ROAD,
    car_name,
    condition_words,
    cut,
    identity_words,
    reference,
    span_words,
    standing_words,
    time_words,
    value_statement,
)
from pricing.words.locale import LocaleWords
from pricing.words.sentences import CAUTION, day_words, exact_words, option_words

TITLE: Final = "Schedule of values"

ADDED_UP: Final = (
    "The total adds up middle prices and opinions; lows and highs do not add up, for cars do not all "
    "sell low at "
    "once."
)


def collection_pages(
    shared: Appraisal, items: Sequence[Item], words: LocaleWords, progress: Progress = untold
) -> Pages:
    """The bound document: cover, schedule with its total, a page a car, and what it was made with."""
    valued = [item.facts for item in items if item.facts is not None]
    asked = shared.assignment
    blocks: list[Block] = [*_schedule(asked.currency, items, words)]
    pictures: dict[str, Picture] = {}
    for place, item in enumerate(items, start=1):
        if item.facts is not None:
            name = f"ranges-{place}"
            drawn = ranges_picture(item.facts, words)
            pictures |= {name: drawn["ranges"]} if drawn else {}
            blocks += [NewPage(), *_car_page(item.row.reference, item.facts, words, name if drawn else "")]
        progress("lay out", place, len(items))
    if valued:
        blocks += [NewPage(), Heading("Software and data"), Paragraph(time_words(valued[0], words)),
                   fit_answers(valued[0], words, of_one=False)]  # fmt: skip
    rows = [
        ("Prepared for", asked.client),
        ("Intended use", asked.intended_use),
        ("Basis of value", ", ".join(part for part in (asked.basis, asked.market_level) if part)),
        ("Effective date", words.day(asked.effective_date)),
        ("Report date", words.day(asked.report_date)),
        ("Cars", f"{len(items)}, of which {len(valued)} valued"),
    ]
    return Pages(
        title=TITLE,
        subject=f"{len(items)} cars",
        mark=MARKS[valued[0].title] if valued else "",
        reference=f"{asked.client[:60]}, {words.day(asked.effective_date)}",
        language=words.tag if words.locale.language == "en" else "en",
        blocks=blocks,
        cover=Cover(tuple((name, said) for name, said in rows if said), f"{CAUTION} {ROAD}"),
        pictures=pictures,
        author=shared.valuer.name,
    )


def collection_sentence(items: Sequence[Item], currency: str) -> str:
    """How many cars were valued, and what they come to together."""
    days = [item.facts.evidence.valuation.as_of for item in items if item.facts is not None]
    at = f" at {day_words(days[0])}" if days else ""
    return f"{len(days)} of {len(items)} cars valued; together {exact_words(total_of(items), currency)}{at}"


def _schedule(currency: str, items: Sequence[Item], words: LocaleWords) -> list[Block]:
    rows = [_line(item, words) for item in items]
    rows.append(("Total", "", "", "", "", words.plain(total_of(items)), ""))
    columns = (
        Column("Reference", 1.1),
        Column("Car", 2.4),
        Column("Condition", 1.2),
        Column(f"Low, {currency}", 1.15, True),
        Column(f"High, {currency}", 1.15, True),
        Column(f"Counted, {currency}", 1.25, True),
        Column("Note", 2.0),
    )
    return [
        Heading("Schedule"),
        Table("Cars of the collection", columns, tuple(rows), strong=(len(rows) - 1,), note=ADDED_UP),
    ]


def _line(item: Item, words: LocaleWords) -> tuple[str, ...]:
    facts = item.facts
    if facts is None:
        cells = item.row.cells
        name = " ".join(cells.get(part, "") for part in ("year", "make", "model", "variant")).strip()
        return (cut(item.row.reference), cut(name), NONE, NONE, NONE, NONE, cut(f"not valued: {item.reason}"))
    low, high = _ends(facts)
    figure = figure_of(facts)
    amounts = (NONE if amount is None else words.plain(amount) for amount in (low, high, figure))
    return (
        cut(item.row.reference),
        cut(car_name(facts)),
        band_words(facts),
        *amounts,
        note_words(facts),
    )


def band_words(facts: Facts) -> str:
    """The condition band alone."""
    band = facts.evidence.valuation.car["condition_band"]
    return "not graded" if band is None else str(band)


def _ends(facts: Facts) -> tuple[Decimal | None, Decimal | None]:
    span = facts.model if facts.model is not None else facts.comparables
    return (None, None) if span is None else (span.figures[0], span.figures[2])


def note_words(facts: Facts) -> str:
    """What a car's figure rests on."""
    if facts.opinion is not None:
        return "opinion, draft" if not facts.record.completed else "opinion"
    if facts.model is not None:
        return f"model, {facts.evidence.valuation.evidence}"
    return "comparable sales" if facts.comparables is not None else str(facts.evidence.valuation.reason)


def _car_page(name: str, facts: Facts, words: LocaleWords, picture: str) -> list[Block]:
    car = facts.record.subject
    odometer = "" if car.odometer_km is None else f"{words.number(car.odometer_km)} km"
    rows = [
        ("Record", reference(facts)),
        ("Identity", identity_words(facts)),
        ("Condition", condition_words(facts)),
        ("Odometer", odometer),
        ("Options", ", ".join(option_words(code) for code in car.options)),
        ("Price model", span_words(facts, words, "model")),
        ("Comparable sales", span_words(facts, words, "comparables")),
        ("The opinion among like cars", standing_words(facts)),
    ]
    blocks: list[Block] = [
        Heading(f"{cut(name)}: {cut(car_name(facts))}"),
        value_statement(facts, words),
        Answers(tuple((title, cut(said)) for title, said in rows if said)),
    ]
    if picture:
        blocks.append(Figure(picture, f"Ranges, {facts.currency}", "Bars of the ranges of both approaches."))
    return [*blocks, *_sales_table(facts, words)]


def _sales_table(facts: Facts, words: LocaleWords) -> list[Block]:
    if facts.grid.is_empty():
        return []
    rows = tuple(
        (
            words.short_day(row["event_date"]),
            cut(" ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] is not None)),
            row["condition_band"] or "not graded",
            words.plain(row["price"]),
            words.plain(row["adjusted_price"]),
            words.share(row["weight"]),
            cut(f"{row['source']}: {row['source_ref']}"),
        )
        for row in facts.grid.iter_rows(named=True)
    )
    money = facts.base_currency
    columns = (
        Column("Sold", 1.1),
        Column("Car", 1.7),
        Column("Condition", 1.2),
        Column(f"All-in, {money}", 1.1, True),
        Column(f"Adjusted, {money}", 1.2, True),
        Column("Weight", 0.9, True),
        Column("Source and reference", 2.1),
    )
    return [Table("Comparable sales", columns, rows)]
