"""A collection as one bound document and as a schedule in a workbook."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from pricing.appraisal.collection import Item
from pricing.appraisal.collection_total import Total, figure_of
from pricing.appraisal.facts import DRAFT, Facts
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
from pricing.words.reader import day_words
from pricing.words.sentences import CAUTION, money_words, option_words

TITLE: Final = "Schedule of values"

ADDED_UP: Final = (
    "The sum adds up middle prices and opinions. The range of the total is of all prices drawn together: "
    "they share the market's move, and cars of one model more than that; lows and highs do not add up, for "
    "cars do not all sell low at once. The total's middle is above the sum, since a car can sell for far "
    "more than its middle price, and not for as much less. Amounts are rounded to what is known; the "
    "sum is of amounts before rounding."
)
"""What a reader is told of the total."""


def collection_pages(
    shared: Appraisal, items: Sequence[Item], total: Total, words: LocaleWords, progress: Progress = untold
) -> Pages:
    """The bound document: cover, schedule with its total, a page a car, and what it was made with."""
    valued = [item.facts for item in items if item.facts is not None]
    asked = shared.assignment
    blocks: list[Block] = [*_schedule(asked.currency, items, total, words)]
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
        mark=collection_mark(valued),
        reference=f"{asked.client[:60]}, {words.day(asked.effective_date)}",
        language=words.tag if words.locale.language == "en" else "en",
        blocks=blocks,
        cover=Cover(tuple((name, said) for name, said in rows if said), f"{CAUTION} {ROAD}"),
        pictures=pictures,
        author=shared.valuer.name,
    )


def collection_mark(valued: Sequence[Facts]) -> str:
    """The mark of the whole: that of a draft where any car is one."""
    titles = {facts.title for facts in valued}
    return MARKS[DRAFT if DRAFT in titles else min(titles)] if titles else ""


def collection_sentence(items: Sequence[Item], total: Total, currency: str) -> str:
    """How many cars were valued, and what they come to together."""
    days = [item.facts.evidence.valuation.as_of for item in items if item.facts is not None]
    told = f"{len(days)} of {len(items)} cars valued"
    if not days:
        return told
    return f"{told}; {total_sentence(total, currency)} at {day_words(days[0])}"


def total_sentence(total: Total, currency: str) -> str:
    """The sum, the range of all prices together, and what selling at once is judged to leave."""
    low, mid, high = (money_words(end, currency) for end in (total.low, total.mid, total.high))
    told = (
        f"their middles add up to {money_words(total.added, currency)}, and together they should fetch "
        f"{low} to {high}, half the time more than {mid}"
    )
    if total.together is None or total.less is None:
        return told
    left = [money_words(end, currency) for end in total.less]
    off = f"{float(100 * total.together.share):.3g}% less by judgement"
    return f"{told}; sold all at once {left[0]} to {left[2]}, {off} ({total.together.reason.rstrip('. ')})"


def change_words(item: Item, words: LocaleWords) -> str:
    """What a car was last valued at, and by how much that has changed since."""
    before = item.before
    if before is None:
        return ""
    told = f"{words.known(before.figure)} {before.currency} on {words.short_day(before.effective_date)}"
    now = None if item.facts is None else figure_of(item.facts)
    if now is None or item.facts is None or item.facts.currency != before.currency or not before.figure:
        return told
    return f"{told}, {100 * float(now / before.figure - 1):+.0f}%"


def _schedule(currency: str, items: Sequence[Item], total: Total, words: LocaleWords) -> list[Block]:
    rows = [_line(item, words) for item in items]
    rows.append(("Sum", "", "", "", "", words.known(total.added), "", ""))
    rows.append(("Together", "", "", words.known(total.low), words.known(total.high), words.known(total.mid),
                 "", "drawn together"))  # fmt: skip
    columns = (
        Column("Reference", 1.0),
        Column("Car", 2.0),
        Column("Condition", 1.1),
        Column(f"Low, {currency}", 1.1, True),
        Column(f"High, {currency}", 1.1, True),
        Column(f"Counted, {currency}", 1.15, True),
        Column("Last valued", 1.5),
        Column("Note", 1.6),
    )
    return [
        Heading("Schedule"),
        Table("Cars of the collection", columns, tuple(rows), strong=(len(rows) - 2, len(rows) - 1),
              note=ADDED_UP),
        Paragraph(f"{total.cars} of {len(items)} cars: {total_sentence(total, currency)}."),
    ]  # fmt: skip


def _line(item: Item, words: LocaleWords) -> tuple[str, ...]:
    facts, last = item.facts, cut(change_words(item, words))
    if facts is None:
        cells = item.row.cells
        name = " ".join(cells.get(part, "") for part in ("year", "make", "model", "variant")).strip()
        refused = cut(f"not valued: {item.reason}")
        return (cut(item.row.reference), cut(name), NONE, NONE, NONE, NONE, last, refused)
    low, high = _ends(facts)
    figure = figure_of(facts)
    exact = facts.opinion is not None
    counted = NONE if figure is None else words.plain(figure, 0) if exact else words.known(figure)
    ends = (NONE if amount is None else words.known(amount) for amount in (low, high))
    amounts = (*ends, counted)
    return (
        cut(item.row.reference),
        cut(car_name(facts)),
        band_words(facts),
        *amounts,
        last,
        note_words(facts),
    )


def band_words(facts: Facts) -> str:
    """The condition band alone."""
    band = facts.evidence.valuation.car["condition_band"]
    return "not graded" if band is None else str(band)


def _ends(facts: Facts) -> tuple[Decimal | None, Decimal | None]:
    return (None, None) if facts.model is None else (facts.model.figures[0], facts.model.figures[2])


def note_words(facts: Facts) -> str:
    """What a car's figure rests on, and what a draft still lacks."""
    if facts.opinion is None:
        return f"model, {facts.evidence.valuation.evidence}"
    said = "opinion" if facts.record.completed else "opinion, draft"
    if facts.model is None:
        said += f"; no range of the model: {facts.evidence.valuation.reason}"
    open_points = len(facts.lacking) + len(facts.against)
    return f"{said}; {open_points} points open" if open_points else said


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
            words.plain(row["price"], 0),
            words.known(row["adjusted_price"]),
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
