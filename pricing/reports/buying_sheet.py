"""The buyer's sheet: one page to take along. The verdict, what to offer and where to stop, what to say, the
one figure, bids, questions still open, cautions."""

from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from pricing.decisions.buying import Buying, Limit
from pricing.reports.sheet import Figure, Section, Sheet, warned
from pricing.words.buying import (
    LINE_WORDS,
    alternative_sentences,
    argument_sentences,
    basis_note,
    cents_words,
    gap_sentences,
    mended_limit_sentences,
    total_sentences,
    verdict_sentence,
)
from pricing.words.condition import mending_sentence
from pricing.words.reader import cents, number_words
from pricing.words.sentences import car_words, exact_words, money_words, range_sentence

BIDS_SHOWN: Final = 10
"""The last bids before the limit: they matter most, and a page holds no more."""

OTHERS_SHOWN: Final = 4
QUESTIONS_SHOWN: Final = 8
LONGEST: Final = 240
"""Characters of a text that somebody else wrote, such as a caution of a catalogue."""


def buying_sheet(facts: Buying, warning: str | None) -> Sheet:
    """What goes onto the buyer's page; ``warning``: what ``market_warning`` says of the market."""
    left = len(facts.questions) - QUESTIONS_SHOWN
    questions = [*facts.questions[:QUESTIONS_SHOWN], *([f"and {left} more"] if left > 0 else [])]
    worth = Section(
        "What it is worth", (verdict_sentence(facts), *gap_sentences(facts), range_sentence(facts.valuation))
    )
    say = Section("What to say to the seller", items=tuple(argument_sentences(facts)))
    ask = Section("Questions still open", items=tuple(questions), boxes=True)
    others = _others(facts)
    second = [say, ask, others] if facts.bids.is_empty() else [say, _bids(facts), ask]
    return Sheet(
        title=car_words(facts.valuation.car),
        basis=f"{basis_note(facts)} {facts.rates}",
        figures=_figures(facts),
        wide=(worth,),
        left=(_total(facts), *_better(facts), *([] if facts.bids.is_empty() else [others])),
        right=tuple(part for part in second if part.items or part.rows or part.texts),
        cautions=tuple(text[:LONGEST] for text in dict.fromkeys((*warned(warning), *facts.cautions))),
    )


def _figures(facts: Buying) -> tuple[Figure, ...]:
    def one(name: str, limit: Limit) -> Figure:
        price = "none" if limit.price is None else exact_words(limit.price, facts.currency)
        return Figure(name, price, f"{facts.price_basis}, {limit.certainty:.0%} sure")

    asked = []
    if facts.asking is not None:
        name = "Bid looked at" if facts.price_basis == "hammer" else "Asked"
        asked.append(Figure(name, exact_words(facts.asking, facts.currency), facts.price_basis))
    return (*asked, one("Open at", facts.opening), one("Walk away above", facts.walk_away))


def _total(facts: Buying) -> Section:
    rows = [
        (LINE_WORDS[row["line"]] + (f" ({row['source']})" if "rate" in row["source"] else ""), _amount(row))
        for row in facts.day_one.iter_rows(named=True)
    ]
    if facts.total is not None and rows:
        total = facts.total
        ends = {"low": total.low, "mid": total.mid, "high": total.high}
        rows.append(("in all", _amount(ends)))
    return Section(
        "Until it stands ready",
        (*total_sentences(facts), *mended_limit_sentences(facts)),
        head=("line", facts.currency),
        rows=tuple(rows),
    )


def _amount(row: Mapping[str, Any]) -> str:
    """An amount to the smallest unit, a range in round figures, or a line to fill in."""
    low, mid, high = row["low"], row["mid"], row["high"]
    if mid is None:
        return "........"
    return cents(mid) if low == high else f"{number_words(low)} to {number_words(high)}"


def _bids(facts: Buying) -> Section:
    rows = [
        (number_words(row["price"]), cents(row["all_in"]), cents(row["total"]))
        for row in facts.bids.tail(BIDS_SHOWN).iter_rows(named=True)
    ]
    back = [
        f"All-in {cents_words(row['all_in'], facts.currency)}: bid at most "
        f"{cents_words(row['price'], facts.currency)}."
        for row in facts.bids_back.filter(pl.col("price").is_not_null()).tail(3).iter_rows(named=True)
    ]
    return Section(
        "Bids and what they come to",
        tuple(back),
        head=(f"bid ({facts.currency})", "all-in", "with what is stated beside it"),
        rows=tuple(rows),
    )


def _others(facts: Buying) -> Section:
    base = facts.valuation.currency
    rows = [
        (
            " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)
            + f", {row['condition_band']}",
            money_words(row["mid"], base),
        )
        for row in facts.alternatives.filter(pl.col("at") == pl.col("at").first())
        .head(OTHERS_SHOWN)
        .iter_rows(named=True)
    ]
    head = ("car, condition band", "mid price") if rows else ()
    texts = tuple(alternative_sentences(facts)[:1])
    return Section("The same money elsewhere", texts, head=head, rows=tuple(rows))


def _better(facts: Buying) -> list[Section]:
    better = facts.better
    if better is None:
        return []
    rows = list(better.goals.iter_rows(named=True))[1:3]
    return [Section("Mend this one, or buy better", tuple(mending_sentence(row, better) for row in rows))]
