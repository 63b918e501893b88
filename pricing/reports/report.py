"""The written appraisal as blocks: what is said in which order, from the facts and nothing else."""

from pricing.appraisal.facts import Facts
from pricing.reports.annexes import annexes
from pricing.reports.evidence import comparables_part, market_part, model_part
from pricing.reports.figure_words import (
    bars_words,
    basis_and_level,
    level_words,
    span_words,
    standing_words,
    value_statement,
)
from pricing.reports.formats.blocks import (
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
from pricing.reports.formats.pictures import pictures
from pricing.reports.parts import (
    assignment_part,
    certification_part,
    condition_part,
    conditions_part,
    reconciliation_part,
    subject_part,
)
from pricing.reports.photographs import cover_photograph
from pricing.reports.wording import (
    MARKS,
    OWN_WORDS,
    car_name,
    condition_words,
    cut,
    identity_words,
    labels,
    reference,
    state_sentence,
    time_words,
    valuer_words,
)
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import SOURCE
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told


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
        *conditions_part(facts, words),
        *certification_part(facts, words),
        *annexes(facts, words),
    ]
    asked = facts.record.assignment
    rows = [
        (words.say("Prepared for"), asked.client),
        (words.say("Intended use"), asked.intended_use),
        (words.say("Basis of value"), basis_and_level(facts.record, words)),
        (words.say("Effective date"), words.day(asked.effective_date)),
        (words.say("Report date"), words.day(asked.report_date)),
        (words.say("Valuer"), ", ".join(part for part in valuer_words(facts) if part)),
        (words.say("Firm"), facts.record.valuer.firm),
        (words.say("Reference"), reference(facts, words)),
    ]
    state = state_sentence(facts, words)
    return Pages(
        title=words.word(facts.title),
        subject=car_name(facts),
        mark=words.word(MARKS[facts.title]),
        reference=reference(facts, words),
        language=words.tag,
        blocks=blocks,
        cover=Cover(
            tuple((name, cut(said)) for name, said in rows if said),
            state if words.language == SOURCE else f"{state} {words.word(OWN_WORDS)}",
            cover_photograph(facts, words),
        ),
        contents=True,
        pictures=pictures(facts, words),
        author=facts.record.valuer.name,
        photographs=facts.shown,
        labels=labels(words),
    )


def _summary(facts: Facts, words: LocaleWords) -> list[Block]:
    asked, found = facts.record.assignment, facts.evidence
    level = [words.word(asked.basis), words.word(asked.market_level), asked.tax_status]
    rows = [
        (words.say("Car"), car_name(facts)),
        (words.say("Identity"), identity_words(facts, words)),
        (words.say("Condition"), condition_words(facts, words)),
        (words.say("Basis and level"), "; ".join(part for part in level if part)),
        (words.say("Price model"), span_words(facts, words, "model")),
        (words.say("Comparable sales"), span_words(facts, words, "comparables")),
    ]
    if facts.standing is not None:
        rows.append((words.say("The opinion among like cars"), standing_words(facts, words)))
    blocks: list[Block] = [
        Heading(words.say("Summary")),
        value_statement(facts, words),
        Answers(tuple(row for row in rows if row[1])),
    ]
    if facts.model is not None or facts.comparables is not None:
        blocks.append(
            Figure(
                "ranges",
                words.say(
                    "Ranges at the level {level}, {currency}: each bar holds {share} of the prices expected "
                    "of such a car; the notch is its middle.",
                    level=level_words(facts, words), currency=facts.currency,
                    share=words.share(found.valuation.coverage),
                ),
                bars_words(facts, words),
            )
        )  # fmt: skip
    blocks.append(Paragraph(time_words(facts, words)))
    blocks += _conspicuous(facts, words)
    return [*blocks, *_open_points(facts, words)]


def _open_points(facts: Facts, words: LocaleWords) -> list[Block]:
    """What is missing and what contradicts itself, in a document that cannot be completed yet."""
    points = [
        *(words.say("Missing: {name}.", name=words.word(content.name)) for content in facts.lacking),
        *(f"{capital(told(found.sentence, words))}." for found in facts.against),
    ]
    if not points or facts.record.completed:
        return []
    return [Heading(words.say("Still open"), 2), Bullets(tuple(points))]


def _conspicuous(facts: Facts, words: LocaleWords) -> list[Block]:
    """What the value rests on beyond the evidence, where it cannot be overlooked."""
    said = facts.record.conditions
    lines = [
        text for text in (*said.extraordinary, *said.hypothetical) if text.casefold().rstrip(".") != "none"
    ]
    blocks: list[Block] = []
    if lines:
        text = " ".join(line.rstrip(".") + "." for line in lines)
        title = words.say("The value rests on assumptions; were they wrong, it could be another")
        blocks.append(Statement(title, text, manner="warning"))
    if facts.newer:
        newer = "; ".join(told(name, words) for name in facts.newer)
        text = f"{newer}. {facts.record.evidence.newer}".strip()
        blocks.append(Statement(words.say("Newer than the effective date"), text, manner="warning"))
    later = facts.record.evidence.gathered_later
    if later:
        title = words.say("Evidence gathered after the report date")
        blocks.append(Statement(title, later, manner="warning"))
    return blocks
