"""What people's headings may mean: the columns of ours, each with how like its known names the heading is."""

import re
import tomllib
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Final

import polars as pl
from rapidfuzz import fuzz, process

from pricing.intake.written.money import currency_named
from pricing.intake.written.numbers import without_accents
from pricing.intake.written.words import known_words

_NONE: Final = "none_of_ours"

CAR: Final = "car"
"""A whole car in one cell: no column of ours, but several."""

NEAR: Final = 86.0
"""Likeness (0-100) from which a heading is taken for a near spelling of a known one."""

SHORTEST_CUT: Final = 4
"""Letters of a heading from which it is taken for the beginning of a known one."""

MOST_CUT: Final = 4
"""Columns that such a beginning may leave open: the cells decide."""

_BRACKETS: Final = re.compile(r"[(\[{].*?[)\]}]")
_UNITS: Final = re.compile(
    r"\b(?:in|en|eur|gbp|usd|chf|sek|nok|dkk|aud|cad|nzd|inr|dm|rs|euros?|pounds?|sterling|kr|incl?|inkl|ca"
    r"|approx|000s?|tsd|thousands?|reading|shown|run|gelaufen|parcourus?)\b"
)
_OF_THE_CAR: Final = re.compile(
    r"\b(?:vehicle|veh|cars?|auto|fahrzeug|kfz|voertuig|fordon|bilens?|vehicule|voiture|vettura|vehiculo|coche)\b"
)
"""What a heading such as Vehicle make says of every column of a table of cars."""
_SHORT: Final = {
    "purch": "purchase", "mfr": "manufacturer", "manuf": "manufacture", "pd": "paid", "verk": "verkauft"
}  # fmt: skip
"""Abbreviations within headings; common practice, no source."""
_WITH_PREMIUM: Final = re.compile(
    r"\b(?:with|incl?|including|plus|mit|inkl|einschl|avec|compris\w*|inclus\w*|con"
    r"|inclusief|inklusive|all in)\b"
)
_PREMIUM: Final = re.compile(
    r"\b(?:premium|bp|fees?|aufgeld|frais|diritti|comision|commissioni|opgeld|provision|slagavgift)\b"
)
DAY_WORDS: Final = {"date", "datum", "data", "fecha", "dato"}
"""Words of a heading that say that its column is of days."""
_SUMS: Final = {"amount", "premium", "low_estimate", "high_estimate", "reserve", "highest_bid"}
_COUNTED: Final = re.compile(r"(?:^|\s)(?:no|nr|num|number|nummer|numero|nummero|id)$")
_MONEY_ALONE: Final = re.compile(
    r"(?:in )?(?:[£€$¥₹]|eur|gbp|usd|chf|sek|nok|dkk|aud|cad|inr|dm|kr|euros?|pounds|t€|k€|teur|tsd ?€)"
    r"(?:s|k| ?['\u2019]?000s?)?",
    re.IGNORECASE,
)
_ESTIMATE: Final = re.compile(
    r"\b(?:est|estimates?|schatz\w*|taxe|estimation|stima|estimacion|taxatie|utrop\w*)\b"
)
_LOWER_END: Final = re.compile(
    r"\b(?:low|lower|min|minim\w*|from|von|ab|untere\w*|bas|basse|bassa|da|baja|laag|vanaf|lagt)\b"
)
_UPPER_END: Final = re.compile(r"\b(?:high|upper|max|maxim\w*|to|bis|obere\w*|haute?|alta|hoog|tot|hogt)\b")
"""Which end of an estimate a heading is of; common practice, no source."""
_FOR_HOW_MUCH: Final = re.compile(r"\s(?:for|at|fur|um|bei|pour|a|per|por|en|voor|for|till)$")
"""Behind a word of the sale, such as Adjugé à."""
_AGE_WHEN: Final = re.compile(
    r"(?:age|alter|eta|edad|leeftijd|alder) (?:when|at|on|bei|beim|a la|au|al|alla|bij|vid)\b"
    r"(?!.*\b(?:driver|owner|buyer)\b)"
)
_DISTANCE: Final = re.compile(r"\b(?:t?kms?|miles|mls)\b")
_THOUSANDS: Final = re.compile(
    r"\b(?:k(?:f|ff|chf|sek|kr|eur|euro|usd|gbp)|tkr|tsek)\b|"
    r"['\u2019,(]?\b000s?\b|[£€$₹]\s?k\b|\bk\s?[£€$₹]|\bt\s?€|\bteur\b|\bin thousands?\b"
    r"|\b(?:in )?tsd\b|\bmille\b",
    re.IGNORECASE,
)
_ASKING: Final = re.compile(
    r"\b(?:ask\w*|list price|listed at|advertised|wanted|offers (?:around|over)|angebotspreis|wunschpreis"
    r"|preisvorstellung|verhandlungs\w+|vh?b|gefordert|inserats?preis|prix de l annonce"
    r"|prix (?:demande|affiche|annonce|souhaite)|(?:prezzo )?(?:richiest[ao]|di richiesta|trattabile|esposto)"
    r"|precio (?:pedido|solicitado|anunciado|negociable)|se pide|vraagprijs|gevraagde?|in advertentie|begart"
    r"|annonspris|utannonserat|priside)\b"
)
_OWN_COST: Final = frozenset({"cost", "value"})
"""Headings of a price that may be what the seller once paid: any other goes before them."""
_RATE: Final = re.compile(r"%|\bper ?cent\b|\bprozent\b|\bpct\b", re.IGNORECASE)
_OF_ANOTHER_THING: Final = re.compile(
    r"\b(?:expir\w*|expiry|due|until|valid\w*|mot|tuv|service\w*|born|birth\w*|geburt\w*|renewal|next|tax\w*"
    r"|restor\w*|restaur\w*|repair\w*|reparatur\w*|insur\w*|versicher\w*|assur\w*|deposit|new|neu|neuf|nuovo"
    r"|reduced|visit\w*|viewing|shipping|transport)\b"
)
"""Words of a day or a sum of money that is not that of the sale."""
_CURRENCY: Final = re.compile(r"[£€¥₹]|\b(?:[A-Z]{3}|[Ee]uros?|[Pp]ounds|[Ss]terling|[Ff]ranken|[Kk]ronor)\b")


_LETTERS: Final = str.maketrans({"æ": "ae", "ø": "o", "œ": "oe"})
"""Letters that the Unicode decomposition leaves as they are."""


def plain(heading: str) -> str:
    """A heading in lower case without accents and punctuation.

    >>> plain("N° de châssis"), plain("Est. (£)"), plain("PurchDate"), plain("Lot #")
    ('n de chassis', 'est', 'purch date', 'lot no')
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", heading).replace("#", " no ").casefold()
    bare = without_accents(parted.translate(_LETTERS))
    return " ".join(re.sub(r"[\W_]+", " ", bare).split())


def plain_names(frame: pl.DataFrame) -> pl.DataFrame:
    """A frame none of whose names is taken for a pattern of names (``*``, ``^...$``) or ends at a zero byte.

    >>> plain_names(pl.DataFrame({"*": [1], "^make$": [2], "a\\x00b": [3], "year": [4]})).columns
    ['(*)', '(^make$)', 'a�b', 'year']
    """
    renamed = {name: plain_name(name) for name in frame.columns if name != plain_name(name)}
    taken = set(frame.columns)
    for name in renamed:
        while renamed[name] in taken:
            renamed[name] += "_"
        taken.add(renamed[name])
    return frame.rename(renamed)


def plain_name(name: str) -> str:
    """One name as ``plain_names`` has it."""
    name = name.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return f"({name})" if name == "*" or (name[:1] == "^" and name[-1:] == "$") else name


def meanings(heading: str) -> dict[str, float]:
    """The columns of ours that a heading may mean, with a likeness up to 1.

    >>> meanings("Prix de vente (€)")["amount"], "make" in meanings("Marqe"), meanings("Colour")
    (1.0, True, {})
    """
    by_column: dict[str, float] = {}

    def may_mean(columns: Iterable[str], sure: float) -> None:
        by_column.update({ours: max(by_column.get(ours, 0.0), sure) for ours in columns})

    whole = plain(heading)
    if _PREMIUM.search(whole) and _WITH_PREMIUM.search(whole):
        return {"amount": 0.97}
    if _MONEY_ALONE.fullmatch(" ".join(heading.split())):
        return {"amount": 0.9}
    if _AGE_WHEN.match(whole):
        return {"year": 0.97}
    low, high = _LOWER_END.search(whole) is not None, _UPPER_END.search(whole) is not None
    if _ESTIMATE.search(whole) and low != high:
        return {"low_estimate" if low else "high_estimate": 0.98}
    bare = " ".join(_UNITS.sub(" ", plain(_BRACKETS.sub(" ", heading))).split())
    long = " ".join(_SHORT.get(word, word) for word in bare.split())
    asking = 0.96 if _ASKING.search(whole) else 1.0  # what was paid goes before it
    for text, worth in (
        (whole, 1.0), (bare, 0.97), (long, 0.97), (_OF_THE_CAR.sub("", long).strip(), 0.96),
        (_FOR_HOW_MUCH.sub("", long), 0.95),
    ):  # fmt: skip
        if text in _nothing():
            return {}
        for ours in _known().get(text, ()):
            of_prices = asking * (0.9 if text in _OWN_COST else 1.0)
            may_mean([ours], worth * of_prices if ours == "amount" else worth)
    if "amount" in by_column and currency_of(heading) is not None:
        by_column = {ours: sure for ours, sure in by_column.items() if ours in _SUMS}
    if is_rate := _RATE.search(heading):  # shares of a price are no money
        by_column = {ours: sure for ours, sure in by_column.items() if ours not in _SUMS}
    of_another_thing = _OF_ANOTHER_THING.search(whole)
    if not by_column and of_another_thing and _OF_THE_CAR.match(whole):
        return {CAR: 0.8}
    if not by_column and (of_another_thing or is_rate):
        return {}
    if by_column or len(bare) < 3:
        return by_column or ({"odometer_km": 0.9} if _DISTANCE.search(whole) else {})
    if cut := _cut_short(bare, heading.strip().endswith(".")):
        return dict.fromkeys(cut, 0.97)
    for name, likeness, _ in process.extract(
        bare, list(_known()), scorer=fuzz.ratio, score_cutoff=NEAR, limit=5
    ):
        if len(name) > 3:
            may_mean(_known()[name], round(0.0095 * likeness, 3))
    if not by_column and _COUNTED.search(whole):
        by_column["source_ref"] = 0.8
    if not by_column and _DISTANCE.search(whole):
        return {"odometer_km": 0.9}
    if not by_column and DAY_WORDS & set(whole.split()):
        by_column["event_date"] = 0.7
    words = f" {bare} "
    for name, all_ours in _known().items():
        if len(name) > 4 and f" {name} " in words:
            may_mean(all_ours, 0.6 + min(0.2, len(name) / 100))
    return by_column


def asks(heading: str) -> bool:
    """Whether a heading of a price is that of an asking price.

    >>> asks("List price"), asks("Sold for")
    (True, False)
    """
    return _ASKING.search(plain(heading)) is not None


def says_nothing(heading: str) -> bool:
    """Whether a heading is known to be of none of our columns, such as a telephone number.

    >>> says_nothing("Reg. no."), says_nothing("Year")
    (True, False)
    """
    whole = plain(heading)
    of_another_thing = bool(_OF_ANOTHER_THING.search(whole) or _RATE.search(heading))
    return whole in _nothing() or (of_another_thing and not meanings(heading))


def in_thousands(heading: str) -> bool:
    """Whether a heading of money says that its figures are thousands.

    >>> in_thousands("£k"), in_thousands("Price (£000)"), in_thousands("T€"), in_thousands("Price £")
    (True, True, True, False)
    """
    return _THOUSANDS.search(" ".join(heading.split())) is not None


def currency_of(heading: str) -> str | None:
    """The one currency that a heading names.

    >>> currency_of("Hammer price (£)"), currency_of("Preis in EUR"), currency_of("VIN")
    ('GBP', 'EUR', None)
    """
    named = {currency_named(text) for text in _CURRENCY.findall(heading)} - {None}
    return named.pop() if len(named) == 1 else None


def _cut_short(bare: str, stopped: bool) -> set[str]:
    """The columns whose known headings begin with a heading of one word, as ``Zust.`` does ``Zustand``; of
    three letters only with a full stop, and of several columns none of money. Common practice, no source.

    >>> _cut_short("zust", True), _cut_short("kilom", False), _cut_short("mod", False)
    ({'condition_band'}, {'odometer_km'}, set())
    """
    if len(bare) < SHORTEST_CUT - stopped or " " in bare or (not stopped and bare in _whole_words()):
        return set()
    begun = {known for known in (*_known(), *_nothing()) if known.startswith(bare) and " " not in known}
    if begun & _nothing():
        return set()
    columns = {ours for known in begun for ours in _known()[known]}
    return columns if len(columns) == 1 else columns - _SUMS if len(columns) <= MOST_CUT else set()


@cache
def _whole_words() -> frozenset[str]:
    """Words of the closed lists, which as headings are no beginnings of others."""
    return frozenset(plain(word) for words in known_words().values() for word in words)


@cache
def _table() -> dict[str, list[str]]:
    return tomllib.loads(files("pricing.intake").joinpath("headers.toml").read_text(encoding="utf-8"))


@cache
def _nothing() -> frozenset[str]:
    return frozenset(map(plain, _table()[_NONE]))


@cache
def _known() -> dict[str, tuple[str, ...]]:
    """Known headings, plain, and the columns of ours each may mean."""
    known: dict[str, tuple[str, ...]] = {}
    for ours, headings in _table().items():
        for heading in dict.fromkeys(map(plain, [ours.replace("_", " "), *headings])):
            if ours != _NONE:
                known[heading] = (*known.get(heading, ()), ours)
    return known
