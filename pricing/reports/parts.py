"""The parts of a written appraisal that show what a person says: assignment, subject, condition, opinion."""

from decimal import Decimal

from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.contents import ASSIGNMENT, CONDITION, CONDITIONS, RECONCILIATION, SUBJECT
from pricing.appraisal.facts import MODEL_REPORT, Facts
from pricing.appraisal.findings import Findings
from pricing.condition.checks import CheckRole, found_words
from pricing.decisions.approaches import difference
from pricing.reports import figure_words, wording
from pricing.reports.formats import blocks as page
from pricing.reports.own_sales import own_sales_blocks
from pricing.reports.photographs import photographs_part
from pricing.vocabulary import CONDITION_BANDS
from pricing.words.approaches import difference_sentence
from pricing.words.condition import unseen_worst_sentence
from pricing.words.language.locale import LocaleWords
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
from pricing.words.sentences import option_words


def assignment_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """Who asked for the appraisal, for what use, of what value, at what date."""
    terms, premium = facts.record.assignment, ""
    if terms.premium_per_cent is not None and terms.market_level == "auction hammer":
        premium = words.per_cent(float(terms.premium_per_cent), 2, sign=False)
    rows = [
        (words.say("Client"), terms.client),
        (words.say("Intended users"), terms.intended_users),
        (words.say("Intended use"), terms.intended_use),
        (words.say("Interest valued"), terms.interest),
        (words.say("Basis of value"), words.word(terms.basis)),
        (words.say("Its definition"), terms.basis_definition),
        (words.say("Source of the definition"), terms.basis_source),
        (words.say("Premise of value"), words.word(terms.premise)),
        (words.say("Brought to that premise"), figure_words.premise_words(facts, words)),
        (words.say("Market level"), words.word(terms.market_level)),
        (words.say("Reason for that level"), terms.level_reason),
        (words.say("Buyer's premium with its tax"), premium),
        (words.say("Currency and rate"), figure_words.rate_words(facts, words)),
        (words.say("Tax status"), terms.tax_status),
        (words.say("Exposure time"), terms.exposure_time),
        (words.say("Effective date"), words.day(terms.effective_date)),
        (words.say("Retrospective value"), terms.retrospective),
        (words.say("Report date"), words.day(terms.report_date)),
        (words.say("Scope of work"), terms.scope),
        (words.say("What was not done"), terms.not_done),
        (words.say("Significant help"), terms.helpers),
        (words.say("Services of the last three years"), terms.prior_services),
        (words.say("Conflicts of interest"), terms.conflicts),
        (words.say("Basis of the fee"), terms.fee_basis),
    ]
    return [page.Heading(words.word(ASSIGNMENT)), page.answered(rows, words.say("Terms of the assignment"))]


def subject_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """The car and how it is known to be that one."""
    car = facts.record.subject
    papers = "" if car.history_file is None else words.word("yes" if car.history_file else "no")
    named = {
        "make": car.make, "model": car.model, "variant": car.variant,
        "year": "" if car.year is None else str(car.year),
        "chassis_number": car.chassis_number, "engine_number": car.engine_number,
        "registration": car.registration, "body_style": car.body_style, "colour": car.colour,
        "drive_side": words.word(car.drive_side or ""), "odometer_km": wording.odometer_words(facts, words),
        "options": ", ".join(option_words(code, words) for code in car.options),
        "matching_numbers": words.word(car.matching_numbers or ""), "history_file": papers,
    }  # fmt: skip

    def established(name: str) -> str:
        return car.established.get(name, words.say("not said"))

    return [
        page.Heading(words.word(SUBJECT)),
        page.table(
            words.say("Identity of the car"),
            ((name, value) for name, value in named.items() if value),
            page.text(words.say("Field"), 1.1, lambda row: capital(option_words(row[0], words))),
            page.text(words.say("As stated"), 1.8, lambda row: row[1]),
            page.text(words.say("How it was established"), 2.2, lambda row: established(row[0])),
        ),
        *page.headed(words.say("Provenance"), car.provenance),
        *own_sales_blocks(facts, words),
    ]


def condition_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What was seen of the car, by whom and when, and what was found."""
    note, findings = facts.record.inspection, facts.evidence.findings
    rows = [
        (words.say("Inspection"), words.word(note.manner or "nothing is said of one")),
        (words.say("By"), note.by),
        (words.say("On"), words.day(note.on)),
        (words.say("How much was seen"), note.extent),
        (words.say("Condition"), wording.condition_words(facts, words)),
    ]
    blocks: list[page.Block] = [
        page.Heading(words.word(CONDITION)),
        page.answered(rows, words.say("Inspection")),
    ]
    photographs = photographs_part(facts, words)
    caution = page.Paragraph(words.word(wording.ROAD), "caution")
    if findings is None:
        none = words.say("No inspection sheet belongs to this record; the condition is as it was stated.")
        return [*blocks, page.Paragraph(none), *photographs, caution]
    blocks += [
        page.Paragraph(_found_sentences(findings, words)),
        page.table(
            words.say("Chance of each condition band"),
            CONDITION_BANDS,
            page.text(words.say("Band"), 2, words.word),
            page.number(words.say("Chance"), 1, lambda band: words.share(findings.bands[band])),
        ),
    ]
    if findings.holding.height:
        held = page.table(
            words.say("What holds the score down"),
            findings.holding.iter_rows(),
            page.text(words.say("Finding"), 3, lambda row: words.word(row[0])),
            page.text(words.say("State"), 2, lambda row: words.word(row[1])),
            page.number(words.say("Points of score"), 1, lambda row: words.number(row[2], 1)),
        )
        blocks.append(held)
    if findings.papers.height:
        papers = page.table(
            words.say("To settle about identity and papers"),
            findings.papers.iter_rows(),
            page.text(words.say("Identity and papers"), 3, lambda row: words.word(row[0])),
            page.text(words.say("State"), 2, lambda row: words.word(found_words(CheckRole.PAPERS, row[1]))),
            page.text(words.say("Note"), 2, lambda row: row[2]),
        )
        blocks.append(papers)
    annex = words.say("Every check and what was found is in the annex on the inspection sheet.")
    return [*blocks, *photographs, *_budget(facts, words), page.Paragraph(annex), caution]


def _found_sentences(findings: Findings, words: LocaleWords) -> str:
    """The score with its spread, and what the structure allows."""
    worst = findings.if_unseen_worst
    score = words.say(
        "The sheet gives a condition score of {score} of 100, eight times in ten between {low} and {high}; "
        "{share} of what counts was seen.",
        score=words.number(findings.score), low=words.number(findings.low),
        high=words.number(findings.high), share=words.share(findings.seen_share),
    )  # fmt: skip
    unseen = "" if worst is None else unseen_worst_sentence(worst, words)
    cap = words.number(findings.structure_cap)
    structure = words.say("The structure allows a score of {score} at most.", score=cap)
    return wording.joined(score, unseen, structure, told(findings.originality, words), mark=" ")


def _budget(facts: Facts, words: LocaleWords) -> list[page.Block]:
    budget = facts.evidence.budget
    if budget is None:
        return []
    own = budget.currency == facts.base_currency

    def about(cost: Decimal) -> str:
        """A cost in the client's currency, where there is a rate to it."""
        if not own:
            return words.about(cost, budget.currency)
        return words.about(facts.evidence.conversion.from_base(cost), facts.currency)

    low, middle, high = (about(part) for part in (budget.p10, budget.p50, budget.p80))
    putting_right = words.say(
        "Putting right what is at least \u201c{least}\u201d takes {middle} as likely as not; one time in ten "
        "below {low}, four times in five below {high}. All taxes in; rates of {country}; prices of {day}; "
        "catalogue: {catalogue}.",
        least=words.word(budget.least), middle=middle, low=low, high=high,
        country=words.country(budget.country), day=words.day(budget.on),
        catalogue=words.word(budget.catalogue),
    )  # fmt: skip
    jobs = budget.lines.select("title", "area", "expected").rows()
    return [
        page.Heading(words.say("Repair budget"), 2),
        page.Paragraph(putting_right),
        page.table(
            words.say("The dearest jobs"),
            [*jobs, (words.say("All repairs expected"), "", budget.expected)],
            page.text(words.say("Job"), 3, lambda job: words.word(job[0])),
            page.text(words.say("Area"), 1.5, lambda job: words.word(job[1])),
            page.number(words.say("Expected cost"), 1.2, lambda job: about(Decimal(str(job[2])))),
            strong=(len(jobs),),
        ),
        page.Paragraph(words.word(budget.notice), "small"),
    ]


def reconciliation_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """How the approaches differ, and the opinion with its reasons."""
    opinion = facts.record.opinion
    blocks: list[page.Block] = [page.Heading(words.word(RECONCILIATION))]
    comparables, value = facts.evidence.comparables, figure_words.value_statement(facts, words)
    apart = None if comparables is None else difference(facts.evidence.valuation, comparables)
    if apart is not None:
        blocks.append(page.Paragraph(difference_sentence(apart, words)))
    if facts.opinion is None:
        none = words.say(
            "There is no opinion of value here: no qualified valuer has given one. The ranges above are "
            "estimates from sale records."
        )
        return [*blocks, page.Paragraph(none), value]
    blocks += [
        page.Paragraph(opinion.reconciliation),
        page.Heading(words.say("Approaches left out"), 2),
        page.Paragraph(opinion.approaches_left_out),
        value,
        *page.headed(words.say("Where the opinion departs from the evidence"), opinion.departure),
        *page.headed(words.say("Material valuation uncertainty"), opinion.uncertainty),
    ]
    if facts.standing is not None:
        blocks.append(page.Paragraph(figure_words.standing_words(facts, words)))
    name, titles, contact = wording.valuer_words(facts)
    rows = (
        (words.say("Valuer"), name), (words.say("Qualifications"), titles),
        (words.say("Firm"), facts.record.valuer.firm), (words.say("Contact"), contact),
    )  # fmt: skip
    return [*blocks, page.answered(rows)]


def conditions_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """Assumptions, conditions and limits, and what may be read out of the document; what to mind when working
    on a car stands on the inspection sheet, where the work is done."""
    conditions, terms = facts.record.conditions, facts.record.assignment
    blocks: list[page.Block] = [page.Heading(words.word(CONDITIONS))]
    for title, lines in (
        (words.say("Extraordinary assumptions"), conditions.extraordinary),
        (words.say("Hypothetical conditions"), conditions.hypothetical),
    ):
        if lines:
            blocks += [page.Heading(title, 2), page.Bullets(lines)]
    blocks += page.headed(words.say("Limits"), terms.limits) + page.headed(
        words.say("Liability"), terms.liability
    )
    findings = facts.evidence.findings
    more = (wording.ROAD, *((findings.general_cautions or findings.cautions) if findings else ()))
    cautions = (wording.caution_words(facts, words), *map(words.word, more))
    return [*blocks, page.Heading(words.say("Cautions"), 2), page.Bullets(cautions)]


def certification_part(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """The statements that a valuer signs; a model report has none."""
    if facts.title == MODEL_REPORT:
        return []
    fields = (words.say("Signature"), words.say("Name and qualifications"), words.say("Place and date"))
    heading = page.Heading(words.say("Certification"))
    return [page.NewPage(whole=True), heading, *_certified(facts, words), page.Blanks(fields)]


def _certified(facts: Facts, words: LocaleWords) -> list[page.Block]:
    """What the valuer answered, point by point; empty fields while nothing is."""
    answers, compliance = facts.record.valuer.certification, words.word(wording.COMPLIANCE)
    points = {point: capital(words.word(statement)) for point, statement in CERTIFICATION.items()}
    if answers:
        whose = words.say("As answered by {name} and nobody else.", name=facts.record.valuer.name)
        rows = tuple((statement, answers.get(point, "")) for point, statement in points.items())
        return [page.Paragraph(f"{whose} {compliance}"), page.AnswerList(rows)]
    empty = words.say(
        "To be filled in, confirmed or struck out, and signed by hand by the valuer alone. The fields are "
        "empty because no program can certify anything."
    )
    return [page.Paragraph(f"{empty} {compliance}"), page.Blanks(tuple(points.values()))]
