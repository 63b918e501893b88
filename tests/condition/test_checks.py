from pathlib import Path

import pytest

from pricing.condition.catalogue import Catalogue
from pricing.condition.checks import AREAS, CONSTRUCTIONS, FITTINGS, ROLES, SHIPPED, STATES, Sheet
from pricing.errors import InspectionError
from tests.condition.walks import CATALOGUE, EXTENSIONS

EVERY_SHEET = [
    Sheet.open("separate chassis", fitted=FITTINGS, make="Wexcombe", model="Sedge", extensions=EXTENSIONS),
    Sheet.open("monocoque", fitted=FITTINGS, make="Wexcombe", model="Marram", extensions=EXTENSIONS),
]

GOOD = """
name = "one"
construction = "monocoque"
make = "A"
model = "B"
[[check]]
id = "one"
area = "engine"
title = "t"
where = "w"
act = "a"
bad_sign = "b"
weight = 1
role = "mechanical"
"""


@pytest.mark.parametrize("construction", CONSTRUCTIONS)
def test_a_construction_has_seventy_checks_without_any_fitting(construction: str) -> None:
    assert len(Sheet.open(construction).checks) >= 70


@pytest.mark.parametrize("sheet", EVERY_SHEET, ids=lambda sheet: sheet.construction)
def test_every_area_and_role_is_walked(sheet: Sheet) -> None:
    assert {check.area for check in sheet.checks} == set(AREAS)
    assert {check.role for check in sheet.checks} == set(ROLES)
    places = [AREAS.index(check.area) for check in sheet.checks]
    assert places == sorted(places)


@pytest.mark.parametrize("sheet", EVERY_SHEET, ids=lambda sheet: sheet.construction)
def test_every_bad_finding_that_counts_leads_to_jobs_of_the_demo_catalogue(sheet: Sheet) -> None:
    jobs = Catalogue.open(CATALOGUE).jobs
    for check in sheet.scored:
        assert set(check.jobs) == set(STATES[1:]), check.id
        assert all(named and set(named) <= set(jobs) for named in check.jobs.values()), check.id


def test_every_job_of_the_demo_catalogue_is_used() -> None:
    used = {
        job for sheet in EVERY_SHEET for check in sheet.checks for jobs in check.jobs.values() for job in jobs
    }
    assert used == set(Catalogue.open(CATALOGUE).jobs)


@pytest.mark.parametrize("sheet", EVERY_SHEET, ids=lambda sheet: sheet.construction)
def test_nothing_is_written_twice_and_nothing_is_promised(sheet: Sheet) -> None:
    assert len({check.id for check in sheet.checks}) == len(sheet.checks)
    assert len({check.act for check in sheet.checks}) == len(sheet.checks)
    texts = " ".join(
        [*sheet.general_cautions, *sheet.cautions.values()]
        + [f"{check.where} {check.act} {check.bad_sign}" for check in sheet.checks]
    ).lower()
    assert "roadworthy" not in texts
    assert " safe " not in texts


def test_the_cautions_of_the_trade_are_on_every_sheet() -> None:
    for sheet in EVERY_SHEET:
        words = " ".join(sheet.cautions[check.caution] for check in sheet.checks if check.caution)
        for wanted in ("jack alone", "perforated tanks", "Isolate the battery", "asbestos", "Rubber ages",
                       "scalding", "private ground"):  # fmt: skip
            assert wanted in words
        assert any("licensed" in text for text in sheet.general_cautions)


def test_fittings_add_their_checks_and_only_theirs() -> None:
    plain = {check.id for check in Sheet.open("monocoque").checks}
    fitted = {check.id for check in Sheet.open("monocoque", fitted=["sunroof"]).checks}
    assert fitted - plain == {"sunroof_panel"}


def test_an_extension_is_for_its_model_and_construction_only() -> None:
    def names(construction: str, model: str) -> tuple[str, ...]:
        return Sheet.open(construction, make="WEXCOMBE", model=model, extensions=EXTENSIONS).names[2:]

    assert names("separate chassis", "Sedge") == ("Wexcombe Sedge (invented)",)
    assert names("monocoque", "Marram") == ("Wexcombe Marram (invented)",)
    assert names("monocoque", "Sedge") == ()
    assert names("separate chassis", "Teasel") == ()


@pytest.mark.parametrize(
    ("construction", "options", "message"),
    [
        ("tubular", {}, "unknown construction 'tubular': expected separate chassis or monocoque"),
        ("monocoque", {"fitted": ["ashtray"]}, "unknown fitting 'ashtray'"),
        ("monocoque", {"make": "A", "model": "B", "extensions": Path("nowhere")}, "nowhere: the folder"),
    ],
)
def test_what_does_not_exist_is_named(construction: str, options: dict[str, object], message: str) -> None:
    with pytest.raises(InspectionError, match=message):
        Sheet.open(construction, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'area = "engine"',
            'area = "motor"',
            "check 'one': area should be 'identity and papers', .*; got 'motor'",
        ),
        ('role = "mechanical"', 'role = "other"', "check 'one': role should be 'papers', .*; got 'other'"),
        ('role = "mechanical"', 'role = "structure"', "go together"),
        ("weight = 1", "weight = 0", "weight should be greater than 0; got '0'"),
        ("weight = 1", "weight = nan", "weight should be .*; got 'nan'"),
        ("weight = 1", "weight = true", "weight should be a valid number; got 'True'"),
        ("weight = 1", 'weight = 1\ncolour = "x"', "unknown key 'colour'"),
        ('act = "a"', 'act = " "', "act .*; got ' '"),
        ("weight = 1", 'weight = 1\ncaution = "none"', "unknown caution 'none'"),
        (
            "weight = 1",
            'weight = 1\njobs = { sound = ["x"] }',
            "should be 'worn', 'needs repair' or 'structural or missing'; got 'sound'",
        ),
        ("weight = 1", 'weight = 1\njobs = { worn = "x" }', "jobs.worn should be a list; got 'x'"),
        ('id = "one"', 'id = "engine_smoke"', "check 'engine_smoke' is on the sheet already"),
        ('id = "one"', "", "check 1: id is missing"),
        ('make = "A"', "", "make is missing"),
        ('name = "one"', "name = 1", "name should be a text; got '1'"),
        ('name = "one"', 'name = "', "cannot be read as TOML"),
    ],
)
def test_a_sheet_that_makes_no_sense_is_refused_in_one_line(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    (tmp_path / "own.toml").write_text(GOOD.replace(old, new))
    with pytest.raises(InspectionError, match=message) as caught:
        Sheet.open("monocoque", make="A", model="B", extensions=tmp_path)
    assert "\n" not in str(caught.value)


def test_a_good_extension_is_taken(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(GOOD)
    assert Sheet.open("monocoque", make="a", model="b", extensions=tmp_path).check("one").weight == 1.0


def test_shared_checks_stand_in_one_file() -> None:
    own = {path.name for path in SHIPPED.glob("*.toml")}
    assert own == {"common.toml", "separate_chassis.toml", "monocoque.toml"}
