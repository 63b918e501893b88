"""The written appraisal as blocks: what is said in which order, from the facts and nothing else."""

from pricing.appraisal.facts import Facts
from pricing.reports.annexes import annexes
from pricing.reports.blocks import (
    Answers,
    Block,
    Bullets,
    Cover,
    Figure,
    Heading,
    NewPage,
    Pages,
    Paragraph,
    Statement,
)
from pricing.reports.evidence import comparables_part, market_part, model_part
from pricing.reports.parts import (
    assignment_part,
    certification_part,
    condition_part,
    conditions_part,
    reconciliation_part,
    subject_part,
)
from pricing.reports.photographs import cover_photograph
from pricing.reports.pictures import pictures
from pricing.reports.wording import (
    MARKS,
    car_name,
    condition_words,
    cut,
    identity_words,
    level_words,
    opinion_words,
    reference,
    span_words,
    standing_words,
    state_sentence,
    time_words,
    value_statement,
    valuer_words,
)
from pricing.words.locale import LocaleWords


def report(facts: Facts, words: LocaleWords) -> Pages:
    """The whole document: cover, summary, parts and annexes."""
    blocks: list[Block] = [
        *_summary(facts, words),
        NewPage(),
        *assignment_part(facts, words),
        *subject_part(facts, words),
        *condition_part(facts, words),
        *market_part(facts, words),
        *comparables_part(facts, words),
        *model_part(facts, words),
        *reconciliation_part(facts, words),
        *conditions_part(facts),
        *certification_part(facts),
        *annexes(facts, words),
    ]
    asked = facts.record.assignment
    rows = [
        ("Prepared for", asked.client),
        ("Intended use", asked.intended_use),
        ("Basis of value", f"{asked.basis}, {asked.market_level}"),
        ("Effective date", words.day(asked.effective_date)),
        ("Report date", words.day(asked.report_date)),
        ("Valuer", ", ".join(part for part in valuer_words(facts) if part)),
        ("Firm", facts.record.valuer.firm),
        ("Reference", reference(facts)),
    ]
    return Pages(
        title=facts.title,
        subject=car_name(facts),
        mark=MARKS[facts.title],
        reference=reference(facts),
        language=words.tag if words.locale.language == "en" else "en",
        blocks=blocks,
        cover=Cover(
            tuple((name, cut(said)) for name, said in rows if said),
            state_sentence(facts, words),
            cover_photograph(facts),
        ),
        contents=True,
        pictures=pictures(facts, words),
        author=facts.record.valuer.name,
        photographs=facts.shown,
    )


def _summary(facts: Facts, words: LocaleWords) -> list[Block]:
    asked, found = facts.record.assignment, facts.evidence
    rows = [
        ("Car", car_name(facts)),
        ("Identity", identity_words(facts)),
        ("Condition", condition_words(facts)),
        ("Basis and level", f"{asked.basis}; {asked.market_level}; {asked.tax_status}".rstrip("; ")),
        ("Price model", span_words(facts, words, "model")),
        ("Comparable sales", span_words(facts, words, "comparables")),
    ]
    if facts.standing is not None:
        rows.append(("The opinion among like cars", standing_words(facts)))
    blocks: list[Block] = [
        Heading("Summary"),
        value_statement(facts, words),
        Answers(tuple(row for row in rows if row[1])),
    ]
    if facts.model is not None or facts.comparables is not None:
        share = words.share(found.valuation.coverage)
        blocks.append(
            Figure(
                "ranges",
                f"Ranges at the {level_words(facts)} level, {facts.currency}: each bar holds {share} of the "
                "prices expected of such a car; the notch is its middle.",
                "Bars of the ranges of the price model and of the comparable sales"
                + (
                    ""
                    if facts.opinion is None
                    else f", and the valuer's opinion of {opinion_words(facts, words)}"
                )
                + ".",
            )
        )
    blocks.append(Paragraph(time_words(facts, words)))
    blocks += _conspicuous(facts)
    return [*blocks, *_open_points(facts)]


def _open_points(facts: Facts) -> list[Block]:
    """What is missing and what contradicts itself, in a document that cannot be completed yet."""
    told = [*(f"Missing: {content.name}." for content in facts.lacking),
            *(f"{found.sentence[0].upper()}{found.sentence[1:]}." for found in facts.against)]  # fmt: skip
    if not told or facts.record.completed:
        return []
    return [Heading("Still open", 2), Bullets(tuple(told))]


def _conspicuous(facts: Facts) -> list[Block]:
    """What the value rests on beyond the evidence, where it cannot be overlooked."""
    said = facts.record.conditions
    lines = [
        text for text in (*said.extraordinary, *said.hypothetical) if text.casefold().rstrip(".") != "none"
    ]
    blocks: list[Block] = []
    if lines:
        text = " ".join(line.rstrip(".") + "." for line in lines)
        title = "The value rests on assumptions; were they wrong, it could be another"
        blocks.append(Statement(title, text, manner="warning"))
    if facts.newer:
        text = f"{'; '.join(facts.newer)}. {facts.record.evidence.newer}".strip()
        blocks.append(Statement("Newer than the effective date", text, manner="warning"))
    later = facts.record.evidence.gathered_later
    if later:
        blocks.append(Statement("Evidence gathered after the report date", later, manner="warning"))
    return blocks
