"""Commands for the written appraisal: ``appraise``. Each opens, calls the library and prints."""

import getpass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pricing.appraisal.bases import BASES
from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import LocaleOption, MarketOption, PaperOption
from pricing.cli.output import answer, done
from pricing.cli.printing.console import progress
from pricing.errors import AppraisalError, FileError
from pricing.operations.opening import MARKET_FILE, open_market
from pricing.reports.formats.blocks import Pages
from pricing.whole_files import write_whole

if TYPE_CHECKING:
    from pricing.appraisal.register import Entry
    from pricing.store.market import Market

appraise_app = Commands("appraise", "Write an appraisal: the record, its evidence, its documents.")

ByOption = Annotated[
    str | None, option("Who does this; goes into the log.", "--by", show_default="your user name")
]
ReasonOption = Annotated[str, option("Why; goes into the log.")]
Name = Annotated[str, argument("Its id, as `pricing appraise list` shows it.")]


@appraise_app.example("pricing appraise new car.toml --by 'A. Valuer'")
def new(
    form: Annotated[Path, argument("A form (TOML).")],
    blank: Annotated[bool, option("Write a blank form to fill in, and enter nothing.", "--blank")] = False,
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Enter an appraisal from a form, and freeze the evidence for it."""
    from pricing.appraisal.record.form import read_form, write_form
    from pricing.appraisal.record.record import Appraisal
    from pricing.appraisal.register import enter
    from pricing.operations.appraisal_files import evidence_for
    from pricing.operations.appraisal_photographs import taken_in

    if blank:
        if form.exists():
            raise FileError(f"{form}: there is a file of that name already; nothing was written")
        write_form(Appraisal(), form)
        done({"form": form}, f"{form}: a blank form")
        return
    filled = read_form(form)
    opened = open_market(market)
    record, photographs = taken_in(filled, opened)
    evidence = evidence_for(market, record, display=progress)
    (name,) = enter(opened, [(record, evidence)], by=who(by), photographs=photographs)
    report(opened, name)


@appraise_app.example("pricing appraise edit appraisal-0001 --set opinion.figure=4600")
def edit(
    name: Name,
    form: Annotated[Path | None, option("Take the whole record from a form.")] = None,
    answers: Annotated[list[str] | None, option("section.field=answer; may be repeated.", "--set")] = None,
    write: Annotated[Path | None, option("Write the record as a form, and change nothing.")] = None,
    again: Annotated[bool, option("Gather the evidence anew.", "--gather")] = False,
    reason: ReasonOption = "edited",
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Change an appraisal: a revision that keeps the one before, with its evidence where that still fits."""
    from pricing.appraisal.record.form import read_form, write_form
    from pricing.appraisal.record.record import with_answer
    from pricing.operations.appraisal_files import revised
    from pricing.operations.appraisal_photographs import taken_in

    opened, before = entry_of(market, name)
    if write is not None:
        write_form(before.record, write)
        done({"form": write}, f"{write}: revision {before.revision} of {name} as a form")
        return
    record, photographs = (before.record, []) if form is None else taken_in(read_form(form), opened)
    for typed in answers or []:
        field, equals, text = typed.partition("=")
        if not equals:
            raise AppraisalError(f"--set is written section.field=answer; got {typed!r}")
        record = with_answer(record, field.strip(), text)
    revised(
        opened, before, record, by=who(by), reason=reason, anew=again, photographs=photographs,
        display=progress,
    )  # fmt: skip
    report(opened, name)


@appraise_app.example("pricing appraise check appraisal-0001")
def check(name: Name, market: MarketOption = MARKET_FILE) -> None:
    """Say what the record lacks and where it contradicts itself; exit code 1 while it does either."""
    from pricing.cli.printing.appraisals import show_open_points

    _, entry = entry_of(market, name)
    facts = entry_facts(entry)
    answer(facts, lambda: show_open_points(entry))
    if facts["missing"] or facts["contradictions"]:
        raise typer.Exit(1)


@appraise_app.example("pricing appraise complete appraisal-0001 --by 'A. Valuer' --certify facts=confirmed")
def complete(
    name: Name,
    by: Annotated[str, option("The valuer's own name, as the record has it.")],
    certify: Annotated[
        list[str] | None, option("point=answer in the valuer's words; for each point.")
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Complete an appraisal as its valuer: every point of the certification answered, nothing missing."""
    from pricing.appraisal.completion import complete as complete_appraisal

    opened, entry = entry_of(market, name)
    answers = {point.strip(): text for point, _, text in (typed.partition("=") for typed in certify or [])}
    complete_appraisal(opened, entry, answers, name=by, by=by)
    report(opened, name)


@appraise_app.example("pricing appraise render appraisal-0001 car.pdf --paper letter")
def render(
    name: Name,
    files: Annotated[list[Path], argument("To write: .pdf, .docx.")],
    document: Annotated[
        str, option("report, statement (insurance, 2 pages) or letter (market, 2 pages).")
    ] = "report",
    paper: PaperOption = "a4",
    locale: LocaleOption = "en_GB",
    revision: Annotated[int | None, option("Of this revision; else of the last.")] = None,
    figures: Annotated[int, option("Significant figures of estimated amounts.", min=2, max=9)] = 3,
    unfinished: Annotated[
        bool, option("Also while something is missing, from the first answer on.", "--unfinished")
    ] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Write the documents of an appraisal from the evidence frozen with it."""
    from pricing.reports.documents import document as pages_of
    from pricing.words.language.locale import LocaleWords

    _, entry = entry_of(market, name, revision)
    pages = pages_of(entry, document, LocaleWords.of(locale, figures), unfinished=unfinished)
    for file in files:
        write_whole(file, _document(file, pages, paper, entry.record.assignment.report_date))
    done({"files": files}, [f"written: {file}" for file in files])


@appraise_app.example("pricing appraise bases")
def bases() -> None:
    """Show the bases of value: what each means, where it is defined, which premises and levels go with it."""
    from pricing.cli.printing.appraisals import show_bases

    answer(BASES, show_bases)


@appraise_app.example("pricing appraise list", "list")
def show_list(
    name: Annotated[str | None, argument("Of one appraisal: every revision, who changed what.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List the appraisals of the market file, or the log of one."""
    from pricing.appraisal.register import history, listed
    from pricing.cli.printing.appraisals import show_appraisals, show_history

    if name is None:
        entries = listed(open_market(market))
        answer(entries, lambda: show_appraisals(entries))
    else:
        opened, entry = entry_of(market, name)
        log = history(opened, name)
        answer({**entry_facts(entry), "history": log}, lambda: show_history(entry, log))


def _document(file: Path, pages: "Pages", paper: str, day: date | None) -> bytes:
    from pricing.reports.formats.docx import docx
    from pricing.reports.formats.pdf import pdf

    if file.suffix.lower() == ".pdf":
        return pdf(pages, paper, day)
    if file.suffix.lower() == ".docx":
        return docx(pages, paper, day)
    raise FileError(f"{file}: a document is written as .pdf or .docx")


def entry_of(market: Path, name: str, revision: int | None = None) -> "tuple[Market, Entry]":
    """An opened market and a revision of one of its appraisals, the last unless one is named."""
    from pricing.appraisal.register import read

    opened = open_market(market)
    return opened, read(opened, name, revision)


def report(opened: "Market", name: str) -> None:
    """Print what became of an appraisal: its last revision."""
    from pricing.appraisal.register import read
    from pricing.cli.printing.appraisals import show_entry

    entry = read(opened, name)
    done(entry_facts(entry), lambda: show_entry(entry))


def entry_facts(entry: "Entry") -> dict[str, Any]:
    """What programs are told of an entry."""
    from pricing.appraisal.contents import missing
    from pricing.operations.appraisal_files import revision_facts

    lacking = missing(entry.record, entry.evidence)
    return {**revision_facts(entry), "missing": [content.name for content in lacking]}


def who(by: str | None) -> str:
    """Who does this: as said, else the name of the user of this machine."""
    if by is not None:
        return by
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        raise AppraisalError("who does this is not known: say it with --by") from None
