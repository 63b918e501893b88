"""The parts of a written appraisal that show what a person says: assignment, subject, condition, opinion."""

from decimal import Decimal

from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.contents import (
    ASSIGNMENT,
    CONDITION,
    CONDITIONS,
    RECONCILIATION,
    SUBJECT,
)
from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.appraisal.findings import Findings
from pricing.condition.checks import CheckRole, found_words
from pricing.decisions.approaches import difference
from pricing.reports.figure_words import premise_words, rate_words, standing_words, value_statement
from pricing.reports.formats.blocks import (
    Answers,
    Blanks,
    Block,
    Bullets,
    Column,
    Heading,
    NewPage,
    Paragraph,
    Table,
)
from pricing.reports.own_sales import own_sales_blocks
from pricing.reports.photographs import photographs_part
from pricing.reports.wording import (
    COMPLIANCE,
    ROAD,
    car_text,
    caution_words,
    condition_words,
    odometer_words,
    valuer_words,
)
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.approaches import difference_sentence
from pricing.words.condition import unseen_worst_sentence
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
from pricing.words.sentences import option_words


def assignment_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """Who asked for the appraisal, for what use, of what value, at what date."""
    asked = facts.record.assignment
    premium = (
        "" if asked.premium_per_cent is None else words.per_cent(float(asked.premium_per_cent), 2, sign=False)
    )
    hammer = asked.market_level == "auction hammer"
    rows = [
        (words.say("Client"), asked.client),
        (words.say("Intended users"), asked.intended_users),
        (words.say("Intended use"), asked.intended_use),
        (words.say("Interest valued"), asked.interest),
        (words.say("Basis of value"), words.word(asked.basis)),
        (words.say("Its definition"), asked.basis_definition),
        (words.say("Source of the definition"), asked.basis_source),
        (words.say("Premise of value"), words.word(asked.premise)),
        (words.say("Brought to that premise"), premise_words(facts, words)),
        (words.say("Market level"), words.word(asked.market_level)),
        (words.say("Reason for that level"), asked.level_reason),
        (words.say("Buyer's premium with its tax"), premium if hammer else ""),
        (words.say("Currency and rate"), rate_words(facts, words)),
        (words.say("Tax status"), asked.tax_status),
        (words.say("Exposure time"), asked.exposure_time),
        (words.say("Effective date"), words.day(asked.effective_date)),
        (words.say("Retrospective value"), asked.retrospective),
        (words.say("Report date"), words.day(asked.report_date)),
        (words.say("Scope of work"), asked.scope),
        (words.say("What was not done"), asked.not_done),
        (words.say("Significant help"), asked.helpers),
        (words.say("Services of the last three years"), asked.prior_services),
        (words.say("Conflicts of interest"), asked.conflicts),
        (words.say("Basis of the fee"), asked.fee_basis),
    ]
    answered = tuple(row for row in rows if row[1])
    return [Heading(words.word(ASSIGNMENT)), Answers(answered, words.say("Terms of the assignment"))]


def subject_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """The car and how it is known to be that one."""
    car = facts.record.subject
    papers = "" if car.history_file is None else words.word("yes" if car.history_file else "no")
    named = {
        "make": car.make, "model": car.model, "variant": car.variant,
        "year": "" if car.year is None else str(car.year),
        "chassis_number": car.chassis_number, "engine_number": car.engine_number,
        "registration": car.registration, "body_style": car.body_style, "colour": car.colour,
        "drive_side": car_text(car, "drive_side", words), "odometer_km": odometer_words(facts, words),
        "options": ", ".join(option_words(code, words) for code in car.options),
        "matching_numbers": car_text(car, "matching_numbers", words), "history_file": papers,
    }  # fmt: skip
    rows = tuple(
        (capital(option_words(name, words)), text, car.established.get(name, words.say("not said")))
        for name, text in named.items()
        if text
    )
    columns = (
        Column(words.say("Field"), 1.1), Column(words.say("As stated"), 1.8),
        Column(words.say("How it was established"), 2.2),
    )  # fmt: skip
    blocks: list[Block] = [
        Heading(words.word(SUBJECT)), Table(words.say("Identity of the car"), columns, rows),
    ]  # fmt: skip
    if car.provenance:
        blocks += [Heading(words.say("Provenance"), 2), Paragraph(car.provenance)]
    return [*blocks, *own_sales_blocks(facts, words)]


def condition_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """What was seen of the car, by whom and when, and what was found."""
    note, found = facts.record.inspection, facts.evidence.findings
    rows = [
        (words.say("Inspection"), words.word(note.manner or "nothing is said of one")),
        (words.say("By"), note.by),
        (words.say("On"), words.day(note.on)),
        (words.say("How much was seen"), note.extent),
        (words.say("Condition"), condition_words(facts, words)),
    ]
    blocks: list[Block] = [
        Heading(words.word(CONDITION)),
        Answers(tuple(row for row in rows if row[1]), words.say("Inspection")),
    ]
    caution = Paragraph(words.word(ROAD), "caution")
    if found is None:
        said = words.say("No inspection sheet belongs to this record; the condition is as it was stated.")
        return [*blocks, Paragraph(said), *photographs_part(facts, words), caution]
    blocks.append(Paragraph(" ".join(_found_sentences(found, words))))
    shares = tuple((words.word(band), words.share(found.bands[band])) for band in CONDITION_BANDS)
    chances = (Column(words.say("Band"), 2), Column(words.say("Chance"), 1, True))
    blocks.append(Table(words.say("Chance of each condition band"), chances, shares))
    if found.holding.height:
        rows_held = tuple(
            (words.word(title), words.word(state), words.number(points, 1))
            for title, state, points in found.holding.iter_rows()
        )
        held = (
            Column(words.say("Finding"), 3), Column(words.say("State"), 2),
            Column(words.say("Points of score"), 1, True),
        )  # fmt: skip
        blocks.append(Table(words.say("What holds the score down"), held, rows_held))
    if found.papers.height:
        papers = (
            Column(words.say("Identity and papers"), 3), Column(words.say("State"), 2),
            Column(words.say("Note"), 2),
        )  # fmt: skip
        rows_open = tuple(
            (words.word(title), words.word(found_words(CheckRole.PAPERS, state)), note)
            for title, state, note in found.papers.iter_rows()
        )
        blocks.append(Table(words.say("To settle about identity and papers"), papers, rows_open))
    blocks += [*photographs_part(facts, words), *_budget(facts, words)]
    said = words.say("Every check and what was found is in the annex on the inspection sheet.")
    return [*blocks, Paragraph(said), caution]


def _found_sentences(found: Findings, words: LocaleWords) -> list[str]:
    """The score with its spread, and what the structure allows."""
    worst = found.if_unseen_worst
    said = [
        words.say(
            "The sheet gives a condition score of {score} of 100, eight times in ten between {low} and "
            "{high}; {share} of what counts was seen.",
            score=words.number(found.score), low=words.number(found.low), high=words.number(found.high),
            share=words.share(found.seen_share),
        ),
        "" if worst is None else unseen_worst_sentence(worst, words),
        words.say(
            "The structure allows a score of {score} at most.", score=words.number(found.structure_cap)
        ),
        told(found.originality, words),
    ]  # fmt: skip
    return [text for text in said if text]


def _budget(facts: Facts, words: LocaleWords) -> list[Block]:
    budget = facts.evidence.budget
    if budget is None:
        return []
    own = budget.currency == facts.base_currency

    def about(cost: Decimal) -> str:
        """A cost in the client's currency, where there is a rate to it."""
        if not own:
            return words.about(cost, budget.currency)
        return words.about(facts.evidence.conversion.from_base(cost), facts.currency)

    lines = budget.lines.select("title", "area", "expected").iter_rows()
    rows = [
        (words.word(title), words.word(area), about(Decimal(repr(expected))))
        for title, area, expected in lines
    ]
    rows.append((words.say("All repairs expected"), "", about(budget.expected)))
    columns = (
        Column(words.say("Job"), 3), Column(words.say("Area"), 1.5),
        Column(words.say("Expected cost"), 1.2, True),
    )  # fmt: skip
    low, middle, high = (about(part) for part in (budget.p10, budget.p50, budget.p80))
    said = words.say(
        "Putting right what is at least \u201c{least}\u201d takes {middle} as likely as not; one time in ten "
        "below {low}, four times in five below {high}. All taxes in; rates of {country}; prices of {day}; "
        "catalogue: {catalogue}.",
        least=words.word(budget.least), middle=middle, low=low, high=high,
        country=words.country(budget.country), day=words.day(budget.on),
        catalogue=words.word(budget.catalogue),
    )  # fmt: skip
    return [
        Heading(words.say("Repair budget"), 2),
        Paragraph(said),
        Table(words.say("The dearest jobs"), columns, tuple(rows), strong=(len(rows) - 1,)),
        Paragraph(words.word(budget.notice), "small"),
    ]


def reconciliation_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """How the approaches differ, and the opinion with its reasons."""
    said = facts.record.opinion
    blocks: list[Block] = [Heading(words.word(RECONCILIATION))]
    found = facts.evidence.comparables
    apart = None if found is None else difference(facts.evidence.valuation, found)
    if apart is not None:
        blocks.append(Paragraph(difference_sentence(apart, words)))
    if facts.opinion is None:
        none = words.say(
            "There is no opinion of value here: no qualified valuer has given one. The ranges above are "
            "estimates from sale records."
        )
        return [*blocks, Paragraph(none), value_statement(facts, words)]
    blocks += [Paragraph(said.reconciliation), Heading(words.say("Approaches left out"), 2)]
    blocks += [Paragraph(said.approaches_left_out), value_statement(facts, words)]
    for title, text in (
        (words.say("Where the opinion departs from the evidence"), said.departure),
        (words.say("Material valuation uncertainty"), said.uncertainty),
    ):
        if text:
            blocks += [Heading(title, 2), Paragraph(text)]
    if facts.standing is not None:
        blocks.append(Paragraph(standing_words(facts, words)))
    name, titles, contact = valuer_words(facts)
    rows = (
        (words.say("Valuer"), name), (words.say("Qualifications"), titles),
        (words.say("Firm"), facts.record.valuer.firm), (words.say("Contact"), contact),
    )  # fmt: skip
    return [*blocks, Answers(tuple(row for row in rows if row[1]))]


def conditions_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """Assumptions, conditions and limits, and what may be read out of the document; what to mind when working
    on a car stands on the inspection sheet, where the work is done."""
    said, asked = facts.record.conditions, facts.record.assignment
    blocks: list[Block] = [Heading(words.word(CONDITIONS))]
    for title, lines in (
        (words.say("Extraordinary assumptions"), said.extraordinary),
        (words.say("Hypothetical conditions"), said.hypothetical),
    ):
        if lines:
            blocks += [Heading(title, 2), Bullets(lines)]
    for title, text in ((words.say("Limits"), asked.limits), (words.say("Liability"), asked.liability)):
        if text:
            blocks += [Heading(title, 2), Paragraph(text)]
    found = facts.evidence.findings
    more = (ROAD, *((found.general_cautions or found.cautions) if found else ()))
    cautions = (caution_words(facts, words), *(words.word(text) for text in more))
    return [*blocks, Heading(words.say("Cautions"), 2), Bullets(cautions)]


def certification_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """The statements that a valuer signs; a model report has none."""
    if facts.title == MODEL_REPORT:
        return []
    fields = (words.say("Signature"), words.say("Name and qualifications"), words.say("Place and date"))
    return [
        NewPage(whole=True),
        Heading(words.say("Certification")),
        *_certified(facts, words),
        Blanks(fields),
    ]


def _certified(facts: Facts, words: LocaleWords) -> list[Block]:
    """What the valuer answered, point by point; empty fields while nothing is."""
    said, compliance = facts.record.valuer.certification, words.word(COMPLIANCE)
    points = {point: capital(words.word(text)) for point, text in CERTIFICATION.items()}
    if said:
        whose = words.say("As answered by {name} and nobody else.", name=facts.record.valuer.name)
        rows = tuple((text, said.get(point, "")) for point, text in points.items())
        return [Paragraph(f"{whose} {compliance}"), Answers(rows)]
    empty = words.say(
        "To be filled in, confirmed or struck out, and signed by hand by the valuer alone. The fields are "
        "empty because no program can certify anything."
    )
    return [Paragraph(f"{empty} {compliance}"), Blanks(tuple(points.values()))]
