"""A collection as one bound document and as a schedule in a workbook."""

from collections.abc import Sequence
from typing import Final

from pricing.appraisal.collection import Item
from pricing.appraisal.collection_total import Total, figure_of
from pricing.appraisal.facts import DRAFT, Facts
from pricing.appraisal.record.record import Appraisal
from pricing.progress import Progress, untold
from pricing.reports import figure_words, wording
from pricing.reports.evidence import fit_answers
from pricing.reports.formats import blocks as page
from pricing.reports.formats.pictures import Picture, ranges_picture
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import SOURCE, noted
from pricing.words.language.told import told
from pricing.words.sentences import CAUTION, name_words, option_words

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
) -> page.Pages:
    """The bound document: cover, schedule with its total, a page a car, and what it was made with."""
    valued = [item.facts for item in items if item.facts is not None]
    terms = shared.assignment
    blocks: list[page.Block] = [*_schedule(terms.currency, items, total, words)]
    pictures: dict[str, Picture] = {}
    for place, item in enumerate(items, start=1):
        if item.facts is not None:
            name, drawn = f"ranges-{place}", ranges_picture(item.facts, words)
            pictures |= {name: drawn["ranges"]} if drawn else {}
            blocks += [
                page.NewPage(),
                *_car_page(item.row.reference, item.facts, words, name if drawn else ""),
            ]
        progress("lay out", place, len(items))
    if valued:
        made = fit_answers(valued[0], words, of_one=False)
        heading = page.Heading(words.say("Software and data"))
        blocks += [page.NewPage(), heading, page.Paragraph(wording.time_words(valued[0], words)), made]
    cars = words.many(
        "{number} car, of which {valued} valued", "{number} cars, of which {valued} valued", len(items),
        valued=words.number(len(valued)),
    )  # fmt: skip
    rows = [
        (words.say("Prepared for"), terms.client),
        (words.say("Intended use"), terms.intended_use),
        (words.say("Basis of value"), figure_words.basis_and_level(shared, words)),
        (words.say("Effective date"), words.day(terms.effective_date)),
        (words.say("Report date"), words.day(terms.report_date)),
        (words.say("Cars"), cars),
    ]
    cautions = [CAUTION, wording.ROAD, *([] if words.language == SOURCE else [wording.OWN_WORDS])]
    return page.Pages(
        title=words.word(TITLE),
        subject=words.many("{number} car", "{number} cars", len(items)),
        mark=words.word(collection_mark(valued)),
        reference=f"{terms.client[:60]}, {words.day(terms.effective_date)}",
        language=words.tag,
        blocks=blocks,
        cover=page.Cover(page.answered(rows).rows, " ".join(words.word(caution) for caution in cautions)),
        pictures=pictures,
        author=shared.valuer.name,
        labels=wording.labels(words),
    )


def collection_mark(valued: Sequence[Facts]) -> str:
    """The mark of the whole: that of a draft where any car is one."""
    titles = {facts.title for facts in valued}
    return wording.MARKS[DRAFT if DRAFT in titles else min(titles)] if titles else ""


def collection_sentence(items: Sequence[Item], total: Total, currency: str) -> str:
    """How many cars were valued, and what they come to together."""
    days = [item.facts.evidence.valuation.as_of for item in items if item.facts is not None]
    valued = f"{len(days)} of {len(items)} cars valued"
    if not days:
        return valued
    return f"{valued}; {total_sentence(total, currency)} at {PLAIN.day(days[0])}"


def total_sentence(total: Total, currency: str, words: LocaleWords = PLAIN) -> str:
    """The sum, the range of all prices together, and what selling at once is judged to leave."""
    low, mid, high = (words.about(end, currency) for end in (total.low, total.mid, total.high))
    together = words.say(
        "their middles add up to {sum}, and together they should fetch {low} to {high}, half the time more "
        "than {mid}",
        sum=words.about(total.added, currency), low=low, mid=mid, high=high,
    )  # fmt: skip
    if total.together is None or total.less is None:
        return together
    left = [words.about(end, currency) for end in total.less]
    off = 100.0 * float(total.together.share)
    at_once = words.say(
        "sold all at once {low} to {high}, {share} less by judgement ({reason})",
        low=left[0], high=left[2], share=words.per_cent(off, 0 if off == round(off) else 1, sign=False),
        reason=total.together.reason.rstrip(". "),
    )  # fmt: skip
    return f"{together}; {at_once}"


def change_words(item: Item, words: LocaleWords) -> str:
    """What a car was last valued at, and by how much that has changed since."""
    before = item.before
    if before is None:
        return ""
    day = words.short_day(before.effective_date)
    values = {"figure": words.known(before.figure), "currency": before.currency, "day": day}
    change = per_cent_since(item)
    if change is None:
        return words.say("{figure} {currency} on {day}", **values)
    return words.say("{figure} {currency} on {day}, {change}", **values, change=words.per_cent(change, 0))


def per_cent_since(item: Item) -> float | None:
    """By how much a car's figure has changed since it was last valued; None where the two cannot be told
    apart."""
    before, facts = item.before, item.facts
    now = None if facts is None else figure_of(facts)
    if before is None or facts is None or now is None or facts.currency != before.currency:
        return None
    return 100 * float(now / before.figure - 1) if before.figure else None


def _schedule(currency: str, items: Sequence[Item], total: Total, words: LocaleWords) -> list[page.Block]:
    rows = [_line(item, item.facts, words) for item in items if item.facts is not None]
    rows.append((words.say("Sum"), "", "", "", "", words.known(total.added), "", ""))
    rows.append((words.say("Together"), "", "", words.known(total.low), words.known(total.high),
                 words.known(total.mid), "", words.say("drawn together")))  # fmt: skip
    columns = (
        page.Column(words.say("Reference"), 1.05), page.Column(words.say("Car"), 1.9),
        page.Column(words.say("Condition"), 1.4),
        page.Column(words.say("Low, {currency}", currency=currency), 1.1, True),
        page.Column(words.say("High, {currency}", currency=currency), 1.1, True),
        page.Column(words.say("Counted, {currency}", currency=currency), 1.15, True),
        page.Column(words.say("Last valued"), 1.5), page.Column(words.say("Note"), 1.6),
    )  # fmt: skip
    count = words.many(
        "{cars} of {number} car: {total}.", "{cars} of {number} cars: {total}.", len(items),
        cars=words.number(total.cars), total=total_sentence(total, currency, words),
    )  # fmt: skip
    strong = (len(rows) - 2, len(rows) - 1)
    caption, note = words.say("Cars of the collection"), words.word(ADDED_UP)
    blocks: list[page.Block] = [
        page.Heading(words.say("Schedule")),
        page.Table(caption, columns, tuple(rows), strong=strong, note=note),
        page.Paragraph(count),
    ]
    refused = [item for item in items if item.facts is None]
    if not refused:
        return blocks
    return [
        *blocks,
        page.table(
            words.say("Cars that were not valued"),
            refused,
            page.text(words.say("Reference"), 1.2, lambda item: wording.cut(item.row.reference)),
            page.text(words.say("Car"), 2.0, lambda item: wording.cut(name_words(item.row.cells))),
            page.text(words.say("Last valued"), 1.5, lambda item: wording.cut(change_words(item, words))),
            page.text(words.say("Reason"), 4.0, lambda item: wording.cut(told(item.reason, words))),
        ),
    ]


def _line(item: Item, facts: Facts, words: LocaleWords) -> tuple[str, ...]:
    low, _, high = (None,) * 3 if facts.model is None else facts.model.figures
    figure = figure_of(facts)
    low_words, high_words, counted = (
        wording.NONE if amount is None else words.known(amount) for amount in (low, high, figure)
    )
    if figure is not None and facts.opinion is not None:
        counted = words.plain(figure, 0)
    return (
        wording.cut(item.row.reference),
        wording.cut(wording.car_name(facts)),
        wording.band_words(facts.evidence.valuation.car["condition_band"], words),
        low_words,
        high_words,
        counted,
        wording.cut(change_words(item, words)),
        note_words(facts, words),
    )


def refusal_words(item: Item, words: LocaleWords) -> str:
    """Why a car was not valued."""
    return words.say("not valued: {reason}", reason=told(item.reason, words))


def note_words(facts: Facts, words: LocaleWords) -> str:
    """What a car's figure rests on, and what a draft still lacks."""
    if facts.opinion is None:
        return words.say("model, {depth}", depth=words.word(facts.evidence.valuation.evidence))
    notes = [words.say("opinion") if facts.record.completed else words.say("opinion, draft")]
    if facts.model is None:
        reason = told(facts.evidence.valuation.reason, words)
        notes.append(words.say("no range of the model: {reason}", reason=reason))
    open_points = len(facts.lacking) + len(facts.against)
    if open_points:
        notes.append(words.many("{number} point open", "{number} points open", open_points))
    return "; ".join(notes)


def _car_page(name: str, facts: Facts, words: LocaleWords, picture: str) -> list[page.Block]:
    car = facts.record.subject
    rows = [
        (words.say("Record"), wording.reference(facts, words)),
        (words.say("Identity"), wording.identity_words(facts, words)),
        (words.say("Condition"), wording.condition_words(facts, words)),
        (words.say("Odometer"), wording.odometer_words(facts, words)),
        (words.say("Options"), ", ".join(option_words(code, words) for code in car.options)),
        (words.say("Price model"), figure_words.span_words(facts, words, "model")),
        (words.say("Comparable sales"), figure_words.span_words(facts, words, "comparables")),
        (words.say("The opinion among like cars"), figure_words.standing_words(facts, words)),
    ]
    blocks: list[page.Block] = [
        page.Heading(f"{wording.cut(name)}: {wording.cut(wording.car_name(facts))}"),
        figure_words.value_statement(facts, words),
        page.answered((title, wording.cut(answer)) for title, answer in rows),
    ]
    if picture:
        caption = words.say("Ranges, {currency}", currency=facts.currency)
        blocks.append(page.Figure(picture, caption, figure_words.bars_words(facts, words)))
    return [*blocks, *_sales_table(facts, words)]


def _sales_table(facts: Facts, words: LocaleWords) -> list[page.Block]:
    if facts.grid.is_empty():
        return []
    money, into, cut = facts.currency, facts.evidence.conversion.from_base, wording.cut
    caption = words.say("Comparable sales")
    if money != facts.base_currency:
        caption = f"{caption}. " + words.say("In {rate}.", rate=figure_words.rate_words(facts, words))
    all_in = words.say("All-in, {currency}", currency=money)
    adjusted = words.say("Adjusted, {money}", money=money)
    return [
        page.table(
            caption,
            facts.grid.iter_rows(named=True),
            page.text(words.say("Sold"), 1.1, lambda row: words.short_day(row["event_date"])),
            page.text(words.say("Car"), 1.7, lambda row: cut(wording.row_name(row))),
            page.text(
                words.say("Condition"), 1.2, lambda row: wording.band_words(row["condition_band"], words)
            ),
            page.number(all_in, 1.1, lambda row: words.plain(into(row["price"]), 0)),
            page.number(adjusted, 1.2, lambda row: words.known(into(row["adjusted_price"]))),
            page.number(words.say("Weight"), 0.9, lambda row: words.share(row["weight"])),
            page.text(words.say("Source and reference"), 2.1, lambda row: cut(wording.row_source(row))),
        )
    ]
