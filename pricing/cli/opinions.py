"""Commands for what people say of prices: ``pricing opinions add``, ``load``, ``list``, ``withdraw``,
``score``."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import MarketOption
from pricing.cli.output import answer, done
from pricing.cli.printing.console import say, show
from pricing.decisions.typed_amounts import typed_amount
from pricing.errors import OpinionError
from pricing.operations.opening import MARKET_FILE, open_market
from pricing.vocabulary import CONDITION_BANDS

if TYPE_CHECKING:
    from decimal import Decimal

    from pricing.store.kept.opinions import KeptOpinions

opinion_app = Commands(
    "opinions", "What experienced people say, as evidence beside the sales, never among them."
)

KEYS: Final = ("above", "same", "below")
"""What is typed for each of ``elicitation.ANSWERS``."""

MeantOption = Annotated[
    bool, option("A better state is meant to fetch less: asked again, and so it is.", "--meant")
]


@opinion_app.example(
    "pricing opinions add --source 'A. Rowe' --make Wexcombe --model Sedge --holds 'eight in "
    "ten' --currency GBP --project :1000 --average 3000:5000 --top 8000:10000"
)
def add(
    source: Annotated[str, option("Who says it.")],
    make: Annotated[str, option("Make of the cars it is about.")],
    model: Annotated[str, option("Model of the make.")],
    holds: Annotated[str, option("What a span is meant to hold: half, eight in ten, nearly all.")],
    currency: Annotated[str, option("Currency of the amounts (ISO 4217).")],
    project: Annotated[str | None, option("LOW:HIGH, an end may be left open.")] = None,
    restorable: Annotated[str | None, option("Of a solid restorable car.")] = None,
    average: Annotated[str | None, option("Of an average car.")] = None,
    top: Annotated[str | None, option("Of a car in top condition.")] = None,
    score: Annotated[
        list[str] | None, option("Of a car of a score: SCORE=LOW:HIGH; may be repeated.")
    ] = None,
    standing: Annotated[str | None, option("Who the source is, in own words.")] = None,
    basis: Annotated[str, option("What the amounts include: all-in, hammer or net.")] = "all-in",
    day: Annotated[str | None, option("Day it was said (YYYY-MM-DD); else today.", "--on")] = None,
    variant: Annotated[str | None, option("Variant; without it, all of the model.")] = None,
    years: Annotated[str | None, option("Model years FROM-TO; without it, all.")] = None,
    country: Annotated[str | None, option("Where (ISO 3166); without it, anywhere.")] = None,
    channel: Annotated[str | None, option("auction, dealer or private; else any.")] = None,
    ask: Annotated[
        list[str] | None,
        option("State to be asked about, price by price, until its quartiles are known; may be repeated."),
    ] = None,
    meant: MeantOption = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep what one person says of the bands of a model; LOW:MIDDLE:HIGH where the middle was asked for."""
    import polars as pl

    from pricing.opinions.elicitation import HALF
    from pricing.store.audit import now

    if ask and holds != HALF:
        raise OpinionError(f"half lies between quartiles: with --ask, holds is {HALF!r}; got {holds!r}")
    bands = zip(CONDITION_BANDS, (project, restorable, average, top), strict=True)
    spans = [({"condition_band": band}, typed) for band, typed in bands]
    spans += [
        ({"condition_score": at}, span) for at, _, span in (each.partition("=") for each in score or [])
    ]
    spans += [({"condition_band": band}, _elicited_span(band, currency)) for band in ask or []]
    first, _, last = (years or "").partition("-")
    common = {
        "source": source, "standing": standing, "stated_on": day or now().date().isoformat(), "make": make,
        "model": model, "variant": variant, "year_from": first or None, "year_to": last or first or None,
        "country": country, "channel": channel, "currency": currency, "price_basis": basis, "holds": holds,
    }  # fmt: skip
    rows = [common | state | _span(typed) for state, typed in spans if typed is not None]
    if not rows:
        raise OpinionError(
            "nothing is said of any state: give --project, --restorable, --average, --top or --ask"
        )
    cells = pl.DataFrame(rows, infer_schema_length=None).cast(pl.String)
    _report(open_market(market).statements.add(cells, meant=meant))


@opinion_app.example("pricing opinions load bands.xlsx")
def load(
    files: Annotated[list[Path], argument("csv, xlsx and what sales are read from.")],
    meant: MeantOption = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Keep the statements of files, each whole or not at all; the market file is made when absent.

    Columns: source, standing, stated_on, make, model, variant, year_from, year_to, country, channel,
    condition_band or condition_score, low, middle, high, currency, price_basis, holds.
    """
    from pricing.store.market import Market

    _report(Market.open(market).statements.load(files, meant=meant))


@opinion_app.example("pricing opinions list --make Wexcombe --model Sedge", name="list")
def list_opinions(
    make: Annotated[str | None, option("Make; without it, all.")] = None,
    model: Annotated[str | None, option("Model of the make.")] = None,
    source: Annotated[str | None, option("Source; without it, all.")] = None,
    every: Annotated[bool, option("Those withdrawn too.", "--every")] = False,
    market: MarketOption = MARKET_FILE,
) -> None:
    """List what people say, what changed of it, and where a source contradicts itself."""
    import polars as pl

    from pricing.opinions.statement import changes, inversions
    from pricing.words.opinions import statement_words, subject_words

    wanted = {"make": make, "model": model, "source": source}
    where = {name: value for name, value in wanted.items() if value is not None}
    statements = open_market(market).statements.read(every=every).filter(**where)
    in_force = statements.filter(pl.col("withdrawn_at").is_null())
    sentences = [
        f"{row['opinion_id'][:8]}  {subject_words(row)}, {statement_words(row)}"
        + ("" if row["withdrawn_at"] is None else f"; withdrawn: {row['withdrawn_for']}")
        for row in statements.iter_rows(named=True)
    ]
    sentences += [question.sentence for question in inversions(in_force)]
    changed = changes(in_force)

    def show_statements() -> None:
        say(*(sentences or ["nobody has said anything of such cars yet"]))
        if changed.height:
            columns = ["source", "make", "model", "condition_band", "stated_on_before", "low_before",
                       "high_before", "stated_on", "low", "high", "change"]  # fmt: skip
            show(changed.select(columns).with_columns(pl.col("change").round(2)), "What sources changed")

    answer(statements, show_statements)


@opinion_app.example("pricing opinions withdraw 5b1c --reason 'mistyped'")
def withdraw(
    opinion: Annotated[str, argument("Statement, or the start of its name.")],
    reason: Annotated[str, option("Why it goes.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Withdraw a statement: it is kept, and counts no more."""
    name = open_market(market).statements.withdraw(opinion, reason)
    done({"opinion_id": name}, f"{name} is withdrawn; it is kept, and counts no more.")


@opinion_app.example("pricing opinions score --by condition_band")
def score(
    by: Annotated[str | None, option("Bias by condition_band or by price, besides.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """How good each source's feel for prices was, against the sales that came later."""
    from pricing.decisions.opinions import source_record
    from pricing.snapshot_source import source_of
    from pricing.words.opinions import HONESTY, score_sentence

    record = source_record(source_of(open_market(market).path).newest())
    if by is not None and by not in ("condition_band", "price"):
        raise OpinionError(f"bias is told by condition_band or by price; got {by!r}")
    table = None if by is None else record.bias_by(by)

    def show_record() -> None:
        if record.sources.is_empty():
            say("nobody has said anything yet: pricing opinions add, or load")
        say(*(score_sentence(row) for row in record.sources.iter_rows(named=True)))
        if table is not None:
            import polars as pl

            show(table.with_columns(pl.col("bias", "held").round(3)), f"Bias by {by}")
        say(HONESTY)

    answer(record.sources if table is None else {"sources": record.sources, f"by {by}": table}, show_record)


def _span(typed: str) -> dict[str, str | None]:
    """``LOW:HIGH`` or ``LOW:MIDDLE:HIGH``, an end open."""
    parts = [part.strip() or None for part in typed.split(":")]
    if len(parts) not in (2, 3):
        raise OpinionError(
            f"a span is LOW:HIGH, or LOW:MIDDLE:HIGH, such as 3000:5000 or :1000; got {typed!r}"
        )
    return {"low": parts[0], "middle": parts[1] if len(parts) == 3 else None, "high": parts[-1]}


def _report(opinions: "KeptOpinions") -> None:
    known = f"; {opinions.known} were known already" if opinions.known else ""
    sentence = (
        f"{opinions.kept} of {opinions.read} statements are kept{known}. To have prices see them: pricing fit"
    )
    done(asdict(opinions), sentence)


def _elicited_span(band: str, currency: str) -> str:
    """Ask until the quartiles are known and confirmed: ``LOW:MIDDLE:HIGH``, between which half lies.

    Raises:
        OpinionError: no such state, or no range in which prices could lie.
    """
    from pricing.nearest import did_you_mean
    from pricing.opinions.elicitation import ANSWERS, Bisection
    from pricing.words.opinions import asked_sentence, told_sentence

    if band not in CONDITION_BANDS:
        near = did_you_mean(band, CONDITION_BANDS)
        raise OpinionError(f"no state {band!r}{near}; expected one of: {', '.join(CONDITION_BANDS)}")
    while True:
        low = _price(f"No such car ({band}) sells below, in {currency}", currency)
        bisection = Bisection.between(low, _price("nor above", currency))
        while not bisection.done:
            say(asked_sentence(bisection, band, currency))
            bisection = bisection.answered(ANSWERS[KEYS.index(_one_of(KEYS))])
        say(told_sentence(bisection.quartiles, currency))
        if _one_of(("yes", "no")) == "yes":
            return ":".join(f"{price:f}" for price in bisection.quartiles)


def _price(question: str, currency: str) -> "Decimal":

    typed = typed_amount(typer.prompt(question), "price")
    if typed is None or typed.currency not in (None, currency):
        raise OpinionError(f"the price is asked for in {currency}")
    return typed.amount


def _one_of(choices: tuple[str, ...]) -> str:
    """What is typed, once it is one of the choices, or begins one."""
    while True:
        typed = typer.prompt(", ".join(choices)).strip().lower()
        if matches := [choice for choice in choices if typed and choice.startswith(typed)]:
            return matches[0]
