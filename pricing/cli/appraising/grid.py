"""The commands ``appraise grid`` and ``choose``: comparables by number, and choices on them as typed."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

from pricing.cli.appraising.appraisals import ByOption, Name, entry_facts, entry_of, report, who
from pricing.cli.commands import Commands, option
from pricing.cli.options import MarketOption
from pricing.cli.output import answer
from pricing.cli.printing.console import progress
from pricing.errors import AppraisalError
from pricing.operations.opening import MARKET_FILE

if TYPE_CHECKING:
    from pricing.appraisal.grid import Decision

grid_app = Commands()

Search = Annotated[str | None, option("Look for sales to add, by words of their record.")]


@grid_app.example("pricing appraise grid appraisal-0001 --search 'sedge 2025'")
def grid(name: Name, search: Search = None, market: MarketOption = MARKET_FILE) -> None:
    """Show the comparables of an appraisal by number, or look for sales to add."""
    from pricing.appraisal.grid import found_sales
    from pricing.cli.printing.appraisals import show_grid, show_matches

    opened, entry = entry_of(market, name)
    at = entry.record.assignment.effective_date
    if search is not None and at is not None:
        sales = found_sales(opened.sales(as_of=at), search, at)
        answer(sales, lambda: show_matches(sales))
        return
    table = None if entry.evidence is None else entry.evidence.comparables
    if table is None:
        raise AppraisalError(f"{name}: there are no comparables to show")
    answer({**entry_facts(entry), "comparables": table.table}, lambda: show_grid(table))


@grid_app.example("pricing appraise choose appraisal-0001 --drop 3 --reason 'sold as a wreck'")
def choose(
    name: Name,
    add: Annotated[list[str] | None, option("Record of a sale to add.")] = None,
    drop: Annotated[list[str] | None, option("Number of a comparable to drop.")] = None,
    weigh: Annotated[list[str] | None, option("number=per cent of the weight it would have.")] = None,
    adjust: Annotated[list[str] | None, option("number:line=per cent, in place of the grid's.")] = None,
    clear: Annotated[bool, option("Take back every choice.", "--clear")] = False,
    reason: Annotated[str, option("Why; stands in the document.")] = "",
    by: ByOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep choices on comparables in the record, and gather the evidence anew for them."""
    from pricing.appraisal.grid import with_choices
    from pricing.operations.appraisal_files import revised

    opened, entry = entry_of(market, name)
    base = replace(entry.record, choices=()) if clear else entry.record
    choices = decisions(add or [], drop or [], weigh or [], adjust or [])
    record = with_choices(replace(entry, record=base), choices, reason)
    why = reason if reason else "choices taken back"
    revised(opened, entry, record, by=who(by), reason=why, anew=True, display=progress)
    report(opened, name)


def decisions(
    add: Sequence[str], drop: Sequence[str], weigh: Sequence[str], adjust: Sequence[str]
) -> "list[Decision]":
    """The decisions that options say.

    >>> [choice.which for choice in decisions([], ["3"], ["1=50"], ["2:year=-4"])]
    ['3', '1', '2']

    Raises:
        AppraisalError: one is not written as asked for.
    """
    from pricing.appraisal.grid import Decision

    made = [Decision("add", which) for which in add] + [Decision("drop", which) for which in drop]
    for text in weigh:
        which, _, size = text.partition("=")
        made.append(Decision("weigh", which, None, _per_cent("--weigh", text, size)))
    for text in adjust:
        where, _, size = text.rpartition("=")
        which, _, line = where.partition(":")
        made.append(Decision("adjust", which, line, _per_cent("--adjust", text, size)))
    return made


def _per_cent(option: str, text: str, size: str) -> float:
    try:
        return float(size)
    except ValueError:
        how = "number=per cent" if option == "--weigh" else "number:line=per cent"
        raise AppraisalError(f"{option} is written {how}; got {text!r}") from None
