"""Commands for the market evidence: ``index``, ``comparables``, ``depth``, ``score``. Each opens, calls the
library and prints."""

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

from pricing.cli.commands import Commands, option, takes_car
from pricing.cli.options import DayOption, MarketOption, fitted_market
from pricing.cli.output import answer, draw, write_frame
from pricing.cli.printing.console import progress
from pricing.errors import EvidenceError, FileError
from pricing.operations.opening import MARKET_FILE, open_market, tell_standing
from pricing.untrusted.files import regular_size

if TYPE_CHECKING:
    import polars as pl

    from pricing.evidence.comparison.choices import Choice

market_app = Commands()

LARGEST_SERIES: Final = 10_000_000
"""Bytes of a price series at most."""

MakeOption = Annotated[str | None, option("Make; without it, the whole market.")]
ModelOption = Annotated[str | None, option("Model of the make.")]
ChartOption = Annotated[Path | None, option("Draw it into a .svg, .png, .html or .json file.")]


@market_app.example("pricing index --make Wexcombe --period year --out index.csv")
def index(
    make: MakeOption = None,
    model: ModelOption = None,
    method: Annotated[
        str, option("time dummy, laspeyres, paasche, fisher, tornqvist, symmetric or repeat sales.")
    ] = "time dummy",
    period: Annotated[str, option("month, quarter, half-year or year.")] = "quarter",
    window: Annotated[
        int | None, option("Periods in a rolling window (time dummy); without it, all at once.")
    ] = None,
    coverage: Annotated[float, option("Of the interval.")] = 0.95,
    minimum: Annotated[int, option("Sales that a period needs.")] = 10,
    changes: Annotated[
        str, option("Repeat sales whose condition band changed in between: leave out or model.")
    ] = "leave out",
    weights: Annotated[str, option("Of repeat sales: by holding time or equal.")] = "by holding time",
    deflator: Annotated[
        Path | None, option("CSV file with the columns date and value, to deflate by.")
    ] = None,
    out: Annotated[Path | None, option("Write it to a .csv or .parquet file.")] = None,
    chart: ChartOption = None,
    as_of: DayOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """How prices moved at constant quality, with intervals, and gaps where there are not enough sales."""
    from pricing.cli.printing.evidence import show_index
    from pricing.evidence.indices.index import price_index

    opened = open_market(market)
    if as_of is None:
        tell_standing(opened.state())
    sales = opened.sales(as_of=_day(as_of))
    series = price_index(
        sales, method=method, period=period, where=_where(sales, make, model), window=window,
        coverage=coverage, minimum=minimum, changes=changes, weights=weights,
    )  # fmt: skip
    if deflator is not None:
        series = series.deflated(_series(deflator))
    if out is not None:
        write_frame(series.frame, out)
    if chart is not None:
        from pricing.charts.evidence import index_chart

        draw(index_chart(series), chart)
    answer(series, lambda: show_index(series))


@market_app.example("pricing comparables --make Wexcombe --model Sedge --year 1966 --lines")
@takes_car
def comparables(
    car: dict[str, Any],
    count: Annotated[int, option("Comparables wanted.")] = 12,
    coverage: Annotated[float, option("Share of such sales that low to high is to hold.")] = 0.8,
    add: Annotated[list[str] | None, option("RECORD=reason: use this sale.")] = None,
    drop: Annotated[list[str] | None, option("RECORD=reason: leave this sale out.")] = None,
    adjust: Annotated[
        list[str] | None, option("RECORD:line:per cent=reason, as 'r-7:conditions of sale:-8=sold in haste'.")
    ] = None,
    subject: Annotated[
        str | None, option("A name to keep these choices under; those kept before are used again.")
    ] = None,
    lines: Annotated[bool, option("Show every line of adjustment.", "--lines")] = False,
    out: Annotated[Path | None, option("Write the lines to a .csv or .parquet file.")] = None,
    chart: ChartOption = None,
    as_of: DayOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """The sales most like a car, adjusted to it line by line, and what they come to together."""
    from pricing.cli.printing.evidence import show_comparables
    from pricing.decisions.approaches import difference, valued_beside
    from pricing.evidence.comparison.choices import keep, kept
    from pricing.evidence.comparison.comparables import find_comparables
    from pricing.evidence.comparison.comparables_index import ComparablesIndex

    day = _day(as_of)
    if (add or drop or adjust) and subject is None:
        raise EvidenceError("choices stay on file: give the car a name with --subject to keep them under")
    snapshot = fitted_market(market, day)
    sales = snapshot.sales(as_of=day)
    new = _choices(sales["record_id"], add, drop, adjust)
    known = snapshot.car(car, day)
    indexed = ComparablesIndex.build(sales, snapshot.model, currency=snapshot.base_currency)
    choices = (*(() if subject is None else kept(snapshot.market, subject)), *new)
    matches = find_comparables(indexed, known, as_of=day, count=count, coverage=coverage, choices=choices)
    if new and subject is not None:
        keep(snapshot.market, subject, new)
    if out is not None:
        write_frame(matches.lines, out)
    if chart is not None:
        from pricing.charts.evidence import comparables_chart

        draw(comparables_chart(matches), chart)
    apart = difference(valued_beside(snapshot, snapshot.model, known, matches, coverage), matches)
    facts = {"comparables": matches, "difference": apart}
    answer(facts, lambda: show_comparables(matches, apart, lines=lines))


@market_app.example("pricing depth --make Wexcombe --model Sedge")
def depth(
    make: MakeOption = None,
    model: ModelOption = None,
    chart: ChartOption = None,
    as_of: DayOption = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """How much is known: sales, offers, estimates, asking against sold, season, and what a better band
    costs."""
    from pricing.cli.printing.evidence import show_depth
    from pricing.evidence.depth import market_depth
    from pricing.snapshot import Snapshot

    day = _day(as_of)
    snapshot = Snapshot.of(open_market(market))
    sales = snapshot.sales(as_of=day)
    if snapshot.state.fit is None:
        tell_standing(snapshot.state)
    fitted = None if snapshot.state.fit is None else fitted_market(market, day).model
    every_record = snapshot.sales(as_of=day, every_record=True)
    where = _where(sales, make, model)
    evidence = market_depth(sales, where=where, as_of=day, model=fitted, every_record=every_record)
    if chart is not None:
        from pricing.charts.depth import bands_through_time_chart

        draw(bands_through_time_chart(evidence), chart)
    answer(evidence, lambda: show_depth(evidence))


@market_app.example("pricing score --origins 4 --csv scored.csv")
def score(
    origins: Annotated[int, option("Days at which the model is fitted anew.", min=1, max=1000)] = 6,
    csv: Annotated[Path | None, option("New file to write to, one row a scored sale.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Score the price model on the later half of the sales, each by a model fitted to what was known before.

    Prints how often ranges held the price paid, how wide they were, and how mid prices stand to prices paid.
    """
    from pricing.cli.printing.evidence import show_scores
    from pricing.model.accuracy.backtest import backtest, rolling_origins
    from pricing.model.features.spec import FeatureSpec

    opened, spec = open_market(market), FeatureSpec.cars()
    if csv is not None:
        _check_new(csv)
    sales = opened.sales()
    with progress() as tell:
        days = rolling_origins(sales, spec, origins)
        scored = backtest(sales, spec, days, known=opened.sales, progress=tell)
    if csv is not None:
        write_frame(scored.rows, csv)
    facts = {"currency": opened.base_currency, "basis": "all-in", **scored.to_dict()}
    answer(facts, lambda: show_scores(scored))


def _where(sales: "pl.DataFrame", make: str | None, model: str | None) -> dict[str, str]:
    """What was named, spelt as the market spells it; raises as ``Names.where`` does."""
    from pricing.car_names import Names

    return Names.of(sales).where(make, model)


def _choices(
    ids: "pl.Series", add: list[str] | None, drop: list[str] | None, adjust: list[str] | None
) -> "tuple[Choice, ...]":
    from pricing.evidence.comparison.choices import Choice

    made = []
    for action, typed in (("add", add), ("drop", drop)):
        for text in typed or []:
            record, _, reason = text.partition("=")
            made.append(Choice(_record(ids, record), action, reason))
    for text in adjust or []:
        match = re.fullmatch(r"([^=]+):([^:=]+):([^:=]+)=(.*)", text, re.DOTALL)
        if match is None:
            raise EvidenceError(f"to adjust is written RECORD:line:per cent=reason; got {text!r}")
        record, line, per_cent, reason = match.groups()
        try:
            size = float(per_cent)
        except ValueError:
            raise EvidenceError(f"the adjustment of {record!r} is no per cent: got {per_cent!r}") from None
        made.append(Choice(_record(ids, record), "adjust", reason, line=line.strip(), per_cent=size))
    return tuple(made)


def _record(ids: "pl.Series", typed: str) -> str:
    """The id that was typed, whole or its beginning."""
    wanted = typed.strip()
    same = ids.filter(ids.str.starts_with(wanted)).to_list() if wanted else []
    if wanted in same:
        return wanted
    if len(same) != 1:
        raise EvidenceError(f"{len(same)} records have an id that begins with {wanted!r}; expected one")
    return str(same[0])


def _day(typed: str | None) -> date | None:
    try:
        return None if typed is None else date.fromisoformat(typed)
    except ValueError:
        raise EvidenceError(f"the date is not a day: got {typed!r}, expected YYYY-MM-DD") from None


def _check_new(path: Path) -> None:
    if path.exists():
        raise FileError(f"{path} exists already; name a file that does not")
    if not path.parent.is_dir():
        raise FileError(f"there is no folder {path.parent} to write {path.name} to")


def _series(path: Path) -> "pl.DataFrame":
    """A price series: a CSV file with the columns date and value."""
    import polars as pl

    from pricing.intake.tables.readers import read_whole

    regular_size(path, LARGEST_SERIES)
    try:
        return read_whole(path).select(
            pl.col("date").str.strip_chars().str.to_date("%Y-%m-%d"),
            pl.col("value").str.strip_chars().cast(pl.Float64),
            pl.exclude("date", "value", "row_number"),
        )
    except pl.exceptions.PolarsError as error:
        raise FileError(f"{path}: no price series with the columns date (YYYY-MM-DD) and value: "
                        f"{str(error).splitlines()[0]}") from None  # fmt: skip
