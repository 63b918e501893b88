"""The seller's sheet: one page. The facts of the car, its condition as inspected, what the price rests on,
and a draft for an advertisement."""

from typing import Any, Final

from pricing.car_fields import CONDITION, FIELDS
from pricing.decisions.selling import Selling
from pricing.reports.sheet import Figure, Section, Sheet, warned
from pricing.words.advertisement import advertisement, name_words
from pricing.words.condition import score_sentence, structure_sentence
from pricing.words.reader import day_words, number_words
from pricing.words.selling import advice_sentences, auction_sentences, channel_sentence, unsold_sentence
from pricing.words.sentences import evidence_sentence, exact_words, money_words, option_words, range_sentence

FINDINGS_SHOWN: Final = 8


def selling_sheet(facts: Selling, warning: str | None) -> Sheet:
    """What goes onto the seller's page; ``warning``: what ``market_warning`` says of the market."""
    valuation, best = facts.valuation, facts.best
    asked = None if best.asking is None else exact_words(best.asking, facts.currency)
    basis = (
        f"Amounts in {facts.currency}; prices paid are all-in, at {day_words(valuation.as_of)}. {facts.rates}"
    )
    return Sheet(
        title=name_words(valuation.car),
        basis=basis,
        figures=_figures(facts),
        wide=(Section("What is advised", tuple(advice_sentences(facts))),),
        left=(_facts(facts), _condition(facts), _steps(facts)),
        right=(
            Section("What the price rests on", (range_sentence(valuation), evidence_sentence(valuation))),
            Section(
                "The sale",
                (channel_sentence(facts, facts.best), unsold_sentence(facts)),
            ),
            Section("At auction", tuple(auction_sentences(facts))),
            Section(
                "Draft of an advertisement: it states nothing that was not seen",
                tuple(advertisement(valuation.car, facts.inspection, asked)),
            ),
        ),
        cautions=tuple(dict.fromkeys((*warned(warning), *facts.cautions))),
    )


def _figures(facts: Selling) -> tuple[Figure, ...]:
    best, currency = facts.best, facts.currency
    shown = []
    if best.asking is not None:
        shown.append(Figure("Ask", exact_words(best.asking, currency), best.channel))
    elif facts.auction.reserve:
        shown.append(Figure("Reserve", exact_words(facts.auction.reserve, currency), "hammer"))
    if best.net is not None:
        shown.append(Figure("Expect", money_words(best.net.mid, currency), "after charges, of a sale"))
    if best.weeks is not None:
        shown.append(Figure("In about", f"{best.weeks:.0f} weeks", "half sell within"))
    return tuple(shown)


def _facts(facts: Selling) -> Section:
    car = facts.valuation.car
    rows = [
        (FIELDS[name].label, value_words(name, car[name]))
        for name in FIELDS
        if name not in (*CONDITION, "channel") and car.get(name) not in (None, [], ())
    ]
    return Section("The car, as its owner says", head=("", ""), rows=tuple(rows))


def value_words(name: str, value: Any) -> str:
    """What is said of a car as a person writes it.

    >>> value_words("odometer_km", 98000.0), value_words("history_file", True)
    ('98,000 km', 'yes')
    >>> value_words("options", ["servo_brakes", "overdrive"])
    'servo brakes, overdrive'
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(option_words(part) for part in value)
    if isinstance(value, float):
        return f"{number_words(value)} {FIELDS[name].unit}".strip()
    return str(value)


def _condition(facts: Selling) -> Section:
    seen = facts.inspection
    if seen is None:
        band = facts.valuation.car.get("condition_band")
        said = "not graded" if band is None else f"said to be {band}"
        return Section("Condition", (f"Not inspected; {said}.",))
    held = seen.holding.head(FINDINGS_SHOWN)
    return Section(
        "Condition as inspected",
        (score_sentence(seen), structure_sentence(seen)),
        head=("found" if held.height else "", "state" if held.height else ""),
        rows=tuple(held.select("title", "state").rows()),
    )


def _steps(facts: Selling) -> Section:
    plan = facts.asking.get(facts.best.channel)
    if plan is None:
        return Section("Coming down", ("An auction has no ladder of asking prices.",))
    rows = []
    for row in plan.ladder.iter_rows(named=True):
        sold = "unknown" if row["sold_by_then"] is None else f"{row['sold_by_then']:.0%}"
        rows.append((f"from week {row['week']}", exact_words(row["asking"], facts.currency), sold))
    return Section("Coming down", head=("", "ask", "sold before the next step"), rows=tuple(rows))
