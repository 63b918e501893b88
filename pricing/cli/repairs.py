"""Commands for the repair budget: ``repair``. Each opens, calls the library and prints."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from pricing.cli.commands import Commands, option
from pricing.cli.inspection import InspectionFile, Seed, assessed
from pricing.cli.options import MarketOption, SheetsOption, fitted_market
from pricing.cli.output import answer
from pricing.decisions.typed_amounts import typed_amount
from pricing.errors import MoneyError
from pricing.operations.bundled import DEMO_CATALOGUE, EXTENSIONS
from pricing.operations.opening import MARKET_FILE

if TYPE_CHECKING:
    import polars as pl

    from pricing.condition.assessment import InspectionResult
    from pricing.condition.repairs import RepairCosts

repair_app = Commands("repair", "Price what an inspection found, and compare with a better car.")

CatalogueFile = Annotated[Path, option("Repair catalogue (TOML).", show_default="invented demo figures")]
Country = Annotated[str, option("Country of the work (ISO 3166-1): labour rates and tax.")]
Quotes = Annotated[Path | None, option("Your own quotes (TOML), in place of the catalogue.")]
Rates = Annotated[
    Path | None, option("Your own rates (CSV: currency, rate_date, rate for one unit of the budget's).")
]


@repair_app.example("pricing repair budget car.json --country GB")
def budget(
    file: InspectionFile,
    country: Country,
    currency: Annotated[str | None, option("Currency to count in (ISO 4217).")] = None,
    least: Annotated[str, option("Put right what is at least this bad.")] = "needs repair",
    catalogue: CatalogueFile = DEMO_CATALOGUE,
    quotes: Quotes = None,
    rates: Rates = None,
    seed: Seed = 0,
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Price the repairs an inspection leads to: P10, P50 and P80, by area, and the items that matter most."""
    from pricing.cli.printing.decisions import show_budget
    from pricing.condition.budget import repair_budget

    result = assessed(file, extensions, seed)
    costs = _costs(result, catalogue, country, currency, quotes, rates, seed)
    repairs = repair_budget(costs, least=least)
    facts = {name: value for name, value in vars(repairs).items() if name != "draws"}
    answer(facts, lambda: show_budget(repairs))


@repair_app.example("pricing repair compare car.json --country GB --asking 3200")
def compare(
    file: InspectionFile,
    country: Country,
    asking: Annotated[str | None, option("What the car costs now, all-in.")] = None,
    least: Annotated[str, option("Put right what is at least this bad.")] = "needs repair",
    market: MarketOption = MARKET_FILE,
    catalogue: CatalogueFile = DEMO_CATALOGUE,
    quotes: Quotes = None,
    rates: Rates = None,
    seed: Seed = 0,
    extensions: SheetsOption = EXTENSIONS,
) -> None:
    """Mend this car or buy a better one: range against range, for each higher band."""
    from pricing.cli.printing.decisions import show_mending
    from pricing.decisions.mending import mend_or_buy
    from pricing.decisions.simulation import simulate

    typed, snapshot = typed_amount(asking, "asking price"), fitted_market(market)
    result = assessed(file, extensions, seed)
    costs = _costs(result, catalogue, country, snapshot.base_currency, quotes, rates, seed)
    at = date.fromisoformat(snapshot.model.facts["last_date"])
    price = None if typed is None else typed.in_base(snapshot, at)
    car = snapshot.car(result.inspection.car)
    drawn = simulate(snapshot.model, car, at, inspection=result, seed=seed)
    mending = mend_or_buy(drawn, costs, asking=price, least=least, seed=seed)
    answer(mending, lambda: show_mending(mending))


def _costs(
    result: "InspectionResult", catalogue: Path, country: str, currency: str | None, quotes: Path | None,
    rates: Path | None, seed: int,
) -> "RepairCosts":  # fmt: skip
    """What every repair of an inspected car would cost."""
    from pricing.condition.catalogue import Catalogue, read_quotes
    from pricing.condition.repairs import price_repairs

    return price_repairs(
        result, Catalogue.open(catalogue), country=country, currency=currency, own_rates=_rates(rates),
        quotes=read_quotes(quotes) if quotes else (), seed=seed,
    )  # fmt: skip


def _rates(path: Path | None) -> "pl.DataFrame | None":
    """The user's own rates, as ``with_rates`` takes them."""
    import polars as pl

    from pricing.intake.tables.readers import read_whole

    if path is None:
        return None
    frame = read_whole(path)
    try:
        return frame.select(
            pl.col("currency"),
            pl.col("rate_date").str.to_date("%Y-%m-%d"),
            pl.col("rate").cast(pl.Decimal(20, 6)),
        )
    except pl.exceptions.PolarsError as error:
        first = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise MoneyError(f"{path}: cannot be read as currency, rate_date, rate: {first}") from error
