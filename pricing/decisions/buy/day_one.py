"""What a car costs to own on day one, line by line; the highest price that keeps the total within a limit;
and the bids on the way to that limit, each with everything that is charged on it.

Lines that nothing was said about stay empty: they count for nothing and are named as open. Duty is reckoned
on the price paid (premium in) and transport, import tax on that and the duty (common practice, no source:
what a customs office reckons on is for local law).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from typing import Final

import polars as pl

from pricing.decisions.amounts import Range, from_thousandths, in_thousandths
from pricing.errors import DecisionError
from pricing.money.charges import Charge, Schedule
from pricing.money.currencies import minor_unit_places
from pricing.records.entered_amounts import entered

REPAIRS: Final = "repairs"

LINES: Final = ("price", "premium", "transport", "import duty", "import tax", REPAIRS)
"""Lines in the order they are paid; ``premium`` holds its own tax."""


AT_ONCE: Final = 64
"""Prices that a search for the highest one looks at together."""


@dataclass(frozen=True)
class DayOneTerms:
    """What is paid beside the price, all in ``currency``; None where nothing was said.

    Args:
        premium, duty, tax: charges on the price, on price and transport, on these and the duty.
        transport: to bring the car home.
        repairs: what it needs spent at once.
        repairs_counted: whether ``repairs`` bring the car to the condition it is priced in, and so count
            against the limit; repairs of faults that its condition already holds do not.
    """

    currency: str
    premium: Charge | None = None
    transport: Decimal | None = None
    duty: Charge | None = None
    tax: Charge | None = None
    repairs: Decimal | None = None
    repairs_counted: bool = True

    def __post_init__(self) -> None:
        """Refuse amounts and charges that make no sense."""
        minor_unit_places(self.currency)
        entered("transport", self.transport, self.currency, cost=True)
        entered("first repairs", self.repairs, self.currency, cost=True)
        for kind, charge in self.charges.items():
            if charge.kind != kind or charge.currency != self.currency:
                raise DecisionError(
                    f"the {kind} must be a charge of that kind in {self.currency}; "
                    f"got {charge.kind} in {charge.currency}"
                )

    @property
    def charges(self) -> dict[str, Charge]:
        """The charges that were stated, by line."""
        stated = zip(
            ("premium", "import duty", "import tax"), (self.premium, self.duty, self.tax), strict=True
        )
        return {kind: charge for kind, charge in stated if charge is not None}

    def lines(self, prices: Sequence[Decimal]) -> pl.DataFrame:
        """Every line at each price, in decimals: ``LINES``, ``all_in`` (price and premium), ``counted`` (what
        stands against what the car would fetch) and ``total``; empty lines are null and add nothing.

        >>> DayOneTerms("EUR", transport=Decimal(300)).lines([Decimal(1000)])["total"].to_list()
        [Decimal('1300.00')]
        """
        frame = pl.DataFrame({"price": in_thousandths(prices, self.currency)})
        nothing, nought = pl.lit(None, dtype=pl.Int128), pl.lit(0, dtype=pl.Int128)

        def charged(charge: Charge | None, on: pl.Expr) -> pl.Expr:
            return nothing if charge is None else charge.on(on)

        def fixed(amount: Decimal | None) -> pl.Expr:
            if amount is None:
                return nothing
            return pl.lit(in_thousandths([amount], self.currency)[0], dtype=pl.Int128)

        def line(name: str) -> pl.Expr:
            return pl.col(name).fill_null(nought)

        paid = line("price") + line("premium") + line("transport")
        frame = (
            frame.with_columns(
                charged(self.premium, pl.col("price")).alias("premium"),
                fixed(self.transport).alias("transport"),
                fixed(self.repairs).alias(REPAIRS),
            )
            .with_columns(charged(self.duty, paid).alias("import duty"))
            .with_columns(charged(self.tax, paid + line("import duty")).alias("import tax"))
            .with_columns(
                all_in=line("price") + line("premium"),
                landed=paid + line("import duty") + line("import tax"),
            )
            .with_columns(total=pl.col("landed") + line(REPAIRS))
            .with_columns(counted=pl.col("total") if self.repairs_counted else pl.col("landed"))
        )
        return frame.select(from_thousandths((*LINES, "all_in", "counted", "total"), self.currency))

    def highest_price(self, limit: Decimal) -> Decimal | None:
        """The highest price, to the smallest unit, whose counted total is at most ``limit``; None when even a
        gift would cost more."""
        places = minor_unit_places(self.currency)
        low, high = -1, int(max(limit, Decimal(0)).scaleb(places))
        while low < high:
            step = -(-(high - low) // AT_ONCE)
            tried = range(low + step, high + 1, step)
            counted = self.lines([Decimal(price).scaleb(-places) for price in tried])["counted"]
            within = sum(total <= limit for total in counted.to_list())
            high = high if within == len(tried) else tried[within] - 1
            low = tried[within - 1] if within else low
        return None if low < 0 else Decimal(low).scaleb(-places)


def cost_lines(
    terms: DayOneTerms, price: Decimal | None, schedule: Schedule | None = None, repairs: Range | None = None
) -> pl.DataFrame:
    """One row a line at a price: ``line``, ``low``, ``mid``, ``high`` (equal where the amount is known, null
    where it is left empty), ``counted`` and ``source`` (where the amount is from; rates with the day they are
    in force from). No rows without a price. ``repairs`` is what those of an inspection cost."""
    paid = terms.lines([] if price is None else [price])
    money = pl.Decimal(38, minor_unit_places(terms.currency))
    rows = []
    for line in LINES:
        charge = terms.charges.get(line)
        source, counted = "stated", line != REPAIRS or terms.repairs_counted
        ends = {end: pl.col(line) for end in ("low", "mid", "high")}
        if charge is not None:
            example = "example rate" if schedule is not None and schedule.example else "rate"
            source = f"{example} in force from {charge.valid_from}"
        if line == REPAIRS and repairs is not None:
            ends = {end: pl.lit(getattr(repairs, end), dtype=money) for end in ends}
            source = "inspection, a quote in place of its estimate"
        origin = pl.when(ends["mid"].is_null()).then(pl.lit("left empty")).otherwise(pl.lit(source))
        rows.append(paid.select(line=pl.lit(line), **ends, counted=pl.lit(counted), source=origin))
    return pl.concat(rows)


def open_lines(terms: DayOneTerms, *, auction: bool, imported: bool, repairs_known: bool) -> tuple[str, ...]:
    """Lines that are due and that nothing was said about: a premium at an auction, duty and tax on an
    import."""
    known = {
        "price": True,
        "premium": not auction or "premium" in terms.charges,
        "transport": terms.transport is not None,
        "import duty": not imported or "import duty" in terms.charges,
        "import tax": not imported or "import tax" in terms.charges,
        REPAIRS: repairs_known,
    }
    return tuple(name for name in LINES if not known[name])


MOST_BIDS: Final = 60
"""Rows of a table: more are not read in a sale room."""

START: Final = Decimal("0.5")
"""Without a first bid said, the table starts at this share of the limit."""


def customary_step(bid: Decimal) -> Decimal:
    """The step from a bid to the next: a tenth to a twentieth, in 1, 2 and 5 (common practice, no source; a
    sale room prints its own).

    >>> [customary_step(Decimal(bid)) for bid in (1500, 2400, 7000)]
    [Decimal('100'), Decimal('200'), Decimal('500')]
    """
    unit = Decimal(1).scaleb(bid.adjusted() - 1)
    lead = bid.scaleb(-bid.adjusted())
    return Decimal(int(unit * (1 if lead < 2 else 2 if lead < 5 else 5))) if unit >= 1 else Decimal(1)


def bids_up_to(limit: Decimal, step: Decimal | None = None, start: Decimal | None = None) -> list[Decimal]:
    """The bids that may be made on the way to a limit, the last one at or below it.

    Raises:
        DecisionError: the step is not positive, or so small that the table would have no end.

    >>> [str(bid) for bid in bids_up_to(Decimal(2350), start=Decimal(1850))]
    ['1800', '1900', '2000', '2200']
    """
    if step is not None and not (step.is_finite() and step > 0):
        raise DecisionError(f"the step between bids must be above nought; got {step}")
    if limit < 1:
        return []
    first = limit * START if start is None else start
    first = max(first, Decimal(1))
    size = customary_step(first) if step is None else step
    bid = max((first / size).to_integral_value(ROUND_FLOOR) * size, size)
    bids: list[Decimal] = []
    while bid <= limit:
        bids.append(bid)
        bid += customary_step(bid) if step is None else step
        if len(bids) > MOST_BIDS:
            raise DecisionError(
                f"more than {MOST_BIDS} bids from {first:,.0f} to {limit:,.0f}: "
                f"take a longer step than {step}"
            )
    return bids


def bidding_table(
    terms: DayOneTerms, limit: Decimal, *, step: Decimal | None = None, start: Decimal | None = None
) -> pl.DataFrame:
    """Each bid up to the limit: ``price`` (the hammer price it would be), ``premium``, ``all_in``, ``total``
    on day one, and ``left`` (what stands between the bid and the limit)."""
    table = terms.lines(bids_up_to(limit, step, start))
    return table.select("price", "premium", "all_in", "total").with_columns(
        left=pl.lit(limit) - pl.col("price")
    )


def hammer_for(premium: Charge | None, all_in: list[Decimal], currency: str) -> pl.DataFrame:
    """The way back: the highest hammer price that each all-in amount allows (``all_in``, ``price``), null
    where the least premium alone is more."""
    amount = pl.col("all_in")
    frame = pl.DataFrame({"all_in": in_thousandths(all_in, currency)}).with_columns(
        price=amount if premium is None else premium.hammer_of_all_in(amount)
    )
    return frame.select(from_thousandths(("all_in", "price"), currency))
