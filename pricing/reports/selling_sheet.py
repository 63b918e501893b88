"""The seller's sheet: one page. The facts of the car, its condition as inspected, what the price rests on,
and a draft for an advertisement."""

from typing import Any, Final

from pricing.car_fields import CONDITION, FIELDS
from pricing.decisions.sell.selling import Selling
from pricing.reports.sheet import Figure, Section, Sheet, warned
from pricing.words.advertisement import advertisement
from pricing.words.condition import score_sentence, structure_sentence
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.told import told
from pricing.words.selling import advice_sentences, auction_sentences, channel_sentence, unsold_sentence
from pricing.words.sentences import evidence_sentence, name_words, option_words, range_sentence

FINDINGS_SHOWN: Final = 8


def selling_sheet(facts: Selling, warning: str | None, words: LocaleWords = PLAIN) -> Sheet:
    """What goes onto the seller's page; ``warning``: what ``market_warning`` says of the market."""
    valuation, best = facts.valuation, facts.best
    asked = None if best.asking is None else words.whole(best.asking, facts.currency)
    basis = words.say(
        "Amounts in {currency}; prices paid are all-in, at {day}.",
        currency=facts.currency, day=words.day(valuation.as_of),
    )  # fmt: skip
    draft = words.say("Draft of an advertisement: it states nothing that was not seen")
    rests = (range_sentence(valuation, words), evidence_sentence(valuation, words))
    sale = (channel_sentence(facts, facts.best, words), unsold_sentence(facts, words))
    cautions = (*warned(warning, words), *(told(text, words) for text in facts.cautions))
    return Sheet(
        title=name_words(valuation.car),
        basis=f"{basis} {told(facts.rates, words)}",
        figures=_figures(facts, words),
        wide=(Section(words.say("What is advised"), tuple(advice_sentences(facts, words))),),
        left=(_facts(facts, words), _condition(facts, words), _steps(facts, words)),
        right=(
            Section(words.say("What the price rests on"), rests),
            Section(words.say("The sale"), sale),
            Section(words.say("At auction"), tuple(auction_sentences(facts, words))),
            Section(draft, tuple(advertisement(valuation.car, facts.inspection, asked, words))),
        ),
        cautions=tuple(dict.fromkeys(cautions)),
        language=words.tag,
        cautions_title=words.say("Cautions"),
    )


def _figures(facts: Selling, words: LocaleWords) -> tuple[Figure, ...]:
    best, currency = facts.best, facts.currency
    shown = []
    if best.asking is not None:
        shown.append(Figure(words.say("Ask"), words.whole(best.asking, currency), words.word(best.channel)))
    elif facts.auction.reserve:
        reserve = words.whole(facts.auction.reserve, currency)
        shown.append(Figure(words.say("Reserve"), reserve, words.word("hammer")))
    if best.net is not None:
        after = words.say("after charges, of a sale")
        shown.append(Figure(words.say("Expect"), words.about(best.net.mid, currency), after))
    if best.weeks is not None:
        weeks = words.many("{number} week", "{number} weeks", round(best.weeks))
        shown.append(Figure(words.say("In about"), weeks, words.say("half sell within")))
    return tuple(shown)


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
    seen = facts.inspection
    if seen is None:
        band = facts.valuation.car.get("condition_band")
        said = (
            words.say("Not inspected; not graded.")
            if band is None
            else words.say("Not inspected; said to be {band}.", band=words.word(band))
        )
        return Section(words.say("Condition"), (said,))
    held = seen.holding.head(FINDINGS_SHOWN)
    return Section(
        words.say("Condition as inspected"),
        (score_sentence(seen, words), structure_sentence(seen, words)),
        head=(words.say("found"), words.say("state")) if held.height else ("", ""),
        rows=tuple(
            (words.word(title), words.word(state)) for title, state in held.select("title", "state").rows()
        ),
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
