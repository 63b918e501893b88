"""The command line: each command opens a market, calls the library and prints.

Heavy libraries are imported by the commands that need them, so that ``--help`` and a slip of the finger are
answered at once.
"""

import json
import os
import sys
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Final

import typer
from typer.exceptions import TyperException

from pricing.cli.appraising.appraisals import appraise_app
from pricing.cli.appraising.collection import collection_app
from pricing.cli.appraising.grid import grid_app
from pricing.cli.appraising.photographs import photographs_app
from pricing.cli.appraising.profiles import profiles_app
from pricing.cli.cars import cars_app
from pricing.cli.commands import Commands, argument, option, takes_car
from pricing.cli.decisions import decision_app
from pricing.cli.evidence import market_app
from pricing.cli.inspection import assessed, inspect_app
from pricing.cli.opinions import opinion_app
from pricing.cli.options import InspectionOption, ManagerOption, MarketOption, SheetsOption, fitted_market
from pricing.cli.output import answer, done, with_output
from pricing.cli.printing.console import plain_cell, progress, say, show
from pricing.cli.recording.intake import intake_app
from pricing.cli.recording.mapping import mapping_app
from pricing.cli.recording.records import records_app, sale_app
from pricing.cli.repairs import repair_app
from pricing.cli.server import server_app, token_app
from pricing.cli.upkeep import operation_app, setup_app
from pricing.decisions.typed_amounts import typed_amount, typed_day
from pricing.errors import MarketError, PricingError
from pricing.failures import failure_code, keep_failure
from pricing.operations.bundled import EXTENSIONS, import_bundled, write_demo_files
from pricing.operations.configuration import apply_file
from pricing.operations.extras import missing
from pricing.operations.opening import INVENTED_SETTING, MARKET_FILE, open_market
from pricing.store.place import copies_directory

app = Commands(
    "pricing",
    pretty_exceptions_enable=False,
    epilog="Exit codes: 0 done; 1 something that you can mend, said in one line; 2 a command or an option "
    "that is none; 70 a failure of the program, told in a log; 130 interrupted.",
)

for part in (grid_app, collection_app, photographs_app):
    appraise_app.add_typer(part)
for group in (
    appraise_app, inspect_app, repair_app, records_app, intake_app, mapping_app, sale_app, market_app,
    decision_app, server_app, operation_app, token_app, setup_app, cars_app, opinion_app, profiles_app,
):  # fmt: skip
    app.add_typer(group)

DEMO_FILE: Final = Path("demo.duckdb")

ROWS_REFUSED: Final = 10
"""Rejected rows that a dry run prints."""

PortOption = Annotated[
    int | None, option("Port of the dashboard; without it, the first free one from 8501.", "--port")
]

UNFORESEEN: Final = 70
"""The exit code of a failure of the program itself (BSD, sysexits.h, EX_SOFTWARE)."""

INTERRUPTED: Final = 130
"""The exit code of a shell for SIGINT, 128 and its number."""


def run() -> None:
    """Run the command line: one line on standard error for anything a person can mend, and an exit code: 0
    done, 1 a mistake, 2 a call that is none, 70 a failure of the program's own, 130 interrupted."""
    message, code = "", None
    try:
        apply_file(os.environ)
        code = app(standalone_mode=False)
    except PricingError as error:
        message, code = str(error), 1
    except TyperException as error:
        message, code = error.format_message(), error.exit_code
    except ModuleNotFoundError as error:
        message, code = missing(error), 1
    except OSError as error:
        named = "" if error.filename is None else f"{error.filename}: "
        message, code = f"{named}{error.strerror or error}", 1
    except OverflowError as error:
        clock = "this machine's clock is set beyond the year 2262; set it right"
        message, code = (clock, 1) if "timestamp" in str(error) else (_unforeseen(error), UNFORESEEN)
    except KeyboardInterrupt:
        code = INTERRUPTED
    except SystemExit:
        raise
    except BaseException as error:  # noqa: BLE001 - nobody foresaw it; native code raises no Exception
        message, code = _unforeseen(error), UNFORESEEN
    if message:
        sys.stderr.write(f"error: {plain_cell(' '.join(message.split()))}\n")
    if code == INTERRUPTED:
        sys.stderr.write("interrupted: what was not finished has changed nothing\n")
    sys.exit(code if isinstance(code, int) else 0)


def _unforeseen(error: BaseException) -> str:

    try:
        log = keep_failure(error, copies_directory())
    except MarketError:
        log = None
    where = "and no log of it could be written" if log is None else f"the details are in {log}"
    return (
        f"this failed in a way that nobody foresaw ({failure_code(error)}), {where}; what was not finished "
        "has changed nothing"
    )


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        sys.stdout.write(f"pricing {version('classic-car-pricing')}\n")
        raise typer.Exit


@app.callback()
def options_of_all(
    version: Annotated[
        bool, option("Print the version.", "--version", is_eager=True, callback=_show_version)
    ] = False,
) -> None:
    """Price classic cars from condition-graded sale records."""


@app.example("pricing demo --no-dashboard")
def demo(
    market: Annotated[Path, option("Market file to make; kept apart from your own.")] = DEMO_FILE,
    dashboard: Annotated[bool, option("Serve the dashboard at the end.")] = True,
    port: PortOption = None,
    files: Annotated[
        Path | None, option("New folder to write the demo market's files into, and no more.")
    ] = None,
) -> None:
    """Load an invented market, fit the price model, price an example car and serve the dashboard."""
    if files is not None:
        written = write_demo_files(files)
        done({"files": written}, [f"{files}: {len(written)} files of the demo market"])
        return
    import_bundled()
    import data_demo
    from pricing.cli.printing.market import show_valuation
    from pricing.decisions.valuation import value_car

    _make_demo(market)
    car = data_demo.example_car()
    asking = Decimal(str(car.pop("asking")))
    snapshot = fitted_market(market)
    show_valuation(value_car(snapshot, snapshot.model, snapshot.car(car), asking=asking))
    if dashboard:
        from pricing.operations.serving import serve

        serve(market, port, car, asking)


@app.example("pricing load sales.csv --mapping columns.toml")
def load(
    files: Annotated[
        list[Path],
        argument("Files of sale records: csv, xlsx, xls, xlsb, ods, pdf, parquet, jsonl, saved html pages."),
    ],
    mapping: Annotated[
        Path | None, option("TOML file that says which of their columns is which of ours.")
    ] = None,
    dry_run: Annotated[
        bool, option("Say what would happen, and leave the market as it is.", "--dry-run")
    ] = False,
    believe: Annotated[
        bool, option("Load figures that can hardly be what they are said to be all the same.", "--believe")
    ] = False,
    base_currency: Annotated[
        str | None,
        option("Currency a new market keeps its prices in (ISO 4217); without it, that of most records."),
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Load files of sale records into the market file, which is made when absent.

    A cell that a record can be without and that cannot be read becomes a note; a row that lacks what no
    record can be without is kept in quarantine with the names of the rules it broke; known rows are left out.
    """
    from pricing.untrusted.door import warm

    warm("pricing.intake.tables.readers:parts")
    from pricing.cli.printing.market import show_new_market, show_report
    from pricing.store.market import Market
    from pricing.store.records.first_load import load_into
    from pricing.words.loading import name_sentences, new_name_questions, refused_table

    new = not market.exists()
    with progress() as tell:
        report = load_into(
            market, files, mapping=mapping, base_currency=base_currency, progress=tell, dry_run=dry_run,
            believe=believe,
        )  # fmt: skip

    def show_loaded() -> None:
        show_report(report, dry_run=dry_run)
        if report.refused:
            show(refused_table(report).drop("file").head(ROWS_REFUSED), "The first of them")
        if new and not dry_run:
            show_new_market(Market.open(market))
        if report.accepted and not dry_run:
            for sentence in name_sentences(Market.open(market, create=False).names()):
                say(sentence)
        for question in new_name_questions(report):
            say(f"{question}: mend the file, or settle it after the load with: pricing names")

    done({"dry_run": dry_run, **vars(report)}, show_loaded)


@app.example("pricing fit --market market.duckdb")
def fit(
    update: Annotated[
        bool,
        option(
            "Begin from the newest fit: sooner done after a few new sales, and the same within a "
            "thousandth or so.",
            "--update",
        ),
    ] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Fit the price model to all sales of the market file, calibrate its ranges, and keep it in the file."""
    from pricing.cli.printing.market import show_fit
    from pricing.model.market_fit import fit_market
    from pricing.model.saved import load as load_fit
    from pricing.model.saved import save

    opened = open_market(market)
    if opened.common_currency() is None and opened.opinions().is_empty():
        raise MarketError(
            f"{market} holds no records, so there is nothing to fit; load some: pricing load FILE"
        )
    with progress() as tell:
        start = load_fit(opened) if update else None
        model = fit_market(opened, tell, start=start)
    fit_id = save(model, opened)
    done({"fit": fit_id, **model.facts}, lambda: show_fit(model.facts, fit_id))


@app.example("pricing fits --market market.duckdb")
def fits(market: MarketOption = MARKET_FILE) -> None:
    """List the fits kept in the market file, oldest first; `pricing value --fit ID` prices with one."""
    from pricing.cli.printing.market import show_fits

    fits_frame = open_market(market).fits()
    facts = [{**row, "facts": json.loads(row["facts"])} for row in fits_frame.iter_rows(named=True)]
    answer(facts, lambda: show_fits(fits_frame))


@app.example("pricing value --make Wexcombe --model Sedge --year 1966 --asking 'GBP 3900'")
@takes_car
def value(
    car: dict[str, Any],
    asking: Annotated[
        str | None, option("Asking price, all-in: 4650 in the market's base currency, or '£3,900'.")
    ] = None,
    inspection: InspectionOption = None,
    sheets: SheetsOption = EXTENSIONS,
    as_of: Annotated[
        str | None, option("Date of the price (YYYY-MM-DD); without it, of the last sale.")
    ] = None,
    coverage: Annotated[float, option("Share of like cars the range is to hold.")] = 0.8,
    fit_id: Annotated[
        str | None, option("Price with this kept fit, as `pricing fits` lists them.", "--fit")
    ] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Price one car: its range, where its asking price stands, what makes up the price, the sales behind it.

    With a date before the last sale on record, a model is fitted to the sales up to that date and not kept.
    """
    from pricing.cli.printing.market import show_valuation
    from pricing.decisions.valuation import value_car
    from pricing.operations.settings import settings_of

    typed, day = typed_amount(asking, "asking price"), typed_day(as_of)
    snapshot = fitted_market(market, day, fit_id)
    at = date.fromisoformat(snapshot.model.facts["last_date"]) if day is None else day
    price = None if typed is None else typed.in_base(snapshot, at)
    result = None if inspection is None else assessed(inspection, sheets)
    valuation = value_car(
        snapshot, snapshot.model, snapshot.car(car, day), asking=price, as_of=day, coverage=coverage,
        inspection=result,
    )  # fmt: skip
    answer(valuation, lambda: show_valuation(valuation, settings_of(snapshot).verdict_limits))


@app.example("pricing dashboard --market market.duckdb --port 8600")
def dashboard(
    market: MarketOption = MARKET_FILE,
    port: PortOption = None,
    host: Annotated[
        str, option("Address to listen on; others than this machine's own let others in.")
    ] = "127.0.0.1",
    manager: ManagerOption = None,
) -> None:
    """Serve the dashboard on this machine's loopback address, until interrupted.

    While the market file is not there, an invented demo market is shown, and files can be loaded from a page.
    """
    from pricing.operations.serving import serve

    demo_market = None
    if market.is_file():
        open_market(market)
    else:
        demo_market = market.with_name(DEMO_FILE.name)
        if not demo_market.is_file():
            _make_demo(demo_market)
    serve(market, port, demo=demo_market, host=host, managers=manager or [])


def _make_demo(market: Path) -> None:
    """The invented market, loaded and fitted."""
    import_bundled()
    import data_demo

    load(data_demo.files(), base_currency="EUR", market=market)
    open_market(market).keep_settings({INVENTED_SETTING: "yes"})
    fit(market=market)


with_output(app, without_json=("demo", "dashboard", "serve"))
