"""How much is known of a car's price, as a word and a count, and what each thing that was said of it
changed."""

from typing import Final

from pricing.decisions.valuation import Valuation
from pricing.model.opinion_bands import ALONE
from pricing.model.prediction import DEPTHS
from pricing.words.language.countries import country_words
from pricing.words.language.reader import number_words
from pricing.words.sentences import effect_words, option_words

KNOWN: Final = dict(
    zip(DEPTHS, ("Unknown make", "Hardly known", "Little known", "Fairly known", "Well known"), strict=True)
) | {ALONE: "By opinion alone"}
"""A word for each depth of evidence."""


def known_words(valuation: Valuation) -> tuple[str, str]:
    """The word, and the count behind it."""
    name = f"{valuation.car['make']} {valuation.car['model']}"
    count = valuation.sales.height
    sales = f"{number_words(count)} {'sale' if count == 1 else 'sales'} of the {name} on record"
    return KNOWN[valuation.evidence], sales if count else f"no sale of the {name} on record"


def facts_sentence(valuation: Valuation) -> str | None:
    """What each thing that was said of the car did to the middle price; None where nothing was said."""
    told = []
    for term in valuation.terms.iter_rows(named=True):
        name, car = str(term["term"]), valuation.car
        if name in ("make", "model", "variant", "date", "year"):
            continue
        said = car["condition_band"] or car["condition_score"] if name == "condition" else car.get(name)
        effect = effect_words(term["factor"])
        if effect == "no change":
            continue
        if name in (car.get("options") or ()):
            told.append(f"{option_words(name)} {effect}")
        elif said is not None and said != []:
            told.append(f"{_said(name, said)} {effect}")
    return f"What you said moved the middle price: {', '.join(told)}." if told else None


def _said(name: str, value: object) -> str:
    if name == "odometer_km" and isinstance(value, float):
        return f"{number_words(value)} km"
    if name == "country":
        return country_words(str(value))
    if isinstance(value, bool):
        return f"{option_words(name)} {'yes' if value else 'no'}"
    if name == "condition":
        return f"condition {value}"
    return f"{option_words(name)} {value}"
