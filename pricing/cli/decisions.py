"""Commands for a buyer and a seller: ``buy``, ``sell``. Each opens, calls the library and prints."""

from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pricing.cli.commands import Commands, option, takes_car
from pricing.cli.inspection import assessed
from pricing.cli.options import DayOption, InspectionOption, MarketOption, SheetsOption, fitted_market
from pricing.cli.output import answer, draw, note
from pricing.decisions.typed_amounts import Typed, typed_amount, typed_day
from pricing.errors import DecisionError, MoneyError
from pricing.operations.bundled import DEMO_CHARGES, EXTENSIONS
from pricing.operations.opening import MARKET_FILE, standing_warning
from pricing.whole_files import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable

    from pricing.reports.sheet import PrintedSheet
    from pricing.snapshot import Snapshot
    from pricing.words.language.locale import LocaleWords

decision_app = Commands()

ScheduleOption = Annotated[
    Path | None, option("Dated charges (TOML); 'example' takes the invented ones that ship.")
]
CurrencyOption = Annotated[
    str | None, option("Currency of the amounts typed (ISO 4217); without it, the market's base currency.")
]
WorkOption = Annotated[str | None, option("Country of the repairs (ISO 3166-1), to price an inspection's.")]
QuoteOption = Annotated[
    list[str] | None,
    option("JOB=amount, tax in, in the market's currency: replaces the estimate of one repair."),
]
SeedOption = Annotated[int, option("Seed of the simulation.")]
SheetOption = Annotated[Path | None, option("Write the one-page sheet (.html, or .pdf).")]
SheetLocaleOption = Annotated[
    str | None, option("Language and country of the sheet, such as de_CH; plain English when not said.")
]
SheetPaperOption = Annotated[str, option("Paper of a .pdf sheet: a4 or letter.")]


@decision_app.example(
    "pricing buy --make Wexcombe --model Sedge --year 1966 --condition-band average "
    "--channel private --asking 4650 --certainty 0.7"
)
@takes_car
def buy(
    car: dict[str, Any],
    certainty: Annotated[float, option("How sure to be that the car would fetch what it costs, 0 to 1.")],
    asking: Annotated[
        str | None, option("Price asked (at an auction: a hammer price), such as 4650 or 'GBP 3900'.")
    ] = None,
    opening: Annotated[
        float | None, option("The same certainty for the opening offer; else halfway to 1.")
    ] = None,
    repairs: Annotated[str | None, option("What the car needs spent at once.")] = None,
    transport: Annotated[str | None, option("To bring it home.")] = None,
    import_from: Annotated[
        str | None, option("Source of import duty and tax in the charges, such as a country.")
    ] = None,
    step: Annotated[str | None, option("Between bids; without it, customary steps.")] = None,
    charges: ScheduleOption = None,
    currency: CurrencyOption = None,
    inspection: InspectionOption = None,
    sheets: SheetsOption = EXTENSIONS,
    work_in: WorkOption = None,
    as_of: DayOption = None,
    quote: QuoteOption = None,
    least: Annotated[
        str, option("Of an inspected car all is put right that is at least this bad.")
    ] = "needs repair",
    other_body_style: Annotated[str | None, option("Body style of other cars looked for.")] = None,
    other_drive_side: Annotated[str | None, option("Drive side of other cars: left or right.")] = None,
    other_country: Annotated[str | None, option("Country where other cars were sold.")] = None,
    other_from: Annotated[int | None, option("First model year of other cars.")] = None,
    other_to: Annotated[int | None, option("Last model year of others.")] = None,
    seed: SeedOption = 0,
    sheet: SheetOption = None,
    locale: SheetLocaleOption = None,
    paper: SheetPaperOption = "a4",
    chart: Annotated[Path | None, option("Draw the limits into a .svg, .png, .html or .json file.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """From a range to a decision for a buyer: a verdict on the price, what the car comes to until it stands
    ready, what to offer and where to stop, what to say, bids, and what else the money buys."""
    from pricing.cli.printing.decisions import show_buying
    from pricing.decisions.buy.alternatives import Wanted
    from pricing.decisions.buy.buying import BuyerTerms, buy_car
    from pricing.operations.settings import settings_of

    amounts = {
        "asking price": asking, "cost of repairs": repairs, "cost of transport": transport,
        "step between bids": step,
    }  # fmt: skip
    typed, day = [typed_amount(text, name) for name, text in amounts.items()], typed_day(as_of)
    snapshot = fitted_market(market, day)
    money = one_currency(typed, currency, snapshot.base_currency)
    asked, cost, freight, between = map(_plain, typed)
    terms = BuyerTerms(
        money, certainty, opening, freight, cost, between, import_from, least,
        Wanted(other_body_style, other_drive_side, other_from, other_to, other_country),
    )  # fmt: skip
    inputs = _inputs(snapshot, day, charges, inspection, sheets, work_in, quote or [])
    facts = buy_car(
        snapshot, snapshot.model, snapshot.car(car, day), terms, asking=asked, seed=seed,
        limits=settings_of(snapshot).verdict_limits, indexed=snapshot.indexed, **inputs,
    )  # fmt: skip
    if sheet is not None:
        from pricing.reports.buying_sheet import buying_sheet

        _write_sheet(partial(buying_sheet, facts), snapshot, locale, sheet, paper)
    if chart is not None:
        from pricing.charts.buying import limits_chart

        draw(limits_chart(facts), chart)
    answer(facts.to_dict(), lambda: show_buying(facts))


@decision_app.example(
    "pricing sell --make Wexcombe --model Sedge --year 1966 --condition-band average "
    "--charges example --discount 0.02"
)
@takes_car
def sell(
    car: dict[str, Any],
    keep_value: Annotated[str | None, option("What the car is worth to you unsold.")] = None,
    reserve: Annotated[str | None, option("Reserve to look at (hammer price).")] = None,
    low_estimate: Annotated[str | None, option("Low estimate proposed.")] = None,
    high_estimate: Annotated[str | None, option("High estimate proposed.")] = None,
    asking: Annotated[str | None, option("Asking price, private or at a dealer.")] = None,
    floor: Annotated[str | None, option("The lowest price to ask in the end.")] = None,
    bidders: Annotated[
        int | None, option("Bidders in the room, for a reserve that may raise the price.")
    ] = None,
    paper: Annotated[
        list[str] | None, option("PAPER=cost of getting it: 'history file=80', 'numbers documented=150'.")
    ] = None,
    discount: Annotated[
        float | None, option("Share by which money a month later is worth less: how soon it is wanted.")
    ] = None,
    charges: ScheduleOption = None,
    currency: CurrencyOption = None,
    inspection: InspectionOption = None,
    sheets: SheetsOption = EXTENSIONS,
    work_in: WorkOption = None,
    quote: QuoteOption = None,
    as_of: DayOption = None,
    seed: SeedOption = 0,
    sheet: SheetOption = None,
    locale: SheetLocaleOption = None,
    paper_size: SheetPaperOption = "a4",
    chart: Annotated[
        Path | None, option("Draw net proceeds by channel into a .svg, .png, .html file.")
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """From a range to a decision for a seller: where to sell, what to ask and expect, reserve and estimate,
    how to come down, and what is worth doing first."""
    from pricing.cli.printing.decisions import show_selling
    from pricing.decisions.sell.seller_terms import DISCOUNT, SellerTerms
    from pricing.decisions.sell.selling import sell_car
    from pricing.decisions.sell.selling_evidence import selling_evidence

    amounts = {
        "worth unsold": keep_value, "reserve": reserve, "low estimate": low_estimate,
        "high estimate": high_estimate, "asking price": asking, "lowest price": floor,
    }  # fmt: skip
    typed = [typed_amount(text, name) for name, text in amounts.items()]
    papers, day = _papers(paper or []), typed_day(as_of)
    snapshot = fitted_market(market, day)
    money = one_currency(typed, currency, snapshot.base_currency)
    monthly = DISCOUNT if discount is None else discount
    unsold, hammer, low, high, asked, lowest = map(_plain, typed)
    terms = SellerTerms(money, unsold, hammer, low, high, asked, lowest, bidders, papers, monthly)
    inputs = _inputs(snapshot, day, charges, inspection, sheets, work_in, quote or [])
    evidence = selling_evidence(snapshot, snapshot.model, day)
    subject = snapshot.car(car, day)
    facts = sell_car(snapshot, snapshot.model, subject, terms, evidence=evidence, seed=seed, **inputs)
    if sheet is not None:
        from pricing.reports.selling_sheet import selling_sheet

        _write_sheet(partial(selling_sheet, facts), snapshot, locale, sheet, paper_size)
    if chart is not None:
        from pricing.charts.selling import proceeds_chart

        draw(proceeds_chart(facts), chart)
    answer(facts.to_dict(), lambda: show_selling(facts))


def _inputs(
    snapshot: "Snapshot", day: date | None, charges: Path | None, inspection: Path | None, sheets: Path,
    work_in: str | None, quotes: list[str],
) -> dict[str, Any]:  # fmt: skip
    """What both decisions take alike: the charges of a file, of which ``example`` is the invented one that
    ships; an inspection with its repairs, priced where the work is to be done."""
    from pricing.money.charges import read_schedule
    from pricing.operations.settings import repairs_in_force

    costs = schedule = None
    result = None if inspection is None else assessed(inspection, sheets)
    if charges is not None:
        schedule = read_schedule(DEMO_CHARGES if str(charges) == "example" else charges)
    if result is not None and work_in is not None:
        costs = repairs_in_force(snapshot, result, work_in, own_quotes(quotes))
    own_rates = snapshot.state.own_rates
    return {"as_of": day, "schedule": schedule, "inspection": result, "costs": costs, "own_rates": own_rates}


def one_currency(typed: Sequence[Typed | None], code: str | None, base: str) -> str:
    """The currency of every amount typed: the one named, else the one typed beside them, else the market's.

    Raises:
        MoneyError: two amounts are in different currencies.
    """
    codes = {amount.currency for amount in typed if amount is not None and amount.currency}
    codes |= set() if code is None else {code.upper()}
    if len(codes) > 1:
        raise MoneyError(f"all amounts of one offer are in one currency; got {', '.join(sorted(codes))}")
    return codes.pop() if codes else base


def _plain(typed: Typed | None) -> Decimal | None:
    return None if typed is None else typed.amount


def _papers(typed: list[str]) -> dict[str, Decimal]:
    from pricing.decisions.sell.what_ifs import PAPERS

    names = [name for name, _ in PAPERS]
    papers = {}
    for text in typed:
        name, _, cost = text.partition("=")
        amount = typed_amount(cost, f"cost of {name}") if name in names else None
        if amount is None:
            raise DecisionError(f"no such paper: got {text!r}, expected PAPER=cost of: {', '.join(names)}")
        papers[name] = amount.amount
    return papers


def own_quotes(typed: list[str]) -> dict[str, Decimal]:
    """Quotes as typed, ``JOB=amount``.

    Raises:
        DecisionError: one is none.
    """
    quotes = {}
    for text in typed:
        job, _, cost = text.partition("=")
        amount = typed_amount(cost, f"quote for {job}")
        if amount is None or not job or amount.currency is not None:
            raise DecisionError(f"no quote: got {text!r}, expected JOB=amount in the market's currency")
        quotes[job.strip()] = amount.amount
    return quotes


def _write_sheet(
    sheet: "Callable[[str | None, LocaleWords], PrintedSheet]",
    snapshot: "Snapshot",
    locale: str | None,
    path: Path,
    paper: str,
) -> None:
    """Write a sheet as HTML, or as PDF by its ending, in the words of a locale."""
    from pricing.reports.sheet import sheet_html, sheet_pdf
    from pricing.words.language.locale import PLAIN, LocaleWords

    words = PLAIN if locale is None else LocaleWords.of(locale)
    made = sheet(standing_warning(snapshot.state, words), words)
    write_whole(path, sheet_pdf(made, paper) if path.suffix == ".pdf" else sheet_html(made).encode())
    note(f"written to {path}")
