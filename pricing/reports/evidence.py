"""The parts of a written appraisal that show evidence: the market, the comparable sales, the price model."""

from datetime import date
from decimal import Decimal
from typing import Any

import polars as pl

from pricing.appraisal.contents import MARKET
from pricing.appraisal.facts import Facts, Span
from pricing.appraisal.figures import figure_at
from pricing.evidence.comparison.choices import Choice
from pricing.reports.blocks import (
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
from pricing.reports.wording import level_words, rate_words
from pricing.words.evidence import index_sentence
from pricing.words.locale import LocaleWords
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
    name = f"{valuation.car['make']} {valuation.car['model']}"
    blocks: list[Block] = [
        Heading(MARKET),
        Paragraph(
            f"By the effective date the market file held {words.number(found.market.sales)} sales and "
            f"{words.number(found.market.offers)} offers without a sale. Of the {name}, "
            f"{words.number(valuation.unsold)} were offered without a buyer and "
            f"{words.number(valuation.asked)} were "
            "advertised without a sale known. Prices are all that a buyer pays (all-in), in "
            f"{facts.base_currency} at the rate of each sale's day."
        ),
    ]
    index = found.index
    if index is None:
        return [
            *blocks,
            Paragraph(f"No price index can be given: {found.missing.get('index', 'none was made')}."),
            *_said("Quality of the data", facts.record.evidence.data_quality),
            *_said("Environmental, social and governance factors", facts.record.evidence.outside_factors),
        ]
    points = index.frame.drop_nulls("index")
    rows = tuple(
        (row["period"], words.number(row["sales"]), words.number(row["index"], 1),
         f"{words.number(row['low'], 1)} to {words.number(row['high'], 1)}")
        for row in points.tail(8).iter_rows(named=True)
    )  # fmt: skip
    columns = (
        Column("Period", 1.4),
        Column("Sales", 1, True),
        Column("Index", 1, True),
        Column("Interval", 1.6, True),
    )
    return [
        *blocks,
        Paragraph(
            f"{index_sentence(index)} The date lines of the grid, this table and the letter read this one "
            "index."
            if "day" in index.frame.columns
            else index_sentence(index)
        ),
        Figure(
            "index",
            f"Prices at constant quality, {index.scope}, {index.base} = 100; shaded, the "
            f"{index.coverage:.0%} "
            "interval; below, the sales of every period.",
            f"A line of the price index by {index.period} with its interval, and bars of the sales.",
        ),
        Table(f"The index, last {len(rows)} periods", columns, rows),
        *_said("Quality of the data", facts.record.evidence.data_quality),
    ]


def _said(title: str, text: str) -> list[Block]:
    return [Heading(title, 2), Paragraph(text)] if text else []


def comparables_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """The comparables, what was left out and chosen, and what they come to."""
    found = facts.evidence.comparables
    blocks: list[Block] = [Heading("Comparable sales")]
    if found is None:
        why = facts.evidence.missing.get("comparables", "none were looked for")
        return [*blocks, Paragraph(f"This approach gives no value: {why}.")]
    money, into = facts.currency, facts.evidence.conversion.from_base
    columns = (
        Column("No.", 0.6, True), Column("Sold", 1.25), Column("Car", 2.4), Column("Condition", 1.3),
        Column(f"Price, {money}", 1.2, True), Column("Net", 0.95, True), Column("Gross", 0.95, True),
        Column(f"Adjusted, {money}", 1.25, True), Column("Weight", 1.0, True),
    )  # fmt: skip
    rows = tuple(
        (
            str(row["number"]), words.short_day(row["event_date"]), _car(row),
            row["condition_band"] or "not graded",
            words.plain(into(row["price"]), 0), words.per_cent(row["net_per_cent"], 0),
            words.per_cent(row["gross_per_cent"], 0, sign=False), words.known(into(row["adjusted_price"])),
            words.share(row["weight"]),
        )
        for row in facts.grid.iter_rows(named=True)
    )  # fmt: skip
    share, span = words.share(found.coverage), facts.comparables
    blocks += [
        Paragraph(
            f"{facts.grid.height} sales, the most alike on record, were brought to the subject at "
            f"{words.day(found.as_of)}: first what the sale was (its conditions, its date), then what "
            f"differs between "
            "the cars. Adjustments multiply, each on the price that the lines before it left; a "
            "comparable that is "
            "worth more than the subject is divided, not subtracted. Every line is in the annex."
        ),
        Table(
            f"Comparable sales, all-in prices in {money}", columns, rows,
            note="Net: sum of the adjustments; gross: sum of their sizes, the measure of likeness; both "
                 "in per cent "
            f"of the price. {_rate(facts, words)}Weight: for few and small adjustments, recent sales and "
            "graded cars.",
        ),
        Figure(
            "comparables",
            f"Ring: as sold; disc: adjusted to the subject, larger with weight; shaded: the range that "
            f"holds {share} "
            "of single sales.",
            "Each comparable's price as sold and as adjusted, over the reconciled range.",
        ),
    ]  # fmt: skip
    if span is not None:
        blocks += _worth(facts, words, span, "Value by comparable sales")
    else:
        blocks.append(Paragraph(f"No range can be given by this approach: {found.reason}."))
    calibrated = (
        ""
        if not found.scores
        else f" This is how far {words.number(found.scores)} past sales of its kind ({found.kind}) fell from "
        "what the others said of them."
    )
    bracketed = (
        "The subject is bracketed: some of the cars sold are worth more than it and some less."
        if found.bracketed
        else "The subject is not bracketed: every car sold is worth more, or every one less, so the "
        "value reaches "
        "beyond the evidence."
    )
    blocks.append(
        Paragraph(
            f"Half of the weight of the adjusted prices lies below the middle. A single sale strays by "
            f"{words.share(found.sale_spread)}, and the middle is known to "
            f"{words.share(found.mid_error)} (standard "
            f"deviations).{calibrated} {bracketed}"
        )
    )
    return [*blocks, *_flags(facts, words), *_chosen(facts, words)]


def _rate(facts: Facts, words: LocaleWords) -> str:
    """At what rate the prices of a table were brought to the client's currency."""
    return "" if facts.currency == facts.base_currency else f"In {rate_words(facts, words)}. "


def _flags(facts: Facts, words: LocaleWords) -> list[Block]:
    """Which sales exceed the rule of thumb, what that does to their weight, and whether any does not."""
    flagged = facts.grid.filter(pl.col("flags").list.len() > 0)
    if flagged.is_empty():
        return [
            Paragraph("Every comparable keeps within the rule of thumb (10% a line, 15% net, 25% gross).")
        ]
    numbers = ", ".join(str(number) for number in flagged["number"])
    gross = facts.grid["gross_per_cent"].to_numpy()
    said = (
        f"Beyond a rule of thumb (10% a line, 15% net, 25% gross): comparables {numbers}, which together "
        f"have {words.share(float(flagged['weight'].sum()))} of the weight. Gross adjustments run from "
        f"{words.number(float(gross.min()))} to {words.number(float(gross.max()))}%; beyond 25% in all "
        "a sale counts for less with the square of the excess, and sales inside it are taken first."
    )
    if flagged.height == facts.grid.height:
        said += (
            " None of the sales keeps within it: this approach rests on adjustments more than on likeness."
        )
    return [Paragraph(said)]


def _chosen(facts: Facts, words: LocaleWords) -> list[Block]:
    """What a person decided, each with the reason, and what was left out by rule."""
    found = facts.evidence.comparables
    if found is None:
        return []
    blocks: list[Block] = []
    done = {"add": "added", "drop": "left out", "weigh": "weighed by hand", "adjust": "adjusted by hand"}
    if found.choices:
        numbers = dict(facts.grid.select("record_id", "number").iter_rows())
        items = tuple(
            f"Record {choice.record_id}"
            + (f" (comparable {numbers[choice.record_id]})" if choice.record_id in numbers else "")
            + f" was {done[choice.action]}"
            + _by_how_much(choice, words)
            + f": {choice.reason.rstrip('.')}."
            for choice in found.choices
        )
        blocks += [Heading("Chosen by hand", 2), Bullets(items)]
    left = found.left_out.group_by("reason", maintain_order=True).agg(pl.col("sales").sum())
    if left.height:
        rows = tuple((reason, words.number(sales)) for reason, sales in left.iter_rows())
        blocks += [Table("Left out", (Column("Reason", 4), Column("Sales", 1, True)), rows)]
    offers = found.offers.filter(pl.col("meaning") == "ceiling")
    if offers.height:
        lowest: Any = offers["adjusted_price"].min()
        blocks.append(
            Paragraph(
                f"{offers.height} like cars are or were advertised; an asking price is a ceiling, never "
                f"a sale, and "
                f"has no weight. The lowest, adjusted to the subject, is "
                f"{words.about(figure_at(facts.record, facts.evidence, lowest), facts.currency)}."
                f"{_beside(facts, offers['adjusted_price'])}"
            )
        )
    return blocks


def _by_how_much(choice: Choice, words: LocaleWords) -> str:
    if choice.per_cent is None:
        return ""
    if choice.line is None:
        return f", at {words.number(choice.per_cent)}% of the weight it would have"
    return f", {choice.line} {words.per_cent(choice.per_cent)}"


def _beside(facts: Facts, asked: pl.Series) -> str:
    """Where the opinion stands among the asking prices of like cars."""
    if facts.opinion is None:
        return ""
    figures = [figure_at(facts.record, facts.evidence, price) for price in asked.drop_nulls()]
    below = sum(figure < facts.opinion[0] for figure in figures)
    if not below:
        return " The opinion is not above it."
    return f" The opinion is above {below} of the {len(figures)}; why is said with the opinion."


def model_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """What the price model says: range, distribution, what makes up the middle, and the fit."""
    valuation, fit = facts.evidence.valuation, facts.evidence.fit
    if valuation.opinion_alone:
        fitted = alone_paragraph(valuation, words, fit["sales"])
    else:
        fitted = Paragraph(
            f"A regression with partial pooling, fitted to {words.number(fit['sales'])} sales, "
            f"{words.number(fit['unsold'])} unsold lots and {words.number(fit['asking'])} asking prices "
            f"up to "
            f"{words.day(_day(fit['last_date']))}; its ranges are calibrated on the "
            f"{words.number(fit['calibration_sales'])} "
            f"latest sales, which the calibrated fit had not seen. Evidence depth: {valuation.evidence}."
        )
    blocks: list[Block] = [Heading("Price model"), fitted]
    if facts.model is None:
        return [*blocks, Paragraph(f"No range can be given: {valuation.reason}.")]
    share = words.share(valuation.coverage)
    blocks += _worth(facts, words, facts.model, f"Range of the price model, holding {share} of like cars")
    caption = distribution_caption(valuation)
    blocks += [
        Figure("distribution", caption, "Columns of how many of 100 cars like this one would sell in "
                                        "each price "
               "bracket, with low, middle and high marked."),
        Figure("terms", terms_caption(valuation), "Bars of what each term does to the price, from the "
                                                  "average sale "
               "on record to this car's middle price."),
    ]  # fmt: skip
    rows = tuple(
        (term_words(term),
         effect_words(term["factor"]) if place else words.known(Decimal(repr(term["factor"]))),
         _interval(term) if place else NONE)
        for place, term in enumerate(valuation.terms.iter_rows(named=True))
    )  # fmt: skip
    columns = (Column("Term", 3), Column("Effect", 1.2, True), Column("80% interval", 1.8, True))
    into = facts.evidence.conversion.from_base
    bands = tuple(
        (
            band,
            *(
                NONE if price is None else words.known(into(Decimal(repr(price))))
                for price in (low, mid, high)
            ),
        )
        for band, low, mid, high in valuation.bands.select("condition_band", "low", "mid", "high").iter_rows()
    )
    heads = ("Condition band", "Low", "Middle", "High")
    return [
        *blocks,
        Table(f"What makes up the middle price; the first line in {facts.base_currency}, the others "
              f"multiply", columns, rows),
        Paragraph(
            "The term of the date is the model's own, counted from the average sale on record; the "
            "comparables are moved by the one index of the part on the market. "
            "The bands below price the same car as if it stood in the middle of each band and nothing "
            "more were known "
            "of its state. The range above is of the car as it was found, over all the states that its "
            "sheet or its "
            "statement leaves open, so that its middle is not that of its own band."
        ),
        Table(
            f"The car in each condition band, all-in, {facts.currency}",
            tuple(Column(head, 1.6 if head == heads[0] else 1, head != heads[0]) for head in heads), bands,
        ),
        *opinions_part(valuation, words),
        *_said("Governance of the model", facts.record.evidence.model_governance),
    ]  # fmt: skip


def _worth(facts: Facts, words: LocaleWords, span: Span, caption: str) -> list[Block]:
    """Low, middle and high as the evidence has them, and as figures where those differ."""
    base, money = facts.base_currency, facts.currency
    rows = [(f"All-in, {base}", *(words.about(part, base) for part in span.base))]
    if facts.translated:
        level = level_words(facts)
        rows.append((f"{level.capitalize()}, {money}", *(words.about(part, money) for part in span.figures)))
    columns = (
        Column("At", 2),
        Column("Low", 1.3, True),
        Column("Middle", 1.3, True),
        Column("High", 1.3, True),
    )
    return [Table(caption, columns, tuple(rows), strong=(len(rows) - 1,))]


def fit_answers(facts: Facts, words: LocaleWords, *, of_one: bool = True) -> Answers:
    """Which fit, market and programs the evidence comes from."""
    found = facts.evidence
    rows = [
        ("Evidence gathered on", words.day(found.gathered_on)),
        *([("Digest of the evidence (SHA-256)", facts.digest)] if of_one else []),
        ("Digest of the market's records", found.market.digest),
        ("Fit of the price model", found.fit_id or "made for the effective date, not kept"),
        ("Seed of the fit", str(found.fit["seed"])),
        *((f"Version of {name}", number) for name, number in found.software.items()),
    ]
    return Answers(tuple(rows), "Software and data")


def _interval(term: dict[str, Any]) -> str:
    if term["low"] is None or term["high"] is None:
        return NONE
    return effect_interval_words(term["low"], term["high"])


def _car(row: dict[str, Any]) -> str:
    name = " ".join(str(row[part]) for part in ("year", "model", "variant") if row[part] is not None)
    extras = [option_words(code) for code in row["options"] or ()]
    return ", ".join([name, *extras[:2]]) + (f" and {len(extras) - 2} more" if len(extras) > 2 else "")


def _day(text: str) -> Any:
    return date.fromisoformat(text)
