"""What the command line shows a buyer and a seller."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from pricing.cli.terminal import console
from pricing.decisions.buying import Buying
from pricing.decisions.selling import Selling
from pricing.words.buying import LINE_WORDS, basis_note, buying_sentences, cents_words
from pricing.words.condition import mending_sentence
from pricing.words.selling import selling_sentences
from pricing.words.sentences import car_words, exact_words, money_words

OTHERS_SHOWN = 8


def show_buying(facts: Buying) -> None:
    """The facts for a buyer as tables and sentences, the cautions last."""
    out = console()
    out.print(Text(car_words(facts.valuation.car), style="bold"))
    for sentence in (*buying_sentences(facts), basis_note(facts)):
        out.print(Text(sentence))
    currency = facts.currency
    if facts.day_one.height:
        table = _table("on day one", "amount", "from")
        for row in facts.day_one.iter_rows(named=True):
            amount = "" if row["amount"] is None else cents_words(row["amount"], currency)
            beside = "" if row["counted"] else ", not counted against the limit"
            table.add_row(LINE_WORDS[row["line"]], amount, Text(row["source"] + beside))
        out.print(table)
    if facts.bids.height:
        table = _table("bid", "premium", "all-in", "total on day one", "left to the limit")
        for row in facts.bids.iter_rows(named=True):
            table.add_row(*("" if row[name] is None else cents_words(row[name], currency) for name in _BID))
        out.print(table)
        table = _table("all-in", "highest hammer price")
        for row in facts.bids_back.iter_rows(named=True):
            hammer = "none" if row["price"] is None else cents_words(row["price"], currency)
            table.add_row(cents_words(row["all_in"], currency), hammer)
        out.print(table)
    _others(out, facts)
    if facts.better is not None:
        for row in facts.better.bands.iter_rows(named=True):
            out.print(Text(mending_sentence(row, facts.better)))
        if facts.better.bands.is_empty():
            out.print(Text("There is no higher band: nothing above it to buy."))
    for question in facts.questions:
        out.print(Text(f"? {question}"))
    out.print(Text(facts.rates))
    for caution in facts.cautions:
        out.print(Text(caution, style="italic"))


def show_selling(facts: Selling) -> None:
    """The facts for a seller as tables and sentences, the cautions last."""
    out = console()
    currency = facts.currency
    out.print(Text(car_words(facts.valuation.car), style="bold"))
    for sentence in selling_sentences(facts):
        out.print(Text(sentence))
    if facts.auction is not None:
        table = _table("reserve", "chance of a sale", "net if sold", "expected")
        every = max(facts.auction.reserves.height // 12, 1)
        for row in facts.auction.reserves.gather_every(every).iter_rows(named=True):
            table.add_row(
                exact_words(row["reserve"], currency) if row["reserve"] else "none",
                f"{row['chance']:.0%}",
                *(
                    "" if row[name] is None else money_words(row[name], currency)
                    for name in ("net_if_sold", "expected")
                ),
            )
        out.print(table)
    for channel, prices in facts.asking.items():
        table = _table(f"asked ({channel})", "within 4 weeks", "8 weeks", "12 weeks")
        for row in prices.iter_rows(named=True):
            table.add_row(
                money_words(row["asking"], currency), *(_chance(row[f"within_{w}"]) for w in (4, 8, 12))
            )
        out.print(table)
        table = _table(f"ladder ({channel})", "from week", "sold before the next step")
        for row in facts.ladders[channel].iter_rows(named=True):
            table.add_row(
                money_words(row["asking"], currency), str(row["week"]), _chance(row["sold_by_then"])
            )
        out.print(table)
    if facts.first.height:
        base = facts.valuation.currency
        table = _table("first", "cost", "mid price", "low end", "high end", "answer")
        for row in facts.first.iter_rows(named=True):
            cost = "not said" if row["cost"] is None else money_words(row["cost"], base)
            moved = (f"{row[name]:+,.0f}" for name in ("gain", "low_change", "high_change"))
            table.add_row(Text(row["item"]), cost, *moved, row["answer"])
        out.print(table)
    for caution in facts.cautions:
        out.print(Text(caution, style="italic"))


_BID = ("price", "premium", "all_in", "total", "left")


def _others(out: Console, facts: Buying) -> None:
    base = facts.valuation.currency
    table = _table(
        "the same money elsewhere", "condition band", "low", "mid", "high", "at or below the budget"
    )
    for row in facts.elsewhere.head(OTHERS_SHOWN).iter_rows(named=True):
        name = " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)
        prices = (money_words(row[end], base) for end in ("low", "mid", "high"))
        table.add_row(Text(name), row["condition_band"], *prices, f"{row['within']:.0%}")
    if table.row_count:
        out.print(table)


def _chance(chance: float | None) -> str:
    return "unknown" if chance is None else f"{chance:.0%}"


def _table(*columns: str) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for name in columns:
        table.add_column(Text(name, style="underline"), overflow="fold")
    return table
