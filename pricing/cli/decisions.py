"""Commands for a buyer and a seller: ``buy``, ``sell``. Each opens, calls the library and prints."""

from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pricing.cli.car_options import takes_car
from pricing.cli.evidence_files import draw
from pricing.cli.market_option import MarketOption, fitted_market
from pricing.cli.output import answer, note
from pricing.cli.typed_amounts import Typed, typed_amount, typed_day
from pricing.errors import DecisionError, FileError, MoneyError
from pricing.operations.demo_files import DEMO_CATALOGUE, DEMO_CHARGES, EXTENSIONS
from pricing.operations.opening import MARKET_FILE

if TYPE_CHECKING:
    from pricing.condition.assessment import InspectionResult
    from pricing.condition.repairs import RepairCosts
    from pricing.money.charges import Schedule

decision_app = typer.Typer()

InspectionOption = Annotated[
    Path | None, typer.Option("--inspection", help="Inspection file (.json), in place of a condition.")
]
SheetsOption = Annotated[
    Path, typer.Option("--sheets", help="Folder of sheets for single models.", show_default="demo sheets")
]
ScheduleOption = Annotated[
    Path | None,
    typer.Option("--charges", help="Dated charges (TOML); 'example' takes the invented ones that ship."),
]
CurrencyOption = Annotated[
    str | None,
    typer.Option(help="Currency of the amounts typed (ISO 4217); without it, the market's base currency."),
]
WorkOption = Annotated[
    str | None,
    typer.Option("--work-in", help="Country of the repairs (ISO 3166-1), to price an inspection's."),
]
DayOption = Annotated[
    str | None, typer.Option("--as-of", help="Effective date (YYYY-MM-DD); else the last on record.")
]


@decision_app.command(
    epilog="Example: pricing buy --make Wexcombe --model Sedge --year 1966 --condition-band average "
    "--channel private --asking 4650 --certainty 0.7"
)
@takes_car
def buy(
    car: dict[str, Any],
    certainty: Annotated[
        float, typer.Option(help="How sure to be that the car would fetch what it costs, 0 to 1.")
    ],
    asking: Annotated[
        str | None,
        typer.Option(help="Price asked (at an auction: a hammer price), such as 4650 or 'GBP 3900'."),
    ] = None,
    opening: Annotated[
        float | None, typer.Option(help="The same certainty for the opening offer; else halfway to 1.")
    ] = None,
    repairs: Annotated[str | None, typer.Option(help="What the car needs spent at once.")] = None,
    transport: Annotated[str | None, typer.Option(help="To bring it home.")] = None,
    import_from: Annotated[
        str | None, typer.Option(help="Source of import duty and tax in the charges, such as a country.")
    ] = None,
    step: Annotated[str | None, typer.Option(help="Between bids; without it, customary steps.")] = None,
    charges: ScheduleOption = None,
    currency: CurrencyOption = None,
    inspection: InspectionOption = None,
    sheets: SheetsOption = EXTENSIONS,
    work_in: WorkOption = None,
    as_of: DayOption = None,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", help="Write the one-page sheet to take along (.html).")
    ] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", help="Draw the limits into a .svg, .png, .html or .json file.")
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """From a range to a decision for a buyer: standing, day-one cost, walk-away price, bids, and the same
    money elsewhere."""
    from pricing.cli.decision_terminal import show_buying
    from pricing.decisions.buying import BuyerTerms, buy_car

    typed = {
        "asking price": typed_amount(asking, "asking price"),
        "repairs": typed_amount(repairs, "cost of repairs"),
        "transport": typed_amount(transport, "cost of transport"),
        "step": typed_amount(step, "step between bids"),
    }
    day = typed_day(as_of)
    snapshot = fitted_market(market, day)
    money = one_currency(typed, currency, snapshot.base_currency)
    seen = assessed(inspection, sheets)
    terms = BuyerTerms(
        money, certainty, opening, transport=_plain(typed["transport"]), repairs=_plain(typed["repairs"]),
        step=_plain(typed["step"]), import_from=import_from,
    )  # fmt: skip
    facts = buy_car(
        snapshot, snapshot.model, snapshot.car(car, day), terms, asking=_plain(typed["asking price"]),
        schedule=schedule_of(charges), inspection=seen,
        costs=_costs(seen, work_in, snapshot.base_currency), as_of=day, own_rates=snapshot.state.own_rates,
    )  # fmt: skip
    if sheet is not None:
        from pricing.reports.buying_sheet import buying_page

        _write(buying_page(facts), sheet)
    if chart is not None:
        from pricing.charts.buying import limits_chart

        draw(limits_chart(facts), chart)
    answer(facts.to_dict(), lambda: show_buying(facts))


@decision_app.command(
    epilog="Example: pricing sell --make Wexcombe --model Sedge --year 1966 --condition-band average "
    "--keep-value 3000 --charges example"
)
@takes_car
def sell(
    car: dict[str, Any],
    keep_value: Annotated[str | None, typer.Option(help="What the car is worth to you unsold.")] = None,
    reserve: Annotated[str | None, typer.Option(help="Reserve to look at (hammer price).")] = None,
    low_estimate: Annotated[str | None, typer.Option(help="Low estimate proposed.")] = None,
    high_estimate: Annotated[str | None, typer.Option(help="High estimate proposed.")] = None,
    asking: Annotated[str | None, typer.Option(help="Asking price, private or at a dealer.")] = None,
    floor: Annotated[str | None, typer.Option(help="The lowest price to ask in the end.")] = None,
    bidders: Annotated[
        int | None, typer.Option(help="Bidders in the room, for a reserve that may raise the price.")
    ] = None,
    paper: Annotated[
        list[str] | None,
        typer.Option(help="PAPER=cost of getting it: 'history file=80', 'numbers documented=150'."),
    ] = None,
    charges: ScheduleOption = None,
    currency: CurrencyOption = None,
    inspection: InspectionOption = None,
    sheets: SheetsOption = EXTENSIONS,
    work_in: WorkOption = None,
    as_of: DayOption = None,
    chart: Annotated[
        Path | None,
        typer.Option("--chart", help="Draw net proceeds by channel into a .svg, .png, .html file."),
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """From a range to a decision for a seller: net proceeds by channel, reserve and estimate, asking price,
    and what is worth doing first."""
    from pricing.cli.decision_terminal import show_selling
    from pricing.decisions.seller_terms import SellerTerms
    from pricing.decisions.selling import sell_car, selling_evidence

    typed = {
        name: typed_amount(text, name)
        for name, text in (
            ("worth unsold", keep_value), ("reserve", reserve), ("low estimate", low_estimate),
            ("high estimate", high_estimate), ("asking price", asking), ("lowest price", floor),
        )
    }  # fmt: skip
    papers = _papers(paper or [])
    day = typed_day(as_of)
    snapshot = fitted_market(market, day)
    money = one_currency(typed, currency, snapshot.base_currency)
    said = dict(zip(typed, map(_plain, typed.values()), strict=True))
    terms = SellerTerms(
        money, said["worth unsold"], said["reserve"], said["low estimate"], said["high estimate"],
        said["asking price"], said["lowest price"], bidders, papers,
    )  # fmt: skip
    seen = assessed(inspection, sheets)
    facts = sell_car(
        snapshot, snapshot.model, snapshot.car(car, day), terms,
        evidence=selling_evidence(snapshot, snapshot.model, day),
        schedule=schedule_of(charges), inspection=seen,
        costs=_costs(seen, work_in, snapshot.base_currency), as_of=day, own_rates=snapshot.state.own_rates,
    )  # fmt: skip
    if chart is not None:
        from pricing.charts.selling import proceeds_chart

        draw(proceeds_chart(facts), chart)
    answer(facts.to_dict(), lambda: show_selling(facts))


def assessed(path: Path | None, sheets: Path) -> "InspectionResult | None":
    """The result of an inspection file, if one was named."""
    if path is None:
        return None
    from pricing.condition.assessment import assess
    from pricing.condition.inspection_files import open_inspection

    return assess(open_inspection(path, extensions=sheets))


def schedule_of(path: Path | None) -> "Schedule | None":
    """The charges of a file; ``example`` is the invented file that ships."""
    from pricing.money.charges import read_schedule

    if path is None:
        return None
    return read_schedule(DEMO_CHARGES if str(path) == "example" else path)


def one_currency(typed: dict[str, Typed | None], said: str | None, base: str) -> str:
    """The currency of every amount typed: the one said, else the one typed beside them, else the market's.

    Raises:
        MoneyError: two amounts are in different currencies.
    """
    beside = {name: found.currency for name, found in typed.items() if found is not None and found.currency}
    codes = {*beside.values(), *([] if said is None else [said.upper()])}
    if len(codes) > 1:
        raise MoneyError(f"all amounts of one offer are in one currency; got {', '.join(sorted(codes))}")
    return codes.pop() if codes else base


def _plain(typed: Typed | None) -> Decimal | None:
    return None if typed is None else typed.amount


def _papers(typed: list[str]) -> dict[str, Decimal]:
    from pricing.decisions.first_jobs import PAPERS

    names = [name for name, _ in PAPERS]
    papers = {}
    for text in typed:
        name, _, cost = text.partition("=")
        found = typed_amount(cost, f"cost of {name}") if name in names else None
        if found is None:
            raise DecisionError(f"no such paper: got {text!r}, expected PAPER=cost of: {', '.join(names)}")
        papers[name] = found.amount
    return papers


def _costs(seen: "InspectionResult | None", country: str | None, base: str) -> "RepairCosts | None":
    """The repairs of an inspection, priced where the work is to be done."""
    if seen is None or country is None:
        return None
    from pricing.condition.catalogue import Catalogue
    from pricing.condition.repairs import price_repairs

    return price_repairs(seen, Catalogue.open(DEMO_CATALOGUE), country=country, currency=base)


def _write(page: str, path: Path) -> None:
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as error:
        raise FileError(f"{path}: cannot be written: {error.strerror}") from None
    note(f"written to {path}")
