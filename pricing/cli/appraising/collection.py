"""The command ``appraise bulk``: a list of cars valued on the same terms."""

from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

from pricing.cli.appraising.appraisals import ByOption, who
from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import LocaleOption, MarketOption, PaperOption
from pricing.cli.output import done
from pricing.cli.printing.console import progress
from pricing.errors import AppraisalError
from pricing.operations.opening import MARKET_FILE, open_market
from pricing.whole_files import write_whole

collection_app = Commands()


@collection_app.example("pricing appraise bulk cars.xlsx --form shared.toml --out values")
def bulk(
    cars: Annotated[Path, argument("Spreadsheet, a car a row.")],
    form: Annotated[Path, option("Form with the terms that all of them share.")],
    out: Annotated[Path, option("Folder for schedule.xlsx and schedule.pdf.")],
    off_at_once: Annotated[
        float | None,
        option("Share that selling all at once takes off, such as 0.1: a judgement, with --because."),
    ] = None,
    because: Annotated[str, option("What that judgement rests on.")] = "",
    paper: PaperOption = "a4",
    locale: LocaleOption = "en_GB",
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Value a collection: a schedule as a workbook, and one bound PDF.

    A row with figure, or low and high, is entered as a draft appraisal, the others as model reports; a row's
    inspection_sheet is a file beside the list, its photographs a folder of JPEG and PNG files there.
    """
    from decimal import Decimal

    from pricing.appraisal.collection import total_of, value_collection
    from pricing.appraisal.collection_list import read_cars
    from pricing.appraisal.collection_total import SoldTogether
    from pricing.appraisal.record.form import read_form
    from pricing.cli.printing.appraisals import show_collection
    from pricing.decisions.plain import plain
    from pricing.operations.appraisal_files import inspected, known_on
    from pricing.operations.appraisal_photographs import folder_reader
    from pricing.reports.collection import collection_pages
    from pricing.reports.formats.pdf import pdf
    from pricing.reports.schedule import schedule
    from pricing.words.language.locale import LocaleWords

    shared, words = read_form(form), LocaleWords.of(locale)
    at = shared.assignment.effective_date
    if at is None:
        raise AppraisalError(f"{form}: assignment.effective_date is needed")
    together = None if off_at_once is None else SoldTogether(Decimal(repr(off_at_once)), because)
    listed = read_cars(cars)
    out.mkdir(parents=True, exist_ok=True)
    day = shared.assignment.report_date
    with progress() as tell:
        known = known_on(market, at, shared.evidence.fit, lambda: nullcontext(tell))
        opened = open_market(market)
        items = value_collection(
            opened, known, shared, listed,
            by=who(by), inspect=inspected, take_in=folder_reader(opened), progress=tell,
        )  # fmt: skip
        total = total_of(items, together)
        write_whole(out / "schedule.xlsx", schedule(shared, items, total, words, at if day is None else day))
        pages = collection_pages(shared, items, total, words, tell)
        write_whole(out / "schedule.pdf", pdf(pages, paper, day, tell))
    refused = [
        {"row": item.row.number, "reference": item.row.reference, "reason": item.reason}
        for item in items
        if item.facts is None
    ]
    files = [out / "schedule.xlsx", out / "schedule.pdf"]
    facts = {"files": files, "valued": len(items) - len(refused), "refused": refused, "total": plain(total)}
    done(facts, lambda: show_collection(items, total, shared.assignment.currency))
