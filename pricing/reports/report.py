"""The written appraisal as blocks: what is said in which order, from the facts and nothing else."""

from pricing.appraisal.facts import Facts
from pricing.reports import figure_words, wording
from pricing.reports.annexes import annexes
from pricing.reports.evidence import comparables_part, market_part, model_part
from pricing.reports.formats import blocks as page
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
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import SOURCE
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told


def report(facts: Facts, words: LocaleWords) -> page.Pages:
    """The whole document: cover, summary, parts and annexes."""
    blocks: list[page.Block] = [
        *_summary(facts, words),
        page.NewPage(),
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
    terms = facts.record.assignment
    rows = [
        (words.say("Prepared for"), terms.client),
        (words.say("Intended use"), terms.intended_use),
        (words.say("Basis of value"), figure_words.basis_and_level(facts.record, words)),
        (words.say("Effective date"), words.day(terms.effective_date)),
        (words.say("Report date"), words.day(terms.report_date)),
        (words.say("Valuer"), wording.joined(*wording.valuer_words(facts))),
        (words.say("Firm"), facts.record.valuer.firm),
        (words.say("Reference"), wording.reference(facts, words)),
    ]
    state = wording.state_sentence(facts, words)
    return page.Pages(
        title=words.word(facts.title),
        subject=wording.car_name(facts),
        mark=words.word(wording.MARKS[facts.title]),
        reference=wording.reference(facts, words),
        language=words.tag,
        blocks=blocks,
        cover=page.Cover(
            tuple((name, wording.cut(answer)) for name, answer in rows if answer),
            state if words.language == SOURCE else f"{state} {words.word(wording.OWN_WORDS)}",
            cover_photograph(facts, words),
        ),
        contents=True,
        pictures=pictures(facts, words),
        author=facts.record.valuer.name,
        photographs=facts.shown,
        labels=wording.labels(words),
    )


def _summary(facts: Facts, words: LocaleWords) -> list[page.Block]:
    terms = facts.record.assignment
    level = wording.joined(
        words.word(terms.basis), words.word(terms.market_level), terms.tax_status, mark="; "
    )
    blocks: list[page.Block] = [
        page.Heading(words.say("Summary")),
        figure_words.value_statement(facts, words),
        page.answered(
            (
                (words.say("Car"), wording.car_name(facts)),
                (words.say("Identity"), wording.identity_words(facts, words)),
                (words.say("Condition"), wording.condition_words(facts, words)),
                (words.say("Basis and level"), level),
                (words.say("Price model"), figure_words.span_words(facts, words, "model")),
                (words.say("Comparable sales"), figure_words.span_words(facts, words, "comparables")),
                (words.say("The opinion among like cars"), figure_words.standing_words(facts, words)),
            )
        ),
    ]
    if facts.model is not None or facts.comparables is not None:
        ranges = words.say(
            "Ranges at the level {level}, {currency}: each bar holds {share} of the prices expected of such "
            "a car; the notch is its middle.",
            level=figure_words.level_words(facts, words), currency=facts.currency,
            share=words.share(facts.evidence.valuation.coverage),
        )  # fmt: skip
        blocks.append(page.Figure("ranges", ranges, figure_words.bars_words(facts, words)))
    blocks.append(page.Paragraph(wording.time_words(facts, words)))
    return [*blocks, *_conspicuous(facts, words), *_open_points(facts, words)]


def _open_points(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What is missing and what contradicts itself, in a document that cannot be completed yet."""
    points = [
        *(words.say("Missing: {name}.", name=words.word(content.name)) for content in facts.lacking),
        *(f"{capital(told(contradiction.sentence, words))}." for contradiction in facts.against),
    ]
    if not points or facts.record.completed:
        return []
    return [page.Heading(words.say("Still open"), 2), page.Bullets(tuple(points))]


def _conspicuous(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What the value rests on beyond the evidence, where it cannot be overlooked."""
    notes = facts.record.evidence
    newer = "; ".join(told(name, words) for name in facts.newer)
    warnings = (
        (words.say("The value rests on assumptions; were they wrong, it could be another"),
         " ".join(f"{line.rstrip('.')}." for line in wording.assumptions(facts))),
        (words.say("Newer than the effective date"), f"{newer}. {notes.newer}".strip() if newer else ""),
        (words.say("Evidence gathered after the report date"), notes.gathered_later),
    )  # fmt: skip
    return [page.Statement(title, text, manner="warning") for title, text in warnings if text]
