"""The condition of a car: the sheet of checks, its score, and what putting it right would cost."""

from datetime import date
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query
from fastapi import Path as InPath
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from pricing.api.answers import JsonAnswer
from pricing.api.middleware.callers import Reading
from pricing.api.problems import responses
from pricing.api.schemas import Country, Money, Name, OneOf, Row, Sent
from pricing.api.service import Here
from pricing.condition.assessment import InspectionResult, assess
from pricing.condition.budget import repair_budget
from pricing.condition.checks import CONSTRUCTIONS, FITTINGS, NOT_SEEN, STATES, Sheet
from pricing.condition.inspection import LONGEST_TEXT, PRESERVATION, WORKMANSHIP
from pricing.condition.inspection_files import FORMAT, inspection_of
from pricing.operations.bundled import EXTENSIONS
from pricing.operations.settings import repairs_in_force, settings_of
from pricing.vocabulary import OPTION_CODES

LEVELS: Final = {"p10": 0.1, "p50": 0.5, "p90": 0.9}
MOST_FINDINGS: Final = 500

router = APIRouter(tags=["condition"], dependencies=[Reading], responses=responses(404))

Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
Construction = Annotated[str, OneOf(CONSTRUCTIONS)]


class SeenIn(Sent):
    """What was seen at one check."""

    check: Text = Field(examples=["engine_smoke"])
    state: Annotated[str, OneOf((*STATES, NOT_SEEN))]
    note: Text = ""
    seen_by: Text = ""
    seen_on: date | None = None


class FindingIn(SeenIn):
    """What was found at one check."""

    photo: Text = ""


class ChangeIn(Sent):
    """One change from how the car left the factory."""

    item: Text = Field(examples=["front discs"])
    option: Annotated[str, OneOf(("", *OPTION_CODES))] = ""
    period: bool = False
    reversible: bool = False
    done: Annotated[str, OneOf(WORKMANSHIP)] = NOT_SEEN
    done_by: Text = ""


class InspectionIn(Sent):
    """An inspection, half done or whole, as `pricing inspect` keeps it."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "construction": "monocoque",
                    "car": {"make": "Wexcombe", "model": "Sedge", "year": 1966},
                    "findings": [{"check": "engine_smoke", "state": "worn", "note": "a little blue"}],
                }
            ]
        },
    )

    format: Annotated[str, OneOf((FORMAT,))] = FORMAT
    construction: Construction
    fitted: list[Annotated[str, OneOf(FITTINGS)]] = Field([], max_length=len(FITTINGS))
    car: dict[str, Any] = {}
    preservation: Annotated[str, OneOf(PRESERVATION)] | None = None
    changes: list[ChangeIn] = Field([], max_length=MOST_FINDINGS)
    findings: list[FindingIn] = Field([], max_length=MOST_FINDINGS)


class BudgetQuestion(Sent):
    """An inspection whose repairs are to be priced."""

    inspection: InspectionIn
    country: Country | None = Field(
        None, description="Of the work: labour rates and tax; that of the market's settings when not given."
    )
    least: Annotated[str, OneOf(STATES[1:])] = Field(
        "needs repair", description="Put right what is as bad as this."
    )


class SheetFacts(BaseModel):
    """The checks for a car, in the order of the walk, and the cautions that go with them."""

    construction: str
    fitted: list[str]
    names: list[str]
    checks: list[Row]
    cautions: dict[str, str]
    general_cautions: list[str]


class ScoreFacts(BaseModel):
    """The condition of an inspected car. A score is no statement on whether the car may be driven."""

    score: float = Field(ge=0, le=100, description="Expected score, over what was not seen, 0 to 100.")
    band: str = Field(examples=["average"])
    spread: float = Field(description="Standard deviation of the score, points.")
    levels: dict[str, float] = Field(description="Quantiles of the score.")
    band_shares: dict[str, float] = Field(description="Chance of each condition band; they add up to 1.")
    structure_cap: float = Field(description="The score that the structure allows at most.")
    seen_share: float = Field(ge=0, le=1, description="Part of the scored weight that was seen.")
    if_unseen_worst: Row | None = Field(
        description="The score were the unseen the worst of the car; null where all or none was seen."
    )
    holding: list[Row]
    lifting: list[Row]
    look_next: list[Row]
    papers: list[Row]
    cautions: list[str]
    originality: str


class BudgetFacts(BaseModel):
    """What it takes to put the car right, all taxes in: a distribution, by area and by item."""

    p10: Money
    p50: Money
    p80: Money
    expected: Money
    certain: Money
    hidden: Money
    areas: list[Row]
    lines: list[Row]
    without_job: list[str]
    currency: str
    country: str
    on: date
    notice: str


@router.get("/sheets/{construction}", response_model=SheetFacts)
def sheet(
    construction: Annotated[str, OneOf(CONSTRUCTIONS), InPath()],
    make: Annotated[Name | None, Query()] = None,
    model: Annotated[Name | None, Query()] = None,
    fitted: Annotated[list[Annotated[str, OneOf(FITTINGS)]], Query(max_length=len(FITTINGS))] = [],  # noqa: B006
) -> Response:
    """The sheet of checks for a construction, and for a single model where there is one."""
    return JsonAnswer(Sheet.open(construction, fitted=fitted, make=make, model=model, extensions=EXTENSIONS))


@router.post("/inspections/score", response_model=ScoreFacts)
def score(inspection: InspectionIn) -> Response:
    """Score an inspection: its band, what holds it there, what would lift it, what to look at next."""
    return JsonAnswer(score_facts(assessed(inspection)))


@router.post("/inspections/budget", response_model=BudgetFacts)
def budget(question: BudgetQuestion, service: Here) -> Response:
    """Price the repairs that an inspection leads to, by the repair catalogue of the market's settings."""
    snapshot = service.snapshot()
    country = settings_of(snapshot).country if question.country is None else question.country
    costs = repairs_in_force(snapshot, assessed(question.inspection), country, {})
    facts = repair_budget(costs, least=question.least)
    return JsonAnswer({name: part for name, part in vars(facts).items() if name != "draws"})


def assessed(inspection: InspectionIn) -> InspectionResult:
    """The result of an inspection as it came in."""
    return assess(inspection_of(inspection.model_dump(mode="json"), extensions=EXTENSIONS))


def score_facts(result: InspectionResult) -> dict[str, Any]:
    """What a result says, without its draws."""
    levels = dict(zip(LEVELS, result.quantiles(tuple(LEVELS.values())), strict=True))
    own = {name: getattr(result, name) for name in ScoreFacts.model_fields if hasattr(result, name)}
    return own | {"levels": levels, "seen_share": result.inspection.seen_share}
