"""The seller's sheet: one page. The facts of the car, its condition as inspected, what the price rests on,
and a draft for an advertisement."""

from typing import Any, Final

from pricing.car_fields import CONDITION, FIELDS
from pricing.decisions.sell.selling import Selling
from pricing.reports.sheet import PrintedSheet, Section, SheetFigure, sheet
from pricing.words.advertisement import advertisement
from pricing.words.condition import score_sentence, structure_sentence
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.told import told
from pricing.words.selling import advice_sentences, auction_sentences, channel_sentence, unsold_sentence
from pricing.words.sentences import evidence_sentence, name_words, option_words, range_sentence

FINDINGS_SHOWN: Final = 8


def selling_sheet(facts: Selling, warning: str | None, words: LocaleWords = PLAIN) -> PrintedSheet:
    """What goes onto the seller's page; ``warning``: what ``market_warning`` says of the market."""
    valuation, best = facts.valuation, facts.best
    asking = None if best.asking is None else words.whole(best.asking, facts.currency)
    basis = words.say(
        "Amounts in {currency}; prices paid are all-in, at {day}.",
        currency=facts.currency, day=words.day(valuation.as_of),
    )  # fmt: skip
    right = {
        words.say("What the price rests on"): (
            range_sentence(valuation, words),
            evidence_sentence(valuation, words),
        ),
        words.say("The sale"): (channel_sentence(facts, best, words), unsold_sentence(facts, words)),
        words.say("At auction"): auction_sentences(facts, words),
        words.say("Draft of an advertisement: it states nothing that was not seen"): advertisement(
            valuation.car, facts.inspection, asking, words
        ),
    }
    return sheet(
        words,
        warning,
        (told(caution, words) for caution in facts.cautions),
        title=name_words(valuation.car),
        basis=f"{basis} {told(facts.rates, words)}",
        figures=_figures(facts, words),
        wide=(Section(words.say("What is advised"), tuple(advice_sentences(facts, words))),),
        left=(_facts(facts, words), _condition(facts, words), _steps(facts, words)),
        right=tuple(Section(title, tuple(sentences)) for title, sentences in right.items()),
    )


def _figures(facts: Selling, words: LocaleWords) -> tuple[SheetFigure, ...]:
    best, currency = facts.best, facts.currency
    figures = []
    if best.asking is not None:
        figures.append(
            SheetFigure(words.say("Ask"), words.whole(best.asking, currency), words.word(best.channel))
        )
    elif facts.auction.reserve:
        reserve = words.whole(facts.auction.reserve, currency)
        figures.append(SheetFigure(words.say("Reserve"), reserve, words.word("hammer")))
    if best.net is not None:
        after = words.say("after charges, of a sale")
        figures.append(SheetFigure(words.say("Expect"), words.about(best.net.mid, currency), after))
    if best.weeks is not None:
        weeks = words.many("{number} week", "{number} weeks", round(best.weeks))
        figures.append(SheetFigure(words.say("In about"), weeks, words.say("half sell within")))
    return tuple(figures)


def _facts(facts: Selling, words: LocaleWords) -> Section:
    car = facts.valuation.car
    rows = [
        (words.word(FIELDS[name].label), value_words(name, car[name], words))
        for name in FIELDS
        if name not in (*CONDITION, "channel") and car.get(name) not in (None, [], ())
    ]
    return Section(words.say("The car, as its owner says"), head=("", ""), rows=tuple(rows))


def value_words(name: str, value: Any, words: LocaleWords = PLAIN) -> str:
    """What is said of a car as a person writes it.

    >>> value_words("odometer_km", 98000.0), value_words("history_file", True)
    ('98,000 km', 'yes')
    >>> value_words("options", ["servo_brakes", "overdrive"])
    'servo brakes, overdrive'
    """
    if isinstance(value, bool):
        return words.word("yes" if value else "no")
    if isinstance(value, list | tuple):
        return ", ".join(option_words(part, words) for part in value)
    if isinstance(value, float):
        return f"{words.number(value)} {FIELDS[name].unit}".strip()
    return words.word(str(value)) if FIELDS[name].words else str(value)


def _condition(facts: Selling, words: LocaleWords) -> Section:
    result = facts.inspection
    if result is None:
        band = facts.valuation.car.get("condition_band")
        stated = (
            words.say("Not inspected; not graded.")
            if band is None
            else words.say("Not inspected; said to be {band}.", band=words.word(band))
        )
        return Section(words.say("Condition"), (stated,))
    findings = result.holding.head(FINDINGS_SHOWN).select("title", "state").rows()
    return Section(
        words.say("Condition as inspected"),
        (score_sentence(result, words), structure_sentence(result, words)),
        head=(words.say("found"), words.say("state")) if findings else ("", ""),
        rows=tuple((words.word(title), words.word(state)) for title, state in findings),
    )


def _steps(facts: Selling, words: LocaleWords) -> Section:
    plan, title = facts.asking.get(facts.best.channel), words.say("Coming down")
    if plan is None:
        return Section(title, (words.say("An auction has no ladder of asking prices."),))
    rows = []
    for row in plan.ladder.iter_rows(named=True):
        sold = words.say("unknown") if row["sold_by_then"] is None else words.share(row["sold_by_then"])
        week = words.say("from week {number}", number=row["week"])
        rows.append((week, words.whole(row["asking"], facts.currency), sold))
    head = ("", words.say("ask"), words.say("sold before the next step"))
    return Section(title, head=head, rows=tuple(rows))
