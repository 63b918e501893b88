"""Commands for the walk round a car: ``inspect``. Each opens, calls the library and prints."""

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pricing.cli.commands import Commands, argument, option, takes_seen_car
from pricing.cli.options import LocaleOption, SheetsOption
from pricing.cli.output import answer
from pricing.cli.output import done as report
from pricing.errors import FileError, InspectionError
from pricing.operations.bundled import EXTENSIONS
from pricing.whole_files import write_whole

if TYPE_CHECKING:
    from pricing.condition.assessment import InspectionResult
    from pricing.condition.inspection import Inspection

inspect_app = Commands("inspect", "Go round a car with a sheet of checks, and score it.")

InspectionFile = Annotated[Path, argument("Inspection file (.json).")]
Seed = Annotated[int, option("Seed of the draws.")]


def opened(file: Path, extensions: Path) -> "Inspection":
    """The inspection of a file, with sheets for single models."""
    from pricing.condition.inspection_files import open_inspection

    return open_inspection(file, extensions=extensions)


def assessed(file: Path, extensions: Path, seed: int = 0) -> "InspectionResult":
    """The result of the inspection of a file."""
    from pricing.condition.assessment import assess

    return assess(opened(file, extensions), seed=seed)


@inspect_app.example("pricing inspect start car.json --construction monocoque --make A --model B")
@takes_seen_car
def start(
    car: dict[str, Any],
    file: InspectionFile,
    construction: Annotated[str, option("separate chassis, or monocoque.")],
    fitted: Annotated[list[str] | None, option("hood, overdrive or sunroof, where fitted.")] = None,
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Start an inspection: a file in which nothing has been seen yet."""
    from pricing.condition.inspection import Inspection
    from pricing.condition.inspection_files import save

    if file.exists():
        raise FileError(f"{file}: there is a file of that name already; nothing was written")
    begun = Inspection.start(construction, car, fitted=fitted or (), extensions=extensions)
    save(begun, file)
    checks = len(begun.sheet.checks)
    report({"file": file, "checks": checks}, f"{file}: {checks} checks, none seen yet")


@inspect_app.example("pricing inspect show car.json")
def show(file: InspectionFile, extensions: SheetsOption = EXTENSIONS) -> None:
    """Show every check and what was found."""
    from pricing.cli.printing.decisions import show_inspection

    inspection = opened(file, extensions)
    answer(inspection, lambda: show_inspection(inspection))


@inspect_app.example("pricing inspect fill car.json --from findings.csv")
def fill(
    file: InspectionFile,
    source: Annotated[Path | None, option("Findings (.csv or .json) to fill in.", "--from")] = None,
    check: Annotated[str | None, option("One check, instead of a file.")] = None,
    state: Annotated[str | None, option("What was found at it.")] = None,
    note: Annotated[str, option("Note.")] = "",
    photo: Annotated[str, option("Name of a photo.")] = "",
    seen_by: Annotated[str, option("Who looked.")] = "",
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Fill findings into an inspection, from a file or one at a time."""
    from pricing.condition.inspection import Finding
    from pricing.condition.inspection_files import read_findings, save

    inspection = opened(file, extensions)
    if source is not None and check is None:
        findings = read_findings(source)
    elif source is None and check is not None and state is not None:
        findings = (Finding(check, state, note, photo, seen_by, date.today()),)
    else:
        raise InspectionError("give either --from FILE, or --check with --state")
    filled = inspection.fill(findings)
    save(filled, file)
    facts = {"findings": len(findings), "seen_share": filled.seen_share}
    report(facts, f"{len(findings)} findings filled in; {filled.seen_share:.0%} of what counts is seen")


@inspect_app.example("pricing inspect change car.json 'front discs' --option front_disc_brakes")
def change(
    file: InspectionFile,
    item: Annotated[str, argument("What was changed.")],
    option: Annotated[str, option("Option code it stands for.")] = "",
    period: Annotated[bool, option("Of the car's own time.", "--period/--later")] = False,
    reversible: Annotated[bool, option("Can be undone.", "--reversible/--permanent")] = False,
    done: Annotated[str, option("well, badly, or not seen.")] = "not seen",
    done_by: Annotated[str, option("By whom.")] = "",
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Record one upgrade or other change from the factory state."""
    from pricing.condition.inspection import Change
    from pricing.condition.inspection_files import save

    inspection = opened(file, extensions)
    new = Change(item, option, period, reversible, done, done_by)
    changes = (*(other for other in inspection.changes if other.item != item), new)
    save(replace(inspection, changes=changes), file)
    report({"changes": len(changes)}, f"{len(changes)} changes recorded")


@inspect_app.example("pricing inspect preserve car.json original")
def preserve(
    file: InspectionFile,
    preservation: Annotated[str, argument("authentic, original, restored or rebuilt.")],
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Record how far the car is preserved; it never touches the score."""
    from pricing.condition.inspection_files import save

    save(replace(opened(file, extensions), preservation=preservation), file)
    report({"file": file, "preservation": preservation}, f"{file}: preservation {preservation}")


@inspect_app.example("pricing inspect score car.json")
def score(file: InspectionFile, seed: Seed = 0, extensions: SheetsOption = EXTENSIONS) -> None:
    """Score an inspection: its band, what holds it there, what would lift it, what to look at next."""
    from pricing.cli.printing.decisions import show_result

    result = assessed(file, extensions, seed)
    answer(result, lambda: show_result(result))


@inspect_app.example("pricing inspect print car.json car.html", "print")
def print_sheet(
    file: InspectionFile,
    page: Annotated[Path, argument("Page to write (.html).")],
    result: Annotated[bool, option("With the score as it stands.", "--result/--blank")] = False,
    locale: LocaleOption = "en_GB",
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Write the sheet as a page to print for a clipboard, or to fill in on a phone."""
    from pricing.condition.assessment import assess
    from pricing.reports.inspection_sheet import inspection_page
    from pricing.words.language.locale import LocaleWords

    words, inspection = LocaleWords.of(locale), opened(file, extensions)
    text = inspection_page(inspection, assess(inspection) if result else None, words=words)
    write_whole(page, text.encode())
    report({"file": page}, f"{page}: written")


@inspect_app.example("pricing inspect export car.json findings.csv")
def export(
    file: InspectionFile,
    target: Annotated[Path, argument("File to write (.csv or .json).")],
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Write the findings to a CSV or JSON file."""
    from pricing.condition.inspection_files import save

    save(opened(file, extensions), target)
    report({"file": target}, f"{target}: written")


@inspect_app.example("pricing inspect agreement graded.csv")
def agreement(
    table: Annotated[Path, argument("CSV: inspection (a file beside it), condition_band.")],
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Compare the score rule with bands a market gave, and refit its weights to them."""
    from pricing.condition.agreement import refit
    from pricing.intake.tables.readers import read_whole

    rows = read_whole(table).rows(named=True)
    if not rows or not {"inspection", "condition_band"} <= set(rows[0]):
        raise InspectionError(f"{table}: the columns inspection and condition_band are needed")
    inspections = [opened(table.parent / (row["inspection"] or ""), extensions) for row in rows]
    fitted = refit(inspections, [row["condition_band"] or "" for row in rows])
    weights = fitted.rule.area_weights
    sentences = [
        f"{fitted.cars} cars; weighted kappa {fitted.kappa_given:.3f} as given, {fitted.kappa_refitted:.3f} "
        "refitted (each car graded by a rule fitted without it)",
        *(f"{area}: weight x {weight:.2f}" for area, weight in weights.items()),
    ]
    facts = {"cars": fitted.cars, "kappa_given": fitted.kappa_given, "kappa_refitted": fitted.kappa_refitted}
    answer({**facts, "area_weights": weights}, sentences)
