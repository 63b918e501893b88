"""A collection as one bound document and as a schedule in a workbook."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from pricing.appraisal.collection import Item
from pricing.appraisal.collection_total import Total, figure_of
from pricing.appraisal.facts import DRAFT, Facts
from pricing.appraisal.record.record import Appraisal
from pricing.progress import Progress, untold
from pricing.reports.evidence import NONE, fit_answers
from pricing.reports.figure_words import (
    bars_words,
    basis_and_level,
    rate_words,
    span_words,
    standing_words,
    value_statement,
)
from pricing.reports.formats.blocks import (
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
from pricing.reports.formats.pictures import Picture, ranges_picture
from pricing.reports.wording import (
    MARKS,
    OWN_WORDS,
    ROAD,
    band_words,
    car_name,
    condition_words,
    cut,
    identity_words,
    labels,
    odometer_words,
    reference,
    time_words,
)
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import SOURCE, noted
from pricing.words.language.told import told
from pricing.words.sentences import CAUTION, option_words

TITLE: Final = noted("Schedule of values")

ADDED_UP: Final = noted(
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
        made = fit_answers(valued[0], words, of_one=False)
        heading = Heading(words.say("Software and data"))
        blocks += [NewPage(), heading, Paragraph(time_words(valued[0], words)), made]
    cars = words.many(
        "{number} car, of which {valued} valued", "{number} cars, of which {valued} valued", len(items),
        valued=words.number(len(valued)),
    )  # fmt: skip
    rows = [
        (words.say("Prepared for"), asked.client),
        (words.say("Intended use"), asked.intended_use),
        (words.say("Basis of value"), basis_and_level(shared, words)),
        (words.say("Effective date"), words.day(asked.effective_date)),
        (words.say("Report date"), words.day(asked.report_date)),
        (words.say("Cars"), cars),
    ]
    cautions = [words.word(CAUTION), words.word(ROAD)]
    if words.language != SOURCE:
        cautions.append(words.word(OWN_WORDS))
    return Pages(
        title=words.word(TITLE),
        subject=words.many("{number} car", "{number} cars", len(items)),
        mark=words.word(collection_mark(valued)),
        reference=f"{asked.client[:60]}, {words.day(asked.effective_date)}",
        language=words.tag,
        blocks=blocks,
        cover=Cover(tuple((name, said) for name, said in rows if said), " ".join(cautions)),
        pictures=pictures,
        author=shared.valuer.name,
        labels=labels(words),
    )


def collection_mark(valued: Sequence[Facts]) -> str:
    """The mark of the whole: that of a draft where any car is one."""
    titles = {facts.title for facts in valued}
    return MARKS[DRAFT if DRAFT in titles else min(titles)] if titles else ""


def collection_sentence(items: Sequence[Item], total: Total, currency: str) -> str:
    """How many cars were valued, and what they come to together."""
    days = [item.facts.evidence.valuation.as_of for item in items if item.facts is not None]
    said = f"{len(days)} of {len(items)} cars valued"
    if not days:
        return said
    return f"{said}; {total_sentence(total, currency)} at {PLAIN.day(days[0])}"


def total_sentence(total: Total, currency: str, words: LocaleWords = PLAIN) -> str:
    """The sum, the range of all prices together, and what selling at once is judged to leave."""
    low, mid, high = (words.about(end, currency) for end in (total.low, total.mid, total.high))
    said = words.say(
        "their middles add up to {sum}, and together they should fetch {low} to {high}, half the time more "
        "than {mid}",
        sum=words.about(total.added, currency), low=low, mid=mid, high=high,
    )  # fmt: skip
    if total.together is None or total.less is None:
        return said
    left = [words.about(end, currency) for end in total.less]
    off = 100.0 * float(total.together.share)
    at_once = words.say(
        "sold all at once {low} to {high}, {share} less by judgement ({reason})",
        low=left[0], high=left[2], share=words.per_cent(off, 0 if off == round(off) else 1, sign=False),
        reason=total.together.reason.rstrip(". "),
    )  # fmt: skip
    return f"{said}; {at_once}"


def change_words(item: Item, words: LocaleWords) -> str:
    """What a car was last valued at, and by how much that has changed since."""
    before = item.before
    if before is None:
        return ""
    values = {
        "figure": words.known(before.figure), "currency": before.currency,
        "day": words.short_day(before.effective_date),
    }  # fmt: skip
    now = None if item.facts is None else figure_of(item.facts)
    if now is None or item.facts is None or item.facts.currency != before.currency or not before.figure:
        return words.say("{figure} {currency} on {day}", **values)
    change = words.per_cent(100 * float(now / before.figure - 1), 0)
    return words.say("{figure} {currency} on {day}, {change}", **values, change=change)


def _schedule(currency: str, items: Sequence[Item], total: Total, words: LocaleWords) -> list[Block]:
    rows = [_line(item, item.facts, words) for item in items if item.facts is not None]
    rows.append((words.say("Sum"), "", "", "", "", words.known(total.added), "", ""))
    rows.append((words.say("Together"), "", "", words.known(total.low), words.known(total.high),
                 words.known(total.mid), "", words.say("drawn together")))  # fmt: skip
    columns = (
        Column(words.say("Reference"), 1.05), Column(words.say("Car"), 1.9),
        Column(words.say("Condition"), 1.4),
        Column(words.say("Low, {currency}", currency=currency), 1.1, True),
        Column(words.say("High, {currency}", currency=currency), 1.1, True),
        Column(words.say("Counted, {currency}", currency=currency), 1.15, True),
        Column(words.say("Last valued"), 1.5), Column(words.say("Note"), 1.6),
    )  # fmt: skip
    said = words.many(
        "{cars} of {number} car: {total}.", "{cars} of {number} cars: {total}.", len(items),
        cars=words.number(total.cars), total=total_sentence(total, currency, words),
    )  # fmt: skip
    return [
        Heading(words.say("Schedule")),
        Table(words.say("Cars of the collection"), columns, tuple(rows),
              strong=(len(rows) - 2, len(rows) - 1), note=words.word(ADDED_UP)),
        Paragraph(said),
        *_refused(items, words),
    ]  # fmt: skip


def _refused(items: Sequence[Item], words: LocaleWords) -> list[Block]:
    """The cars that were not valued, each with its reason."""
    rows = []
    for item in items:
        if item.facts is None:
            cells = item.row.cells
            name = " ".join(cells.get(part, "") for part in ("year", "make", "model", "variant")).strip()
            reason, last = told(item.reason, words), change_words(item, words)
            rows.append((cut(item.row.reference), cut(name), cut(last), cut(reason)))
    columns = (
        Column(words.say("Reference"), 1.2), Column(words.say("Car"), 2.0),
        Column(words.say("Last valued"), 1.5), Column(words.say("Reason"), 4.0),
    )  # fmt: skip
    return [Table(words.say("Cars that were not valued"), columns, tuple(rows))] if rows else []


def _line(item: Item, facts: Facts, words: LocaleWords) -> tuple[str, ...]:
    low, high = _ends(facts)
    figure = figure_of(facts)
    exact = facts.opinion is not None
    counted = NONE if figure is None else words.plain(figure, 0) if exact else words.known(figure)
    ends = (NONE if amount is None else words.known(amount) for amount in (low, high))
    amounts = (*ends, counted)
    return (
        cut(item.row.reference),
        cut(car_name(facts)),
        band_words(facts.evidence.valuation.car["condition_band"], words),
        *amounts,
        cut(change_words(item, words)),
        note_words(facts, words),
    )


def refusal_words(item: Item, words: LocaleWords) -> str:
    """Why a car was not valued."""
    return words.say("not valued: {reason}", reason=told(item.reason, words))


def _ends(facts: Facts) -> tuple[Decimal | None, Decimal | None]:
    return (None, None) if facts.model is None else (facts.model.figures[0], facts.model.figures[2])


def note_words(facts: Facts, words: LocaleWords) -> str:
    """What a car's figure rests on, and what a draft still lacks."""
    if facts.opinion is None:
        return words.say("model, {depth}", depth=words.word(facts.evidence.valuation.evidence))
    said = [words.say("opinion") if facts.record.completed else words.say("opinion, draft")]
    if facts.model is None:
        reason = told(facts.evidence.valuation.reason, words)
        said.append(words.say("no range of the model: {reason}", reason=reason))
    open_points = len(facts.lacking) + len(facts.against)
    if open_points:
        said.append(words.many("{number} point open", "{number} points open", open_points))
    return "; ".join(said)


def _car_page(name: str, facts: Facts, words: LocaleWords, picture: str) -> list[Block]:
    car = facts.record.subject
    rows = [
        (words.say("Record"), reference(facts, words)),
        (words.say("Identity"), identity_words(facts, words)),
        (words.say("Condition"), condition_words(facts, words)),
        (words.say("Odometer"), odometer_words(facts, words)),
        (words.say("Options"), ", ".join(option_words(code, words) for code in car.options)),
        (words.say("Price model"), span_words(facts, words, "model")),
        (words.say("Comparable sales"), span_words(facts, words, "comparables")),
        (words.say("The opinion among like cars"), standing_words(facts, words)),
    ]
    blocks: list[Block] = [
        Heading(f"{cut(name)}: {cut(car_name(facts))}"),
        value_statement(facts, words),
        Answers(tuple((title, cut(said)) for title, said in rows if said)),
    ]
    if picture:
        caption = words.say("Ranges, {currency}", currency=facts.currency)
        blocks.append(Figure(picture, caption, bars_words(facts, words)))
    return [*blocks, *_sales_table(facts, words)]


def _sales_table(facts: Facts, words: LocaleWords) -> list[Block]:
    if facts.grid.is_empty():
        return []
    money, into = facts.currency, facts.evidence.conversion.from_base
    rows = tuple(
        (
            words.short_day(row["event_date"]),
            cut(" ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] is not None)),
            band_words(row["condition_band"], words),
            words.plain(into(row["price"]), 0),
            words.known(into(row["adjusted_price"])),
            words.share(row["weight"]),
            cut(f"{row['source']}: {row['source_ref']}"),
        )
        for row in facts.grid.iter_rows(named=True)
    )
    columns = (
        Column(words.say("Sold"), 1.1), Column(words.say("Car"), 1.7), Column(words.say("Condition"), 1.2),
        Column(words.say("All-in, {currency}", currency=money), 1.1, True),
        Column(words.say("Adjusted, {money}", money=money), 1.2, True),
        Column(words.say("Weight"), 0.9, True), Column(words.say("Source and reference"), 2.1),
    )  # fmt: skip
    caption = words.say("Comparable sales")
    if money != facts.base_currency:
        caption = f"{caption}. " + words.say("In {rate}.", rate=rate_words(facts, words))
    return [Table(caption, columns, rows)]
