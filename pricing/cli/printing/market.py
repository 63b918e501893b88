"""What the command line shows of a market: what a load did, its fits, the price of a car."""

import json
from functools import partial
from typing import Any

import polars as pl

from pricing.cli.printing.console import caution, print_table, say
from pricing.decisions.buy.verdict import LIMITS
from pricing.decisions.valuation import Valuation
from pricing.store.market import Market
from pricing.words import sentences as words
from pricing.words.language.reader import day_words
from pricing.words.loading import load_sentence, rules_table, told_sentences
from pricing.words.opinions import ground_sentence, statement_words
from pricing.words.scores import ahead_sentence

RULES_SHOWN = 10
SALES_SHOWN = 8


def show_report(report: Any, *, dry_run: bool = False) -> None:
    """What became of every row of the files just loaded, or would have in a dry run."""
    say(load_sentence(report, dry_run=dry_run), *told_sentences(report))
    if report.by_rule:
        rules = rules_table(report)
        rows, others = rules.head(RULES_SHOWN).to_dicts(), rules.slice(RULES_SHOWN)
        if others.height:
            rows.append({"rule": f"{others.height} other rules", "rows": others["rows"].sum()})
        verb = "would be kept" if dry_run else "are kept"
        say(f"Rejected rows {verb} in quarantine, as they were given, with the rules they break:")
        print_table({"rule broken": "{rule}", "rows": "{rows:,}"}, rows, figures=True)


def show_new_market(market: Market) -> None:
    """What currency a market that was just made keeps its prices in."""
    say(f"prices are kept in {market.base_currency}; for another currency: pricing currency CODE")


def show_fit(facts: dict[str, Any], fit_id: str) -> None:
    """What a fit has learnt from."""
    if facts.get("opinion_alone"):
        say(
            f"{facts['opinions']:,} statements; with {facts['sales']:,} sales, too few for a price "
            f"model, prices are opinion alone (fit {fit_id})"
        )
        return
    say(
        f"fitted on {facts['sales']:,} sales, {facts['unsold']:,} unsold lots and {facts['asking']:,} asking "
        f"prices from {facts['first_date']} to {facts['last_date']}; ranges calibrated on the "
        f"{facts['calibration_sales']:,} latest sales (fit {fit_id})",
        ahead_sentence(facts),
    )


def show_fits(fits: pl.DataFrame) -> None:
    """The kept fits, a line each."""
    columns = {
        "fit": "{fit_id}", "made": "{fitted_at:%Y-%m-%d %H:%M}", "sales": "{sales:,}",
        "first sale": "{first_date}", "last sale": "{last_date}", "version": "{version}",
    }  # fmt: skip
    rows = (row | json.loads(row["facts"]) for row in fits.iter_rows(named=True))
    print_table(columns, rows, figures=True)


def show_valuation(valuation: Valuation, limits: tuple[float, ...] = LIMITS) -> None:
    """A valuation as a person reads it, the caution last."""
    say("")
    say(words.car_words(valuation.car), style="bold")
    say(words.range_sentence(valuation))
    if valuation.asking is not None:
        say(words.standing_sentence(valuation, limits))
    if valuation.mid is not None:
        say("")
        _print_terms(valuation)
    say("")
    _print_bands(valuation)
    say("", words.evidence_sentence(valuation))
    ground = ground_sentence(valuation)
    if ground is not None:
        say(ground)
    say(*(f"  {statement_words(row)}" for row in valuation.opinions.iter_rows(named=True)))
    if not valuation.sales.is_empty():
        _print_sales(valuation)
    say("")
    caution(words.CAUTION)


def _print_terms(valuation: Valuation) -> None:
    terms = valuation.terms.with_columns(price=pl.col("factor").cum_prod()).to_dicts()
    columns: dict[str, Any] = {
        "term": words.term_words,
        "effect": lambda term: "" if term is terms[0] else words.effect_words(term["factor"]),
        "price so far": lambda term: words.money_words(term["price"], valuation.currency),
    }
    title = f"What makes up the mid price ({words.basis_words(valuation)})"
    print_table(columns, terms, figures=True, title=title)


def _print_bands(valuation: Valuation) -> None:
    def price(band: dict[str, Any], level: str) -> str:
        if band["reason"] is not None:
            return f"no range: {band['reason']}" if level == "mid" else ""
        return words.money_words(band[level], valuation.currency)

    levels = {level: partial(price, level=level) for level in ("low", "mid", "high")}
    title = f"This car in each condition band ({words.basis_words(valuation)})"
    print_table({"condition band": "{condition_band}", **levels}, valuation.bands, figures=True, title=title)


def _print_sales(valuation: Valuation) -> None:
    nearest = valuation.sales.head(SALES_SHOWN)
    columns: dict[str, Any] = {
        "sold": lambda sale: day_words(sale["event_date"]),
        "variant": "{variant}",
        "year": "{year}",
        "condition band": lambda sale: sale["condition_band"] or "not graded",
        "odometer": "{odometer_km:,.0f} km",
        "price": lambda sale: words.exact_words(sale["price"], valuation.currency),
        "source": "{source} {source_ref}",
    }
    prices = f"{valuation.basis} prices in {valuation.currency} on the day"
    print_table(columns, nearest, figures=True, title=f"The {nearest.height} nearest sales ({prices})")
