"""The commands ``appraise photographs``: add, list, change, take out, and export as they came."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from pricing.cli.appraising.appraisals import ByOption, Name, entry_facts, entry_of, who
from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption
from pricing.cli.output import answer, done
from pricing.errors import AppraisalError
from pricing.operations.opening import MARKET_FILE

if TYPE_CHECKING:
    from pricing.appraisal.record.photographs import Photographs
    from pricing.appraisal.register import Entry
    from pricing.store.market import Market
    from pricing.untrusted.photographs import ReadPhotograph

photographs_app = Commands("photographs", "Photographs of an appraisal: on its cover, beside its findings.")

Number = Annotated[int, argument("Its number, as `photographs list` shows it.")]
Caption = Annotated[str | None, option("What it shows.")]
Check = Annotated[
    str | None, option("The check of the inspection sheet whose finding it shows; '' for none.")
]
Revision = Annotated[int | None, option("Of this revision; else of the last.")]


@photographs_app.example("pricing appraise photographs list appraisal-0001", "list")
def show_list(name: Name, revision: Revision = None, market: MarketOption = MARKET_FILE) -> None:
    """List the photographs of an appraisal, with what is left out of what is shown of each."""
    from pricing.cli.printing.appraisals import show_photographs
    from pricing.operations.appraisal_photographs import photograph_facts

    opened, entry = entry_of(market, name, revision)
    facts = {**entry_facts(entry), "photographs": photograph_facts(opened, entry.record)}
    answer(facts, lambda: show_photographs(entry))


@photographs_app.example(
    "pricing appraise photographs add appraisal-0001 front.jpg --caption 'From the front' --cover"
)
def add(
    name: Name,
    files: Annotated[list[Path] | None, argument("JPEG or PNG.")] = None,
    caption: Caption = None,
    check: Check = None,
    cover: Annotated[bool, option("Show the first of them on the cover.", "--cover")] = False,
    sheet: Annotated[
        bool, option("Those of the inspection sheet, each tied to its finding.", "--of-sheet")
    ] = False,
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Add photographs; the place and whatever else the camera wrote is left out of what is shown."""
    from pricing.appraisal.record.photographs import with_added
    from pricing.appraisal.register import taken_in_for
    from pricing.operations.appraisal_photographs import read_file, with_those_of_sheet

    if not files and not sheet:
        raise AppraisalError("no photograph is named: give files, or take those of the sheet with --of-sheet")
    opened, entry = entry_of(market, name)
    shots, taken = with_those_of_sheet(entry) if sheet else (entry.record.photographs, [])
    for place, file in enumerate(files or []):
        one = read_file(file)
        taken.append(one)
        shots = with_added(
            shots, one, file.name, caption=caption, check=check,
            chassis=taken_in_for(opened, one.digest, entry.record.subject.chassis_number),
            cover=True if cover and place == 0 else None,
        )  # fmt: skip
    if not taken:
        raise AppraisalError(f"{name}: its inspection sheet names no photograph that is not here already")
    reason = f"{len(taken)} photograph{'s' if len(taken) > 1 else ''} added"
    _revise(opened, entry, shots, taken, who(by), reason)


@photographs_app.example(
    "pricing appraise photographs change appraisal-0001 2 --caption 'Left sill' --check sills --to 1"
)
def change(
    name: Name,
    number: Number,
    caption: Caption = None,
    check: Check = None,
    cover: Annotated[bool | None, option("Show it on the cover.")] = None,
    to: Annotated[int | None, option("The number that it is to have.")] = None,
    chassis: Annotated[
        str | None, option("Chassis number of the car that it shows.", show_default=False)
    ] = None,
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Give a photograph another caption, finding, place or the cover."""
    from pricing.appraisal.record.photographs import with_changes

    opened, entry = entry_of(market, name)
    shots = with_changes(
        entry.record.photographs, number, place=to, caption=caption, check=check, cover=cover, chassis=chassis
    )
    _revise(opened, entry, shots, [], who(by), f"photograph {number} changed")


@photographs_app.example("pricing appraise photographs remove appraisal-0001 2")
def remove(name: Name, number: Number, by: ByOption = None, market: MarketOption = MARKET_FILE) -> None:
    """Take a photograph out; earlier revisions keep it."""
    from pricing.appraisal.record.photographs import without

    opened, entry = entry_of(market, name)
    shots = without(entry.record.photographs, number)
    _revise(opened, entry, shots, [], who(by), f"photograph {number} taken out")


@photographs_app.example("pricing appraise photographs export appraisal-0001 originals")
def export(
    name: Name,
    folder: Annotated[Path, argument("A folder to write them to.")],
    number: Annotated[list[int] | None, option("Only those of these numbers.")] = None,
    revision: Revision = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Write the originals as they came, byte for byte, with the place and all else that cameras wrote."""
    from pricing.appraisal.record.photographs import at
    from pricing.operations.appraisal_photographs import write_originals

    opened, entry = entry_of(market, name, revision)
    shots = entry.record.photographs
    at(shots, 1)
    wanted = [(nth, at(shots, nth)) for nth in (number or range(1, len(shots) + 1))]
    written = write_originals(opened, wanted, folder)
    lines = [f"written: {path}  {shot.digest}" for path, (_, shot) in zip(written, wanted, strict=True)]
    done({"files": written, "digests": [shot.digest for _, shot in wanted]}, lines)


def _revise(
    opened: "Market",
    entry: "Entry",
    shots: "Photographs",
    taken: "list[ReadPhotograph]",
    by: str,
    reason: str,
) -> None:
    from pricing.appraisal.register import read, revise
    from pricing.cli.printing.appraisals import show_photographs
    from pricing.operations.appraisal_photographs import photograph_facts

    record = replace(entry.record, photographs=shots)
    if record == entry.record:
        raise AppraisalError(f"{entry.appraisal_id}: nothing is changed, so there is nothing to keep")
    revise(opened, entry, record, entry.evidence, by=by, reason=reason, photographs=taken)
    after = read(opened, entry.appraisal_id)
    facts = {**entry_facts(after), "photographs": photograph_facts(opened, after.record)}
    done(facts, lambda: show_photographs(after))
