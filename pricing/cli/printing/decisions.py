"""What the command line shows a buyer and a seller."""

from rich.console import Console
from rich.text import Text

from pricing.cli.printing.terminal import console, text_table
from pricing.decisions.buy.buying import Buying
from pricing.decisions.sell.selling import Selling
from pricing.words.buying import LINE_WORDS, basis_note, buying_sentences, cents_words
from pricing.words.condition import goals_sentence, mending_sentence
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
        table = text_table("until it stands ready", "amount", "from")
        for row in facts.day_one.iter_rows(named=True):
            amount = "" if row["mid"] is None else cents_words(row["mid"], currency)
            if row["low"] != row["high"]:
                amount = f"{money_words(row['low'], currency)} to {money_words(row['high'], currency)}"
            beside = "" if row["counted"] else ", not counted against the limit"
            table.add_row(LINE_WORDS[row["line"]], amount, Text(row["source"] + beside))
        out.print(table)
    if facts.bids.height:
        table = text_table("bid", "premium", "all-in", "total", "left to the limit")
        for row in facts.bids.iter_rows(named=True):
            table.add_row(*("" if row[name] is None else cents_words(row[name], currency) for name in _BID))
        out.print(table)
        table = text_table("all-in", "highest hammer price")
        for row in facts.bids_back.iter_rows(named=True):
            hammer = "none" if row["price"] is None else cents_words(row["price"], currency)
            table.add_row(cents_words(row["all_in"], currency), hammer)
        out.print(table)
    _others(out, facts)
    if facts.better is not None:
        out.print(Text(goals_sentence(facts.better)))
        for row in facts.better.goals.iter_rows(named=True):
            out.print(Text(mending_sentence(row, facts.better)))
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
    if facts.auction.evidence.tells:
        table = text_table("reserve", "chance of a sale", "net if sold", "left on average")
        for row in facts.auction.reserves.iter_rows(named=True):
            table.add_row(
                exact_words(row["reserve"], currency) if row["reserve"] else "none",
                f"{row['chance']:.0%}",
                *("" if row[name] is None else money_words(row[name], currency) for name in ("net", "left")),
            )
        out.print(table)
    for channel, plan in facts.asking.items():
        table = text_table(f"asked ({channel})", "within 4 weeks", "8 weeks", "12 weeks", "left on average")
        for row in plan.prices.iter_rows(named=True):
            table.add_row(
                exact_words(row["asking"], currency),
                *(_chance(row[f"within_{w}"]) for w in (4, 8, 12)),
                money_words(row["left"], currency),
            )
        out.print(table)
        table = text_table(f"ladder ({channel})", "from week", "sold before the next step")
        for row in plan.ladder.iter_rows(named=True):
            table.add_row(
                exact_words(row["asking"], currency), str(row["week"]), _chance(row["sold_by_then"])
            )
        out.print(table)
    if facts.first.height:
        table = text_table("what if", "cost", "a sale then leaves", "more on average", "pays")
        for row in facts.first.iter_rows(named=True):
            cost = "not said" if row["cost_mid"] is None else money_words(row["cost_mid"], currency)
            table.add_row(
                Text(row["item"]),
                cost,
                money_words(row["net_after"], currency),
                f"{row['gain']:+,.0f}",
                "" if row["pays"] is None else f"{row['pays']:.0%}",
            )
        out.print(table)
    for caution in facts.cautions:
        out.print(Text(caution, style="italic"))


_BID = ("price", "premium", "all_in", "total", "left")


def _others(out: Console, facts: Buying) -> None:
    base = facts.valuation.currency
    for (name,), rows in facts.alternatives.group_by("at", maintain_order=True):
        table = text_table(
            f"for {name}", "about", "condition band", "low", "mid", "high", "sell for it", "evidence"
        )
        for row in rows.head(OTHERS_SHOWN).iter_rows(named=True):
            car = " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)
            prices = (money_words(row[end], base) for end in ("low", "mid", "high"))
            table.add_row(
                Text(car),
                str(row["year"]),
                row["condition_band"],
                *prices,
                f"{row['within']:.0%}",
                row["evidence"],
            )
        out.print(table)


def _chance(chance: float | None) -> str:
    return "unknown" if chance is None else f"{chance:.0%}"
