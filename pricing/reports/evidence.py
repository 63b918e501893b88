"""The parts of a written appraisal that show evidence: the market, the comparable sales, the price model."""

from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.appraisal.contents import MARKET, MODEL
from pricing.appraisal.facts import Facts
from pricing.appraisal.figures import Span, figure_at, valued_for
from pricing.evidence.comparison.choices import Choice
from pricing.reports.figure_words import level_words, rate_words
from pricing.reports.formats.blocks import (
    Answers,
    Block,
    Bullets,
    Column,
    Figure,
    Heading,
    Paragraph,
    Table,
)
from pricing.reports.opinions import alone_paragraph, opinions_part
from pricing.reports.wording import band_words
from pricing.words.evidence import bracket_sentence, index_sentence, period_words
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
from pricing.words.sentences import (
    distribution_caption,
    effect_interval_words,
    effect_words,
    option_words,
    term_words,
    terms_caption,
)

NONE = "\u2013"
"""In a cell that holds nothing."""


def market_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """What was sold and when, and how prices moved."""
    found, valuation = facts.evidence, facts.evidence.valuation
    values = {
        "sales": words.number(found.market.sales), "offers": words.number(found.market.offers),
        "name": f"{valuation.car['make']} {valuation.car['model']}",
        "unsold": words.number(valuation.unsold), "asked": words.number(valuation.asked),
        "currency": facts.base_currency,
    }  # fmt: skip
    blocks: list[Block] = [
        Heading(words.word(MARKET)),
        Paragraph(
            words.say(
                "By the effective date the market file held {sales} sales and {offers} offers without a "
                "sale. Of the {name}, {unsold} were offered without a buyer and {asked} were advertised "
                "without a sale known. Prices are all that a buyer pays (all-in), in {currency} at the rate "
                "of each sale's day.",
                **values,
            )
        ),
    ]
    kept = facts.record.evidence
    quality = [
        *_said(words.say("Quality of the data"), kept.data_quality),
        *_said(words.say("Environmental, social and governance factors"), kept.outside_factors),
    ]
    index = found.index
    if index is None:
        reason = told(found.missing.get("index", "none was made"), words)
        return [
            *blocks,
            Paragraph(words.say("No price index can be given: {reason}.", reason=reason)),
            *quality,
        ]
    points = index.frame.drop_nulls("index")
    rows = tuple(
        (period_words(row["period"], words), words.number(row["sales"]), words.number(row["index"], 1),
         _ends(row["low"], row["high"], words))
        for row in points.tail(8).iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column(words.say("Period"), 1.4), Column(words.say("Sales"), 1, True),
        Column(words.say("Index"), 1, True), Column(words.say("Interval"), 1.6, True),
    )  # fmt: skip
    sentences = [index_sentence(index, words)]
    if "day" in index.frame.columns:
        sentences.append(
            words.say("The date lines of the grid, this table and the letter read this one index.")
        )
    shaded = words.say(
        "Prices at constant quality, {scope}, {base} = 100; shaded, the {share} interval; below, the sales "
        "of every period.",
        scope=words.word(index.scope), base=period_words(index.base, words),
        share=words.share(index.coverage),
    )  # fmt: skip
    alt = words.say(
        "A line of the price index by {period} with its interval, and bars of the sales.",
        period=words.word(index.period),
    )
    caption = words.many("The index, last {number} period", "The index, last {number} periods", len(rows))
    return [
        *blocks,
        Paragraph(" ".join(sentences)),
        Figure("index", shaded, alt),
        Table(caption, columns, rows),
        *quality,
    ]


def _ends(low: float | None, high: float | None, words: LocaleWords) -> str:
    if low is None or high is None:
        return NONE
    return words.say("{low} to {high}", low=words.number(low, 1), high=words.number(high, 1))


def _said(title: str, text: str) -> list[Block]:
    return [Heading(title, 2), Paragraph(text)] if text else []


def comparables_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """The comparables, what was left out and chosen, and what they come to."""
    found = facts.evidence.comparables
    blocks: list[Block] = [Heading(words.say("Comparable sales"))]
    if found is None:
        why = told(facts.evidence.missing.get("comparables", "none were looked for"), words)
        return [*blocks, Paragraph(words.say("This approach gives no value: {reason}.", reason=why))]
    money, into = facts.currency, facts.evidence.conversion.from_base
    columns = (
        Column(words.say("No."), 0.6, True), Column(words.say("Sold"), 1.25), Column(words.say("Car"), 2.4),
        Column(words.say("Condition"), 1.3), Column(words.say("Price, {money}", money=money), 1.2, True),
        Column(words.say("Net"), 0.95, True), Column(words.say("Gross"), 0.95, True),
        Column(words.say("Adjusted, {money}", money=money), 1.25, True),
        Column(words.say("Weight"), 1.0, True),
    )  # fmt: skip
    rows = tuple(
        (
            str(row["number"]), words.short_day(row["event_date"]), _car(row, words),
            band_words(row["condition_band"], words),
            words.plain(into(row["price"]), 0), words.per_cent(row["net_per_cent"], 0),
            words.per_cent(row["gross_per_cent"], 0, sign=False), words.known(into(row["adjusted_price"])),
            words.share(row["weight"]),
        )
        for row in facts.grid.iter_rows(named=True)
    )  # fmt: skip
    note = [
        words.say(
            "Net: sum of the adjustments; gross: sum of their sizes, the measure of likeness; both in per "
            "cent of the price."
        ),
        _rate(facts, words),
        words.say("Weight: for few and small adjustments, recent sales and graded cars."),
    ]
    blocks += [
        Paragraph(
            words.say(
                "{sales} sales, the most alike on record, were brought to the subject at {day}: first what "
                "the sale was (its conditions, its date), then what differs between the cars. Adjustments "
                "multiply, each on the price that the lines before it left; a comparable that is worth more "
                "than the subject is divided, not subtracted. Every line is in the annex.",
                sales=facts.grid.height, day=words.day(found.as_of),
            )
        ),
        Table(
            words.say("Comparable sales, all-in prices in {money}", money=money), columns, rows,
            note=_sentences(*note),
        ),
        Figure(
            "comparables",
            words.say(
                "Ring: as sold; disc: adjusted to the subject, larger with weight; shaded: the range that "
                "holds {share} of single sales.",
                share=words.share(found.coverage),
            ),
            words.say("Each comparable's price as sold and as adjusted, over the reconciled range."),
        ),
    ]  # fmt: skip
    span = facts.comparables
    if span is not None:
        blocks += _worth(facts, words, span, words.say("Value by comparable sales"))
    else:
        reason = told(found.reason, words)
        said = words.say("No range can be given by this approach: {reason}.", reason=reason)
        blocks.append(Paragraph(said))
    sentences = [
        words.say(
            "Half of the weight of the adjusted prices lies below the middle. A single sale strays by "
            "{spread}, and the middle is known to {error} (standard deviations).",
            spread=words.share(found.sale_spread), error=words.share(found.mid_error),
        )
    ]  # fmt: skip
    if found.scores:
        sentences.append(
            words.say(
                "This is how far {sales} past sales of its kind ({kind}) fell from what the others said of "
                "them.",
                sales=words.number(found.scores), kind=told(found.kind, words),
            )
        )  # fmt: skip
    blocks.append(Paragraph(" ".join([*sentences, bracket_sentence(found, words)])))
    return [*blocks, *_flags(facts, words), *_chosen(facts, words)]


def _rate(facts: Facts, words: LocaleWords) -> str:
    """At what rate the prices of a table were brought to the client's currency."""
    if facts.currency == facts.base_currency:
        return ""
    return words.say("In {rate}.", rate=rate_words(facts, words))


def _sentences(*said: str) -> str:
    return " ".join(text for text in said if text)


def _flags(facts: Facts, words: LocaleWords) -> list[Block]:
    """Which sales exceed the rule of thumb, what that does to their weight, and whether any does not."""
    flagged = facts.grid.filter(pl.col("flags").list.len() > 0)
    limits = {"line": words.share(0.1), "net": words.share(0.15), "gross": words.share(0.25)}
    if flagged.is_empty():
        inside = words.say(
            "Every comparable keeps within the rule of thumb ({line} a line, {net} net, {gross} gross).",
            **limits,
        )
        return [Paragraph(inside)]
    gross = facts.grid["gross_per_cent"].to_numpy()
    said = [
        words.say(
            "Beyond a rule of thumb ({line} a line, {net} net, {gross} gross): comparables {numbers}, which "
            "together have {share} of the weight. Gross adjustments run from {least} to {most}; beyond "
            "{gross} in all a sale counts for less with the square of the excess, and sales inside it are "
            "taken first.",
            **limits, numbers=", ".join(str(number) for number in flagged["number"]),
            share=words.share(float(flagged["weight"].sum())),
            least=words.per_cent(float(gross.min()), 0, sign=False),
            most=words.per_cent(float(gross.max()), 0, sign=False),
        )
    ]  # fmt: skip
    if flagged.height == facts.grid.height:
        said.append(
            words.say(
                "None of the sales keeps within it: this approach rests on adjustments more than on likeness."
            )
        )
    return [Paragraph(" ".join(said))]


_DONE: Final = {
    "add": noted("Record {record} was added: {reason}."),
    "drop": noted("Record {record} was left out: {reason}."),
    "weigh": noted("Record {record} was weighed by hand, at {share} of the weight it would have: {reason}."),
    "adjust": noted("Record {record} was adjusted by hand, {line} {change}: {reason}."),
}


def _chosen(facts: Facts, words: LocaleWords) -> list[Block]:
    """What a person decided, each with the reason, and what was left out by rule."""
    found = facts.evidence.comparables
    if found is None:
        return []
    blocks: list[Block] = []
    if found.choices:
        numbers = dict(facts.grid.select("record_id", "number").iter_rows())
        items = tuple(_choice(choice, numbers.get(choice.record_id), words) for choice in found.choices)
        blocks += [Heading(words.say("Chosen by hand"), 2), Bullets(items)]
    left = found.left_out.group_by("reason", maintain_order=True).agg(pl.col("sales").sum())
    if left.height:
        rows = tuple((told(reason, words), words.number(sales)) for reason, sales in left.iter_rows())
        columns = (Column(words.say("Reason"), 4), Column(words.say("Sales"), 1, True))
        blocks += [Table(words.say("Left out"), columns, rows)]
    offers = found.offers.filter(pl.col("meaning") == "ceiling")
    if offers.height:
        lowest: Any = offers["adjusted_price"].min()
        figure = words.about(figure_at(facts.record, facts.evidence, lowest), facts.currency)
        said = words.many(
            "{number} like car is or was advertised; an asking price is a ceiling, never a sale, and has no "
            "weight. The lowest, adjusted to the subject, is {price}.",
            "{number} like cars are or were advertised; an asking price is a ceiling, never a sale, and has "
            "no weight. The lowest, adjusted to the subject, is {price}.",
            offers.height, price=figure,
        )  # fmt: skip
        beside = _beside(facts, offers["adjusted_price"], words)
        blocks.append(Paragraph(_sentences(said, beside)))
    return blocks


def _choice(choice: Choice, number: int | None, words: LocaleWords) -> str:
    """What a person did with a comparable, and why."""
    record = choice.record_id
    if number is not None:
        record = words.say("{record} (comparable {number})", record=record, number=number)
    share = "" if choice.per_cent is None else words.per_cent(choice.per_cent, 0, sign=False)
    change = "" if choice.per_cent is None else words.per_cent(choice.per_cent)
    line = "" if choice.line is None else option_words(choice.line, words)
    return words.say(
        _DONE[choice.action], record=record, reason=choice.reason.rstrip("."), share=share, line=line,
        change=change,
    )  # fmt: skip


def _beside(facts: Facts, asked: pl.Series, words: LocaleWords) -> str:
    """Where the opinion stands among the asking prices of like cars."""
    if facts.opinion is None:
        return ""
    figures = [figure_at(facts.record, facts.evidence, price) for price in asked.drop_nulls()]
    below = sum(figure < facts.opinion[0] for figure in figures)
    if not below:
        return words.say("The opinion is not above it.")
    return words.say(
        "The opinion is above {below} of the {offers}; why is said with the opinion.",
        below=below, offers=len(figures),
    )  # fmt: skip


def model_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """What the price model says: range, distribution, what makes up the middle, and the fit."""
    valuation, fit = facts.evidence.valuation, facts.evidence.fit
    if valuation.opinion_alone:
        fitted = alone_paragraph(valuation, words, fit["sales"])
    else:
        fitted = Paragraph(
            words.say(
                "A regression with partial pooling, fitted to {sales} sales, {unsold} unsold lots and "
                "{asking} asking prices up to {day}; its ranges are calibrated on the {latest} latest "
                "sales, which the calibrated fit had not seen. Evidence depth: {depth}.",
                sales=words.number(fit["sales"]), unsold=words.number(fit["unsold"]),
                asking=words.number(fit["asking"]), day=words.day(_day(fit["last_date"])),
                latest=words.number(fit["calibration_sales"]), depth=words.word(valuation.evidence),
            )
        )  # fmt: skip
    blocks: list[Block] = [Heading(words.word(MODEL)), fitted]
    if facts.model is None:
        said = words.say("No range can be given: {reason}.", reason=told(valuation.reason, words))
        return [*blocks, Paragraph(said)]
    caption = words.say(
        "Range of the price model, holding {share} of like cars", share=words.share(valuation.coverage)
    )
    blocks += _worth(facts, words, facts.model, caption)
    for_client, rate = valued_for(facts.evidence), _rate(facts, words)
    blocks += [
        Figure(
            "distribution", _sentences(distribution_caption(for_client, words=words), rate),
            words.say(
                "Columns of how many of 100 cars like this one would sell in each price bracket, with low, "
                "middle and high marked."
            ),
        ),
        Figure(
            "terms", _sentences(terms_caption(for_client, words), rate),
            words.say(
                "Bars of what each term does to the price, from the average sale on record to this car's "
                "middle price."
            ),
        ),
    ]  # fmt: skip
    rows = tuple(
        (term_words(term, words),
         effect_words(term["factor"], words) if place else words.known(Decimal(repr(term["factor"]))),
         _interval(term, words) if place else NONE)
        for place, term in enumerate(for_client.terms.iter_rows(named=True))
    )  # fmt: skip
    columns = (
        Column(words.say("Term"), 3), Column(words.say("Effect"), 1.2, True),
        Column(words.say("{share} interval", share=words.share(0.8)), 1.8, True),
    )  # fmt: skip
    into = facts.evidence.conversion.from_base
    bands = tuple(
        (
            words.word(band),
            *(
                NONE if price is None else words.known(into(Decimal(repr(price))))
                for price in (low, mid, high)
            ),
        )
        for band, low, mid, high in valuation.bands.select("condition_band", "low", "mid", "high").iter_rows()
    )
    heads = (
        Column(words.say("Condition band"), 1.6), Column(words.say("Low"), 1, True),
        Column(words.say("Middle"), 1, True), Column(words.say("High"), 1, True),
    )  # fmt: skip
    return [
        *blocks,
        Table(
            words.say(
                "What makes up the middle price; the first line in {currency}, the others multiply",
                currency=facts.currency,
            ),
            columns, rows,
        ),
        Paragraph(
            words.say(
                "The term of the date is the model's own, counted from the average sale on record; the "
                "comparables are moved by the one index of the part on the market. The bands below price the "
                "same car as if it stood in the middle of each band and nothing more were known of its "
                "state. The range above is of the car as it was found, over all the states that its sheet or "
                "its statement leaves open, so that its middle is not that of its own band."
            )
        ),
        Table(
            words.say("The car in each condition band, all-in, {currency}", currency=facts.currency),
            heads, bands,
        ),
        *opinions_part(valuation, words),
        *_said(words.say("Governance of the model"), facts.record.evidence.model_governance),
    ]  # fmt: skip


def _worth(facts: Facts, words: LocaleWords, span: Span, caption: str) -> list[Block]:
    """Low, middle and high as the evidence has them, and as figures where those differ."""
    base, money = facts.base_currency, facts.currency
    rows = [
        (words.say("All-in, {currency}", currency=base), *(words.about(part, base) for part in span.base))
    ]
    if facts.translated:
        level = capital(level_words(facts, words))
        rows.append((f"{level}, {money}", *(words.about(part, money) for part in span.figures)))
    columns = (
        Column(words.say("At"), 2), Column(words.say("Low"), 1.3, True),
        Column(words.say("Middle"), 1.3, True), Column(words.say("High"), 1.3, True),
    )  # fmt: skip
    return [Table(caption, columns, tuple(rows), strong=(len(rows) - 1,))]


def fit_answers(facts: Facts, words: LocaleWords, *, of_one: bool = True) -> Answers:
    """Which fit, market and programs the evidence comes from."""
    found = facts.evidence
    rows = [
        (words.say("Evidence gathered on"), words.day(found.gathered_on)),
        *([(words.say("Digest of the evidence (SHA-256)"), str(facts.evidence_digest))] if of_one else []),
        (words.say("Digest of the market's records"), found.market.digest),
        (words.say("Fit of the price model"), fit_words(facts, words)),
        (words.say("Seed of the fit"), str(found.fit["seed"])),
        *(
            (words.say("Version of {program}", program=name), number)
            for name, number in found.software.items()
        ),
    ]
    return Answers(tuple(rows), words.say("Software and data"))


def fit_words(facts: Facts, words: LocaleWords) -> str:
    """The fit by its name, or that it was made for the date."""
    return facts.evidence.fit_id or words.say("made for the effective date, not kept")


def _interval(term: dict[str, Any], words: LocaleWords) -> str:
    if term["low"] is None or term["high"] is None:
        return NONE
    return effect_interval_words(term["low"], term["high"], words)


def _car(row: dict[str, Any], words: LocaleWords) -> str:
    name = " ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] is not None)
    extras = [option_words(code, words) for code in row["options"] or ()]
    said = ", ".join([name, *extras[:2]])
    more = len(extras) - 2
    return said if more <= 0 else words.say("{car} and {more} more", car=said, more=more)


def _day(text: str) -> Any:
    return date.fromisoformat(text)
