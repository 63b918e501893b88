"""The parts of a written appraisal that show evidence: the market, the comparable sales, the price model."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any, Final

import polars as pl

from pricing.appraisal.contents import MARKET, MODEL
from pricing.appraisal.facts import Facts
from pricing.appraisal.figures import Span, figure_at, valued_for
from pricing.charts.valuation import distribution_caption, terms_caption
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.comparables import Comparables
from pricing.reports.figure_words import level_words, rate_words
from pricing.reports.formats import blocks as page
from pricing.reports.opinions import alone_paragraph, opinions_part
from pricing.reports.wording import NONE, band_words, joined, row_name
from pricing.words.evidence import bracket_sentence, index_sentence, period_words
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
from pricing.words.sentences import (
    effect_interval_words,
    effect_words,
    option_words,
    term_words,
)


def market_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What was sold and when, and how prices moved."""
    evidence, valuation, notes = facts.evidence, facts.evidence.valuation, facts.record.evidence
    held = words.say(
        "By the effective date the market file held {sales} sales and {offers} offers without a sale. Of the "
        "{name}, {unsold} were offered without a buyer and {asked} were advertised without a sale known. "
        "Prices are all that a buyer pays (all-in), in {currency} at the rate of each sale's day.",
        sales=words.number(evidence.market.sales), offers=words.number(evidence.market.offers),
        name=f"{valuation.car['make']} {valuation.car['model']}", currency=facts.base_currency,
        unsold=words.number(valuation.unsold), asked=words.number(valuation.asked),
    )  # fmt: skip
    return [
        page.Heading(words.word(MARKET)),
        page.Paragraph(held),
        *_index(facts, words),
        *page.headed(words.say("Quality of the data"), notes.data_quality),
        *page.headed(words.say("Environmental, social and governance factors"), notes.outside_factors),
    ]


def _index(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """The price index as sentences, picture and table, or why there is none."""
    index = facts.evidence.index
    if index is None:
        reason = told(facts.evidence.missing.get("index", "none was made"), words)
        return [page.Paragraph(words.say("No price index can be given: {reason}.", reason=reason))]
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
    period = words.word(index.period)
    alt = words.say(
        "A line of the price index by {period} with its interval, and bars of the sales.", period=period
    )

    def interval(row: dict[str, Any]) -> str:
        low, high = row["low"], row["high"]
        return (
            NONE if low is None or high is None else words.span(words.number(low, 1), words.number(high, 1))
        )

    rows = index.frame.drop_nulls("index").tail(8)
    return [
        page.Paragraph(" ".join(sentences)),
        page.Figure("index", shaded, alt),
        page.table(
            words.many("The index, last {number} period", "The index, last {number} periods", rows.height),
            rows.iter_rows(named=True),
            page.text(words.say("Period"), 1.4, lambda row: period_words(row["period"], words)),
            page.number(words.say("Sales"), 1, lambda row: words.number(row["sales"])),
            page.number(words.say("Index"), 1, lambda row: words.number(row["index"], 1)),
            page.number(words.say("Interval"), 1.6, interval),
        ),
    ]


def comparables_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """The comparables, what was left out and chosen, and what they come to."""
    comparables = facts.evidence.comparables
    heading = page.Heading(words.say("Comparable sales"))
    if comparables is None:
        why = told(facts.evidence.missing.get("comparables", "none were looked for"), words)
        return [heading, page.Paragraph(words.say("This approach gives no value: {reason}.", reason=why))]
    if facts.comparables is not None:
        value = _worth(facts, words, facts.comparables, words.say("Value by comparable sales"))
    else:
        reason = told(comparables.reason, words)
        none = words.say("No range can be given by this approach: {reason}.", reason=reason)
        value = [page.Paragraph(none)]
    sentences = [
        words.say(
            "Half of the weight of the adjusted prices lies below the middle. A single sale strays by "
            "{spread}, and the middle is known to {error} (standard deviations).",
            spread=words.share(comparables.sale_spread), error=words.share(comparables.mid_error),
        )
    ]  # fmt: skip
    if comparables.scores:
        scores, kind = words.number(comparables.scores), told(comparables.kind, words)
        sentences.append(
            words.say(
                "This is how far {sales} past sales of its kind ({kind}) fell from what the others said of "
                "them.",
                sales=scores, kind=kind,
            )
        )  # fmt: skip
    brought = words.say(
        "{sales} sales, the most alike on record, were brought to the subject at {day}: first what the sale "
        "was (its conditions, its date), then what differs between the cars. Adjustments multiply, each on "
        "the price that the lines before it left; a comparable that is worth more than the subject is "
        "divided, not subtracted. Every line is in the annex.",
        sales=facts.grid.height, day=words.day(comparables.as_of),
    )  # fmt: skip
    shows = words.say(
        "Ring: as sold; disc: adjusted to the subject, larger with weight; shaded: the range that holds "
        "{share} of single sales.",
        share=words.share(comparables.coverage),
    )
    alt = words.say("Each comparable's price as sold and as adjusted, over the reconciled range.")
    return [
        heading,
        page.Paragraph(brought),
        _grid(facts, words),
        page.Figure("comparables", shows, alt),
        *value,
        page.Paragraph(" ".join([*sentences, bracket_sentence(comparables, words)])),
        *_flags(facts, words),
        *_chosen(facts, comparables, words),
    ]


def _grid(facts: Facts, words: LocaleWords) -> page.Table:
    """The comparables, a line each."""
    money, into = facts.currency, facts.evidence.conversion.from_base
    note = (
        words.say(
            "Net: sum of the adjustments; gross: sum of their sizes, the measure of likeness; both in per "
            "cent of the price."
        ),
        _rate(facts, words),
        words.say("Weight: for few and small adjustments, recent sales and graded cars."),
    )
    price, adjusted = words.say("Price, {money}", money=money), words.say("Adjusted, {money}", money=money)

    def gross(row: dict[str, Any]) -> str:
        return words.per_cent(row["gross_per_cent"], 0, sign=False)

    return page.table(
        words.say("Comparable sales, all-in prices in {money}", money=money),
        facts.grid.iter_rows(named=True),
        page.number(words.say("No."), 0.6, lambda row: str(row["number"])),
        page.text(words.say("Sold"), 1.25, lambda row: words.short_day(row["event_date"])),
        page.text(words.say("Car"), 2.4, lambda row: _car(row, words)),
        page.text(words.say("Condition"), 1.3, lambda row: band_words(row["condition_band"], words)),
        page.number(price, 1.2, lambda row: words.plain(into(row["price"]), 0)),
        page.number(words.say("Net"), 0.95, lambda row: words.per_cent(row["net_per_cent"], 0)),
        page.number(words.say("Gross"), 0.95, gross),
        page.number(adjusted, 1.25, lambda row: words.known(into(row["adjusted_price"]))),
        page.number(words.say("Weight"), 1.0, lambda row: words.share(row["weight"])),
        note=joined(*note, mark=" "),
    )


def _rate(facts: Facts, words: LocaleWords) -> str:
    """At what rate the prices of a table were brought to the client's currency."""
    if facts.currency == facts.base_currency:
        return ""
    return words.say("In {rate}.", rate=rate_words(facts, words))


def _flags(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """Which sales exceed the rule of thumb, what that does to their weight, and whether any does not."""
    flagged = facts.grid.filter(pl.col("flags").list.len() > 0)
    limits = {"line": words.share(0.1), "net": words.share(0.15), "gross": words.share(0.25)}
    if flagged.is_empty():
        inside = noted(
            "Every comparable keeps within the rule of thumb ({line} a line, {net} net, {gross} gross)."
        )
        return [page.Paragraph(words.say(inside, **limits))]
    gross = facts.grid["gross_per_cent"].to_numpy()
    sentences = [
        words.say(
            "Beyond a rule of thumb ({line} a line, {net} net, {gross} gross): comparables {numbers}, which "
            "together have {share} of the weight. Gross adjustments run from {least} to {most}; beyond "
            "{gross} in all a sale counts for less with the square of the excess, and sales inside it are "
            "taken first.",
            **limits, numbers=", ".join(map(str, flagged["number"])),
            share=words.share(float(flagged["weight"].sum())),
            least=words.per_cent(float(gross.min()), 0, sign=False),
            most=words.per_cent(float(gross.max()), 0, sign=False),
        )
    ]  # fmt: skip
    if flagged.height == facts.grid.height:
        sentences.append(
            words.say(
                "None of the sales keeps within it: this approach rests on adjustments more than on likeness."
            )
        )
    return [page.Paragraph(" ".join(sentences))]


_DONE: Final = {
    "add": noted("Record {record} was added: {reason}."),
    "drop": noted("Record {record} was left out: {reason}."),
    "weigh": noted("Record {record} was weighed by hand, at {share} of the weight it would have: {reason}."),
    "adjust": noted("Record {record} was adjusted by hand, {line} {change}: {reason}."),
}


def _chosen(facts: Facts, comparables: Comparables, words: LocaleWords) -> list[page.Block]:
    """What a person decided, each with the reason, and what was left out by rule."""
    blocks: list[page.Block] = []
    if comparables.choices:
        numbers = dict(facts.grid.select("record_id", "number").iter_rows())
        items = [_choice(choice, numbers.get(choice.record_id), words) for choice in comparables.choices]
        blocks += [page.Heading(words.say("Chosen by hand"), 2), page.Bullets(tuple(items))]
    left = comparables.left_out.group_by("reason", maintain_order=True).agg(pl.col("sales").sum())
    if left.height:
        reasons = page.table(
            words.say("Left out"),
            left.iter_rows(),
            page.text(words.say("Reason"), 4, lambda row: told(row[0], words)),
            page.number(words.say("Sales"), 1, lambda row: words.number(row[1])),
        )
        blocks.append(reasons)
    prices = comparables.offers.filter(pl.col("meaning") == "ceiling")["adjusted_price"]
    if prices.len():
        lowest: Any = prices.min()
        figure = words.about(figure_at(facts.record, facts.evidence, lowest), facts.currency)
        advertised = words.many(
            "{number} like car is or was advertised; an asking price is a ceiling, never a sale, and has no "
            "weight. The lowest, adjusted to the subject, is {price}.",
            "{number} like cars are or were advertised; an asking price is a ceiling, never a sale, and has "
            "no weight. The lowest, adjusted to the subject, is {price}.",
            prices.len(), price=figure,
        )  # fmt: skip
        blocks.append(page.Paragraph(joined(advertised, _beside(facts, prices, words), mark=" ")))
    return blocks


def _choice(choice: Choice, place: int | None, words: LocaleWords) -> str:
    """What a person did with a comparable, and why."""
    record = choice.record_id
    if place is not None:
        record = words.say("{record} (comparable {number})", record=record, number=place)
    per_cent = 0.0 if choice.per_cent is None else choice.per_cent
    return words.say(
        _DONE[choice.action],
        record=record,
        reason=choice.reason.rstrip("."),
        share=words.per_cent(per_cent, 0, sign=False),
        line="" if choice.line is None else option_words(choice.line, words),
        change=words.per_cent(per_cent),
    )


def _beside(facts: Facts, asking: pl.Series, words: LocaleWords) -> str:
    """Where the opinion stands among the asking prices of like cars."""
    if facts.opinion is None:
        return ""
    figures = [figure_at(facts.record, facts.evidence, price) for price in asking.drop_nulls()]
    below = sum(figure < facts.opinion[0] for figure in figures)
    if not below:
        return words.say("The opinion is not above it.")
    message = noted("The opinion is above {below} of the {offers}; why is said with the opinion.")
    return words.say(message, below=below, offers=len(figures))


def model_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What the price model says: range, distribution, what makes up the middle, and the fit."""
    valuation, fit = facts.evidence.valuation, facts.evidence.fit
    if valuation.opinion_alone:
        fitted = alone_paragraph(valuation, words, fit["sales"])
    else:
        fitted = page.Paragraph(
            words.say(
                "A regression with partial pooling, fitted to {sales} sales, {unsold} unsold lots and "
                "{asking} asking prices up to {day}; its ranges are calibrated on the {latest} latest "
                "sales, which the calibrated fit had not seen. Evidence depth: {depth}.",
                sales=words.number(fit["sales"]), unsold=words.number(fit["unsold"]),
                asking=words.number(fit["asking"]), day=words.day(date.fromisoformat(fit["last_date"])),
                latest=words.number(fit["calibration_sales"]), depth=words.word(valuation.evidence),
            )
        )  # fmt: skip
    blocks: list[page.Block] = [page.Heading(words.word(MODEL)), fitted]
    if facts.model is None:
        reason = told(valuation.reason, words)
        return [*blocks, page.Paragraph(words.say("No range can be given: {reason}.", reason=reason))]
    for_client, rate = valued_for(facts.evidence), _rate(facts, words)
    brackets = distribution_caption(for_client, words=words)
    into = facts.evidence.conversion.from_base

    def effect(row: tuple[int, dict[str, Any]]) -> str:
        place, term = row
        return effect_words(term["factor"], words) if place else words.known(Decimal(repr(term["factor"])))

    def interval(row: tuple[int, dict[str, Any]]) -> str:
        place, term = row
        if not place or term["low"] is None or term["high"] is None:
            return NONE
        return effect_interval_words(term["low"], term["high"], words)

    def end(name: str) -> Callable[[dict[str, Any]], str]:
        return lambda row: NONE if row[name] is None else words.known(into(Decimal(repr(row[name]))))

    share = words.share(valuation.coverage)
    holding = words.say("Range of the price model, holding {share} of like cars", share=share)
    makes_up = noted("What makes up the middle price; the first line in {currency}, the others multiply")
    columns = words.say(
        "Columns of how many of 100 cars like this one would sell in each price bracket, with low, middle "
        "and high marked."
    )
    bars = words.say(
        "Bars of what each term does to the price, from the average sale on record to this car's middle "
        "price."
    )
    bands = words.say(
        "The term of the date is the model's own, counted from the average sale on record; the comparables "
        "are moved by the one index of the part on the market. The bands below price the same car as if it "
        "stood in the middle of each band and nothing more were known of its state. The range above is of "
        "the car as it was found, over all the states that its sheet or its statement leaves open, so that "
        "its middle is not that of its own band."
    )
    currency = facts.currency
    return [
        *blocks,
        *_worth(facts, words, facts.model, holding),
        page.Figure("distribution", joined(brackets, rate, mark=" "), columns),
        page.Figure("terms", joined(terms_caption(for_client, words), rate, mark=" "), bars),
        page.table(
            words.say(makes_up, currency=currency),
            enumerate(for_client.terms.iter_rows(named=True)),
            page.text(words.say("Term"), 3, lambda row: term_words(row[1], words)),
            page.number(words.say("Effect"), 1.2, effect),
            page.number(words.say("{share} interval", share=words.share(0.8)), 1.8, interval),
        ),
        page.Paragraph(bands),
        page.table(
            words.say("The car in each condition band, all-in, {currency}", currency=currency),
            valuation.bands.iter_rows(named=True),
            page.text(words.say("Condition band"), 1.6, lambda row: words.word(row["condition_band"])),
            page.number(words.say("Low"), 1, end("low")),
            page.number(words.say("Middle"), 1, end("mid")),
            page.number(words.say("High"), 1, end("high")),
        ),
        *opinions_part(valuation, words),
        *page.headed(words.say("Governance of the model"), facts.record.evidence.model_governance),
    ]


def _worth(facts: Facts, words: LocaleWords, span: Span, caption: str) -> list[page.Block]:
    """Low, middle and high as the evidence has them, and as figures where those differ."""
    base, money = facts.base_currency, facts.currency
    all_in = words.say("All-in, {currency}", currency=base)
    rows = [(all_in, *(words.about(part, base) for part in span.base))]
    if facts.translated:
        level = capital(level_words(facts, words))
        rows.append((f"{level}, {money}", *(words.about(part, money) for part in span.figures)))
    columns = (
        page.Column(words.say("At"), 2), page.Column(words.say("Low"), 1.3, True),
        page.Column(words.say("Middle"), 1.3, True), page.Column(words.say("High"), 1.3, True),
    )  # fmt: skip
    return [page.Table(caption, columns, tuple(rows), strong=(len(rows) - 1,))]


def fit_answers(facts: Facts, words: LocaleWords, *, of_one: bool = True) -> page.AnswerList:
    """Which fit, market and programs the evidence comes from."""
    evidence = facts.evidence
    rows = [
        (words.say("Evidence gathered on"), words.day(evidence.gathered_on)),
        (words.say("Digest of the evidence (SHA-256)"), str(facts.evidence_digest) if of_one else ""),
        (words.say("Digest of the market's records"), evidence.market.digest),
        (words.say("Fit of the price model"), fit_words(facts, words)),
        (words.say("Seed of the fit"), str(evidence.fit["seed"])),
    ]
    for program, version in evidence.software.items():
        rows.append((words.say("Version of {program}", program=program), version))
    return page.answered(rows, words.say("Software and data"))


def fit_words(facts: Facts, words: LocaleWords) -> str:
    """The fit by its name, or that it was made for the date."""
    return facts.evidence.fit_id or words.say("made for the effective date, not kept")


def _car(row: dict[str, Any], words: LocaleWords) -> str:
    extras = [option_words(code, words) for code in row["options"] or ()]
    car = ", ".join([row_name(row), *extras[:2]])
    more = len(extras) - 2
    return car if more <= 0 else words.say("{car} and {more} more", car=car, more=more)
