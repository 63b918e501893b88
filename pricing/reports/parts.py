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
from pricing.decisions.approaches import difference
from pricing.reports.blocks import (
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
    caution_words,
    condition_words,
    premise_words,
    rate_words,
    standing_words,
    value_statement,
    valuer_words,
)
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.approaches import difference_sentence
from pricing.words.condition import unseen_worst_sentence
from pricing.words.locale import LocaleWords
from pricing.words.sentences import option_words


def assignment_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """Who asked for the appraisal, for what use, of what value, at what date."""
    asked = facts.record.assignment
    premium = (
        "" if asked.premium_per_cent is None else words.per_cent(float(asked.premium_per_cent), 2, sign=False)
    )
    rows = [
        ("Client", asked.client),
        ("Intended users", asked.intended_users),
        ("Intended use", asked.intended_use),
        ("Interest valued", asked.interest),
        ("Basis of value", asked.basis),
        ("Its definition", asked.basis_definition),
        ("Source of the definition", asked.basis_source),
        ("Premise of value", asked.premise),
        ("Brought to that premise", premise_words(facts, words)),
        ("Market level", asked.market_level),
        ("Reason for that level", asked.level_reason),
        ("Buyer's premium with its tax", premium if asked.market_level == "auction hammer" else ""),
        ("Currency and rate", rate_words(facts, words)),
        ("Tax status", asked.tax_status),
        ("Exposure time", asked.exposure_time),
        ("Effective date", words.day(asked.effective_date)),
        ("Retrospective value", asked.retrospective),
        ("Report date", words.day(asked.report_date)),
        ("Scope of work", asked.scope),
        ("What was not done", asked.not_done),
        ("Significant help", asked.helpers),
        ("Services of the last three years", asked.prior_services),
        ("Conflicts of interest", asked.conflicts),
        ("Basis of the fee", asked.fee_basis),
    ]
    answered = tuple(row for row in rows if row[1])
    return [Heading(ASSIGNMENT), Answers(answered, "Terms of the assignment")]


def subject_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """The car and how it is known to be that one."""
    car = facts.record.subject
    odometer = "" if car.odometer_km is None else f"{words.number(car.odometer_km)} km"
    papers = "" if car.history_file is None else ("yes" if car.history_file else "no")
    named = {
        "make": car.make, "model": car.model, "variant": car.variant, "year": str(car.year),
        "chassis_number": car.chassis_number, "engine_number": car.engine_number,
        "registration": car.registration, "body_style": car.body_style, "colour": car.colour,
        "drive_side": car.drive_side, "odometer_km": odometer,
        "options": ", ".join(option_words(code) for code in car.options),
        "matching_numbers": car.matching_numbers, "history_file": papers,
    }  # fmt: skip
    said = {name: text for name, text in named.items() if text}
    rows = tuple(
        (option_words(name).capitalize(), text, car.established.get(name, "not said"))
        for name, text in said.items()
    )
    columns = (Column("Field", 1.1), Column("As stated", 1.8), Column("How it was established", 2.2))
    blocks: list[Block] = [Heading(SUBJECT), Table("Identity of the car", columns, rows)]
    if car.provenance:
        blocks += [Heading("Provenance", 2), Paragraph(car.provenance)]
    return [*blocks, *own_sales_blocks(facts, words)]


def condition_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """What was seen of the car, by whom and when, and what was found."""
    note, found = facts.record.inspection, facts.evidence.findings
    rows = [
        ("Inspection", note.manner if note.manner else "nothing is said of one"),
        ("By", note.by),
        ("On", words.day(note.on)),
        ("How much was seen", note.extent),
        ("Condition", condition_words(facts)),
    ]
    blocks: list[Block] = [Heading(CONDITION), Answers(tuple(row for row in rows if row[1]), "Inspection")]
    if found is None:
        blocks.append(
            Paragraph("No inspection sheet belongs to this record; the condition is as it was stated.")
        )
        return [*blocks, *photographs_part(facts, words), Paragraph(ROAD, "caution")]
    worst = found.if_unseen_worst
    blocks.append(
        Paragraph(
            f"The sheet gives a condition score of {words.number(found.score)} of 100, eight times in "
            f"ten between "
            f"{words.number(found.low)} and {words.number(found.high)}; {words.share(found.seen_share)} "
            f"of what "
            f"counts was seen."
            + ("" if worst is None else f" {unseen_worst_sentence(worst)}")
            + f" The structure allows {words.number(found.structure_cap)} at most. "
            f"{found.originality}"
        )
    )
    shares = tuple((band, words.share(found.bands[band])) for band in CONDITION_BANDS)
    blocks.append(
        Table("Chance of each condition band", (Column("Band", 2), Column("Chance", 1, True)), shares)
    )
    if found.holding.height:
        rows_held = tuple(
            (title, state, words.number(points, 1)) for title, state, points in found.holding.iter_rows()
        )
        columns = (Column("Finding", 3), Column("State", 2), Column("Points of score", 1, True))
        blocks.append(Table("What holds the score down", columns, rows_held))
    if found.papers.height:
        columns = (Column("Identity and papers", 3), Column("State", 2), Column("Note", 2))
        blocks.append(Table("To settle about identity and papers", columns, tuple(found.papers.iter_rows())))
    blocks += [*photographs_part(facts, words), *_budget(facts, words)]
    return [*blocks, Paragraph("Every check and what was found is in the annex on the inspection sheet."),
            Paragraph(ROAD, "caution")]  # fmt: skip


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
    rows = [(title, area, about(Decimal(repr(expected)))) for title, area, expected in lines]
    rows.append(("All repairs expected", "", about(budget.expected)))
    columns = (Column("Job", 3), Column("Area", 1.5), Column("Expected cost", 1.2, True))
    low, middle, high = (about(part) for part in (budget.p10, budget.p50, budget.p80))
    return [
        Heading("Repair budget", 2),
        Paragraph(
            f"Putting right what is at least \u201c{budget.least}\u201d takes {middle} as likely as "
            f"not; one time in "
            f"ten below {low}, four times in five below {high}. All taxes in; rates of "
            f"{budget.country}; prices of "
            f"{words.day(budget.on)}; catalogue: {budget.catalogue}."
        ),
        Table("The dearest jobs", columns, tuple(rows), strong=(len(rows) - 1,)),
        Paragraph(budget.notice, "small"),
    ]


def reconciliation_part(facts: Facts, words: LocaleWords) -> list[Block]:
    """How the approaches differ, and the opinion with its reasons."""
    told = facts.record.opinion
    blocks: list[Block] = [Heading(RECONCILIATION)]
    found = facts.evidence.comparables
    apart = None if found is None else difference(facts.evidence.valuation, found)
    if apart is not None:
        blocks.append(Paragraph(difference_sentence(apart)))
    if facts.opinion is None:
        return [
            *blocks,
            Paragraph(
                "There is no opinion of value here: no qualified valuer has given one. The ranges above are "
                "estimates from sale records."
            ),
            value_statement(facts, words),
        ]
    blocks += [Paragraph(told.reconciliation), Heading("Approaches left out", 2)]
    blocks += [Paragraph(told.approaches_left_out), value_statement(facts, words)]
    for title, text in (
        ("Where the opinion departs from the evidence", told.departure),
        ("Material valuation uncertainty", told.uncertainty),
    ):
        if text:
            blocks += [Heading(title, 2), Paragraph(text)]
    if facts.standing is not None:
        blocks.append(Paragraph(standing_words(facts)))
    name, titles, contact = valuer_words(facts)
    rows = (
        ("Valuer", name),
        ("Qualifications", titles),
        ("Firm", facts.record.valuer.firm),
        ("Contact", contact),
    )
    return [*blocks, Answers(tuple(row for row in rows if row[1]))]


def conditions_part(facts: Facts) -> list[Block]:
    """Assumptions, conditions and limits."""
    said, asked = facts.record.conditions, facts.record.assignment
    blocks: list[Block] = [Heading(CONDITIONS)]
    for title, lines in (
        ("Extraordinary assumptions", said.extraordinary),
        ("Hypothetical conditions", said.hypothetical),
    ):
        if lines:
            blocks += [Heading(title, 2), Bullets(lines)]
    for title, text in (("Limits", asked.limits), ("Liability", asked.liability)):
        if text:
            blocks += [Heading(title, 2), Paragraph(text)]
    cautions = (
        caution_words(facts),
        ROAD,
        *(facts.evidence.findings.cautions if facts.evidence.findings else ()),
    )
    return [*blocks, Heading("Cautions", 2), Bullets(cautions)]


def certification_part(facts: Facts) -> list[Block]:
    """The statements that a valuer signs; a model report has none."""
    if facts.title == MODEL_REPORT:
        return []
    return [
        NewPage(),
        Heading("Certification"),
        *_certified(facts),
        Blanks(("Signature", "Name and qualifications", "Place and date")),
    ]


def _certified(facts: Facts) -> list[Block]:
    """What the valuer answered, point by point; empty fields while nothing is."""
    said = facts.record.valuer.certification
    if said:
        rows = tuple(
            (text[0].upper() + text[1:], said.get(point, "")) for point, text in CERTIFICATION.items()
        )
        whose = f"As answered by {facts.record.valuer.name} and nobody else. {COMPLIANCE}"
        return [Paragraph(whose), Answers(rows)]
    return [
        Paragraph(
            "To be filled in, confirmed or struck out, and signed by hand by the valuer alone. The "
            "fields are empty "
            f"because no program can certify anything. {COMPLIANCE}"
        ),
        Blanks(tuple(text[0].upper() + text[1:] for text in CERTIFICATION.values())),
    ]
