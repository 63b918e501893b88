"""The buyer's sheet: one page to print and take along. Range, limits, bids, questions still open,
cautions."""

from collections.abc import Sequence
from html import escape
from importlib.resources import files
from string import Template
from typing import Final

import polars as pl

from pricing.decisions.buying import Buying, Limit
from pricing.words.buying import (
    LINE_WORDS,
    asking_sentences,
    basis_note,
    cents_words,
    cost_sentence,
    elsewhere_sentence,
)
from pricing.words.condition import mending_sentence
from pricing.words.sentences import CAUTION, car_words, exact_words, money_words, range_sentence

BIDS_SHOWN: Final = 12
"""The last bids before the limit: they matter most, and a page holds no more."""

OTHERS_SHOWN: Final = 4
QUESTIONS_SHOWN: Final = 9


def buying_page(facts: Buying) -> str:
    """The sheet as an HTML page of its own, for A4, every text in it escaped."""
    template = files("pricing.reports").joinpath("templates/buying_sheet.html").read_text(encoding="utf-8")
    worth = [range_sentence(facts.valuation), *asking_sentences(facts)]
    cautions = dict.fromkeys((CAUTION, *facts.cautions))
    left = len(facts.questions) - QUESTIONS_SHOWN
    questions = [*facts.questions[:QUESTIONS_SHOWN], *([f"and {left} more" if left > 0 else ""])]
    return Template(template).substitute(
        title=escape(car_words(facts.valuation.car)),
        basis=escape(f"{basis_note(facts)} {facts.rates}"),
        limits=_limits(facts),
        worth="".join(f"<p>{escape(text)}</p>" for text in worth),
        tables=_tables(facts),
        questions="".join(f'<li><span class="box"></span>{escape(text)}</li>' for text in questions if text),
        cautions="".join(f"<p>{escape(text)}</p>" for text in cautions),
    )


def _limits(facts: Buying) -> str:
    def one(name: str, limit: Limit) -> str:
        price = "none" if limit.price is None else exact_words(limit.price, facts.currency)
        return (
            f"<div>{name}<b>{escape(price)}</b>"
            f'<span class="quiet">{facts.price_basis}, {limit.certainty:.0%} sure</span></div>'
        )

    asked = ""
    if facts.asking is not None:
        name = "Bid looked at" if facts.price_basis == "hammer" else "Asked"
        price = escape(exact_words(facts.asking, facts.currency))
        asked = f'<div>{name}<b>{price}</b><span class="quiet">{facts.price_basis}</span></div>'
    return asked + one("Open at", facts.opening) + one("Walk away above", facts.walk_away)


def _tables(facts: Buying) -> str:
    better = "".join(
        f"<p>{escape(mending_sentence(row, facts.better))}</p>"
        for row in ([] if facts.better is None else facts.better.bands.iter_rows(named=True))
        if facts.better is not None
    )
    cost = f"<h2>On day one</h2><p>{escape(cost_sentence(facts))}</p>" + _cost(facts)
    others = f"<h2>The same money elsewhere</h2><p>{escape(elsewhere_sentence(facts))}</p>" + _others(facts)
    others += f"<h2>Mend this one, or buy better</h2>{better}" if better else ""
    if facts.bids.is_empty():
        return f'<div class="columns"><div>{cost}</div><div>{others}</div></div>'
    bids = "<h2>Bids and what they come to</h2>" + _bids(facts)
    return f'<div class="columns"><div>{cost}{others}</div><div>{bids}</div></div>'


def _cost(facts: Buying) -> str:
    rows = [
        (
            LINE_WORDS[row["line"]] + (f" ({row['source']})" if "rate" in row["source"] else ""),
            "........" if row["amount"] is None else f"{row['amount']:,}",
        )
        for row in facts.day_one.iter_rows(named=True)
    ]
    return _table(("line", facts.currency), rows) if rows else ""


def _bids(facts: Buying) -> str:
    rows = [
        (f"{row['price']:,.0f}", f"{row['all_in']:,}", f"{row['total']:,}")
        for row in facts.bids.tail(BIDS_SHOWN).iter_rows(named=True)
    ]
    back = "".join(
        f"<p>All-in {cents_words(row['all_in'], facts.currency)}: bid at most "
        f"{cents_words(row['price'], facts.currency)}.</p>"
        for row in facts.bids_back.filter(pl.col("price").is_not_null()).tail(3).iter_rows(named=True)
    )
    return _table((f"bid ({facts.currency})", "all-in", "total on day one"), rows, first=True) + back


def _others(facts: Buying) -> str:
    base = facts.valuation.currency
    rows = [
        (
            " ".join(str(row[part]) for part in ("make", "model", "variant") if row[part] is not None)
            + f", {row['condition_band']}",
            money_words(row["mid"], base),
        )
        for row in facts.elsewhere.head(OTHERS_SHOWN).iter_rows(named=True)
    ]
    return _table(("car, condition band", "mid price"), rows) if rows else ""


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, first: bool = False) -> str:
    """A table; all columns but the first are numbers, and the first too where ``first`` says so."""

    def cells(tag: str, row: tuple[str, ...]) -> str:
        return "".join(
            f"<{tag}{' class=number' if place or first else ''}>{escape(cell)}</{tag}>"
            for place, cell in enumerate(row)
        )

    body = "".join(f"<tr>{cells('td', row)}</tr>" for row in rows)
    return f"<table><tr>{cells('th', head)}</tr>{body}</table>"
