"""The buyer's sheet: one page to take along. The verdict, what to offer and where to stop, what to say, the
one figure, bids, questions still open, cautions."""

from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from pricing.decisions.buy.buying import Buying, Limit
from pricing.reports.sheet import PrintedSheet, Section, SheetFigure, sheet
from pricing.words.buying import (
    LINE_WORDS,
    alternative_sentences,
    argument_sentences,
    basis_note,
    charges_words,
    gap_sentences,
    mended_limit_sentences,
    total_sentences,
    verdict_sentence,
)
from pricing.words.condition import mending_sentence
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.told import told
from pricing.words.sentences import car_words, name_words, range_sentence

BIDS_SHOWN: Final = 10
"""The last bids before the limit: they matter most, and a page holds no more."""

OTHERS_SHOWN: Final = 4
QUESTIONS_SHOWN: Final = 8
LONGEST: Final = 240
"""Characters of a text that somebody else wrote, such as a caution of a catalogue."""


def buying_sheet(facts: Buying, warning: str | None, words: LocaleWords = PLAIN) -> PrintedSheet:
    """What goes onto the buyer's page; ``warning``: what ``market_warning`` says of the market."""
    left = len(facts.questions) - QUESTIONS_SHOWN
    questions = [told(question, words) for question in facts.questions[:QUESTIONS_SHOWN]]
    if left > 0:
        questions.append(words.say("and {number} more", number=left))
    verdict = (verdict_sentence(facts, words), *gap_sentences(facts, words))
    worth = Section(words.say("What it is worth"), (*verdict, range_sentence(facts.valuation, words)))
    say = Section(words.say("What to say to the seller"), items=tuple(argument_sentences(facts, words)))
    ask = Section(words.say("Questions still open"), items=tuple(questions), boxes=True)
    others = _others(facts, words)
    second = [say, ask, others] if facts.bids.is_empty() else [say, _bids(facts, words), ask]
    cautions = (told(caution, words)[:LONGEST] for caution in facts.cautions)
    return sheet(
        words,
        warning,
        cautions,
        title=car_words(facts.valuation.car, words),
        basis=f"{basis_note(facts, words)} {charges_words(facts.rates, words)}",
        figures=_figures(facts, words),
        wide=(worth,),
        left=(_total(facts, words), *_better(facts, words), *([] if facts.bids.is_empty() else [others])),
        right=tuple(part for part in second if part.items or part.rows or part.texts),
    )


def _figures(facts: Buying, words: LocaleWords) -> tuple[SheetFigure, ...]:
    basis = words.word(facts.price_basis)

    def one(name: str, limit: Limit) -> SheetFigure:
        price = words.say("none") if limit.price is None else words.whole(limit.price, facts.currency)
        sure = words.say("{basis}, {share} sure", basis=basis, share=words.share(limit.certainty))
        return SheetFigure(name, price, sure)

    limits = (
        one(words.say("Open at"), facts.opening),
        one(words.say("Walk away above"), facts.walk_away),
    )
    if facts.asking is None:
        return limits
    name = words.say("Bid looked at") if facts.price_basis == "hammer" else words.say("Asked")
    return (SheetFigure(name, words.whole(facts.asking, facts.currency), basis), *limits)


def _total(facts: Buying, words: LocaleWords) -> Section:
    rows = [(_line(row, words), _amount(row, words)) for row in facts.day_one.iter_rows(named=True)]
    if facts.total is not None and rows:
        rows.append((words.say("in all"), _amount(vars(facts.total), words)))
    return Section(
        words.say("Until it stands ready"),
        (*total_sentences(facts, words), *mended_limit_sentences(facts, words)),
        head=(words.say("line"), facts.currency),
        rows=tuple(rows),
    )


def _line(row: Mapping[str, Any], words: LocaleWords) -> str:
    name = words.word(LINE_WORDS[row["line"]])
    if "rate" not in row["source"]:
        return name
    return words.say("{name} ({source})", name=name, source=told(row["source"], words))


def _amount(row: Mapping[str, Any], words: LocaleWords) -> str:
    """An amount to the smallest unit, a range in round figures, or a line to fill in."""
    low, mid, high = row["low"], row["mid"], row["high"]
    if mid is None:
        return "........"
    if low == high:
        return words.plain(mid)
    return words.span(words.number(float(low)), words.number(float(high)))


def _bids(facts: Buying, words: LocaleWords) -> Section:
    rows = [
        (words.number(float(row["price"])), words.plain(row["all_in"]), words.plain(row["total"]))
        for row in facts.bids.tail(BIDS_SHOWN).iter_rows(named=True)
    ]
    back = [
        words.say(
            "All-in {paid}: bid at most {price}.",
            paid=words.exact(row["all_in"], facts.currency), price=words.exact(row["price"], facts.currency),
        )
        for row in facts.bids_back.filter(pl.col("price").is_not_null()).tail(3).iter_rows(named=True)
    ]  # fmt: skip
    bid = words.say("bid ({currency})", currency=facts.currency)
    head = (bid, words.word("all-in"), words.say("with what is stated beside it"))
    return Section(words.say("Bids and what they come to"), tuple(back), head=head, rows=tuple(rows))


def _others(facts: Buying, words: LocaleWords) -> Section:
    base, at = facts.valuation.currency, pl.col("at")
    nearest = facts.alternatives.filter(at == at.first()).head(OTHERS_SHOWN).iter_rows(named=True)
    rows = [
        (
            f"{name_words(row, 'make', 'model', 'variant')}, {words.word(row['condition_band'])}",
            words.about(row["mid"], base),
        )
        for row in nearest
    ]
    head = (words.say("car, condition band"), words.say("mid price")) if rows else ()
    sentences = tuple(alternative_sentences(facts, words)[:1])
    return Section(words.say("The same money elsewhere"), sentences, head=head, rows=tuple(rows))


def _better(facts: Buying, words: LocaleWords) -> list[Section]:
    better = facts.better
    if better is None:
        return []
    rows = list(better.goals.iter_rows(named=True))[1:3]
    title = words.say("Mend this one, or buy better")
    return [Section(title, tuple(mending_sentence(row, better, words) for row in rows))]
