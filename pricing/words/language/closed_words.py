"""Every word of a closed list that a document may show: part of the catalogue, as sentences are."""

from collections.abc import Iterator
from dataclasses import fields
from itertools import chain

from pricing.appraisal.bases import BASIS_NAMES, EVERY_LEVEL, PREMISES
from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.contents import CONTENTS
from pricing.appraisal.facts import APPRAISAL, DRAFT, MODEL_REPORT
from pricing.appraisal.ratio_kinds import TIERS
from pricing.appraisal.record.sections import INSPECTED, KINDS, RESTS_ON, SECTIONS, question_of
from pricing.car_fields import FIELDS
from pricing.condition.checks import AREAS, CONSTRUCTIONS, FITTINGS, NOT_SEEN, PAPER_STATES, STATES, Sheet
from pricing.condition.inspection import PRESERVATION, WORKMANSHIP
from pricing.decisions.buy.buying import CAUTIONS as BUYING_CAUTIONS
from pricing.decisions.buy.verdict import VERDICTS
from pricing.decisions.sell.selling import CAUTIONS as SELLING_CAUTIONS
from pricing.evidence.comparison.adjustments import BASIS, CONDITIONS, CURRENCY, DATE, UNSURE
from pricing.evidence.comparison.comparables_index import GRADED, UNGRADED
from pricing.evidence.comparison.date_line import SOURCE as DATE_SOURCE
from pricing.evidence.comparison.sale_features import MATCH_LEVELS
from pricing.evidence.indices.index import METHODS
from pricing.evidence.indices.periods import LENGTHS
from pricing.model.opinion_bands import ALONE
from pricing.model.prediction import DEPTHS
from pricing.vocabulary import (
    CHANNELS,
    CONDITION_BANDS,
    DRIVE_SIDES,
    MATCHING_NUMBERS,
    OPTION_CODES,
    OUTCOMES,
    PRICE_BASES,
    SPANS,
)
from pricing.words.language.messages import noted
from pricing.words.sentences import option_words

_TERMS = (
    noted("average sale"), noted("options absent"), noted("condition"), noted("date"),
    noted("interactions"), noted("engine number"), noted("registration"), noted("colour"),
)  # fmt: skip
"""Names of terms and fields that no list of a lower room has."""

_SOURCES = (
    noted("sale record"), noted("schedule of charges in the market file"), noted("none needed"),
    noted("own rate in the market file"), noted("nothing on record: not adjusted"),
    noted("less like the subject"), noted("sold after the effective date"), noted("other make"),
)  # fmt: skip
"""Where an adjustment comes from, and why a sale was left out."""

_CHARGES = (
    noted("premium"), noted("commission"), noted("entry fee"), noted("unsold fee"), noted("import duty"),
    noted("import tax"), noted("rate"), noted("example rate"), noted("No schedule of charges is used."),
)  # fmt: skip
"""Charges, and where they come from."""

_ANSWERS = (
    noted("leave it"), noted("buy the better car"), noted("too close to call"), noted("mend"),
    noted("look first"),
)  # fmt: skip
"""Whether to mend a car or to buy a better one."""

_BUDGETS = (
    noted("the price asked"), noted("the total with repairs"), noted("this car one band up"),
)  # fmt: skip
"""Amounts of money that other cars are looked for with."""

_REASONS = (
    noted("none was made"), noted("nothing"), noted("none were looked for"), noted("nothing is said of one"),
    noted("not stated"), noted("the whole market"), noted("a filter of the market"), noted("all sales"),
    noted("graded"), noted("not graded"), noted("market"), noted("the market has no sale"),
    noted("opinions are by the state of the car: without it, and with too few sales, there is no range"),
    noted("No change from the factory state is recorded."), noted("comparable"), noted("shown"),
    noted("bid"), noted("the effective date"), noted("the report date"), noted("the inspection"),
    noted("the last entry of the sheet"), noted("the completion"), noted("the gathering of the evidence"),
    noted("the choices on comparables in the record are not those that the evidence was gathered with"),
    noted("an inspection sheet was filled in, and the record says that the car was not inspected"),
    noted("a model report holds no valuer's opinion"), noted("kind of document"),
    noted("the record says that the car was seen from photographs, and has none"),
)  # fmt: skip
"""Reasons, kinds and open points that stand in frozen evidence or in a rule as they are."""


def closed_words() -> Iterator[str]:
    """All of them, some more than once.

    >>> {"average", "wire wheels", "Sills", "market value"} <= set(closed_words())
    True
    """
    yield from chain(BASIS_NAMES, PREMISES, EVERY_LEVEL, INSPECTED, RESTS_ON, KINDS, SECTIONS)
    yield from (APPRAISAL, DRAFT, MODEL_REPORT)
    yield from (question_of(part) for kind in SECTIONS.values() for part in fields(kind))
    yield from (word for content in CONTENTS for word in (content.name, content.part))
    yield from CERTIFICATION.values()
    yield from chain(CONDITION_BANDS, OUTCOMES, CHANNELS, PRICE_BASES, DRIVE_SIDES, MATCHING_NUMBERS, SPANS)
    yield from chain(VERDICTS, DEPTHS, (ALONE,), TIERS, METHODS, LENGTHS, MATCH_LEVELS, (GRADED, UNGRADED))
    yield from (BASIS, CONDITIONS, CURRENCY, DATE, DATE_SOURCE, UNSURE)
    yield from (option_words(code) for code in chain(OPTION_CODES, FIELDS))
    yield from chain(CONSTRUCTIONS, AREAS, STATES, (NOT_SEEN,), PAPER_STATES.values())
    yield from chain(PRESERVATION, WORKMANSHIP, BUYING_CAUTIONS, SELLING_CAUTIONS)
    yield from chain(_TERMS, _SOURCES, _CHARGES, _ANSWERS, _BUDGETS, _REASONS)
    for construction in CONSTRUCTIONS:
        sheet = Sheet.open(construction, fitted=FITTINGS)
        for check in sheet.checks:
            yield from (check.title, check.where, check.act, check.bad_sign)
        yield from chain(sheet.names, sheet.general_cautions, sheet.cautions.values())
