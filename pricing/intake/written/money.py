"""Amounts of money as people write them: with a currency, in thousands, as a range, with what came of it."""

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from typing import Final

from pricing.intake.written.numbers import number, scaled, tidied
from pricing.intake.written.words import outcome_in_its_place, without_words
from pricing.money.currencies import CURRENCIES

SIGNS: Final[dict[str, tuple[str, ...]]] = {
    "£": ("GBP", "IEP", "FKP", "GIP", "SHP", "CYP", "EGP", "LBP"),
    "€": ("EUR",),
    "¥": ("JPY", "CNY"),
    "$": ("", "USD", "CAD", "AUD", "NZD", "HKD", "SGD", "TWD", "MXN", "ARS", "CLP", "COP", "UYU", "JMD"),
    "kr": ("", "SEK", "NOK", "DKK", "ISK", "EEK"),
    "fr": ("", "CHF", "FRF", "BEF", "LUF"),
    "us$": ("USD",), "a$": ("AUD",), "au$": ("AUD",), "c$": ("CAD",), "ca$": ("CAD",), "nz$": ("NZD",),
    "hk$": ("HKD",), "s$": ("SGD",), "r$": ("BRL",),
    "skr": ("SEK",), "nkr": ("NOK",), "dkr": ("DKK",), "sfr": ("CHF",), "ff": ("FRF",), "dm": ("DEM",),
    "zł": ("PLN",), "kč": ("CZK",), "ft": ("HUF",), "₹": ("INR",), "₩": ("KRW",), "₤": ("ITL",),
    "lit": ("ITL",), "pts": ("ESP",), "hfl": ("NLG",), "ƒ": ("NLG",),
    "rs": ("", "INR", "PKR", "LKR", "NPR", "MUR"), "l": ("", "ITL", "GBP"),
}  # fmt: skip
"""Signs and the currencies that each may stand for: the first is meant where none is stated for the row, and
an empty first says that the sign alone is none."""

_WORDS: Final = {
    "euro": "€", "euros": "€", "pound": "£", "pounds": "£", "sterling": "£", "pounds sterling": "£",
    "dollar": "$", "dollars": "$", "kronor": "kr", "kroner": "kr", "krona": "kr", "francs": "fr",
    "franken": "fr", "franchi": "fr", "mark": "dm", "d-mark": "dm", "lire": "lit", "pesetas": "pts",
    "ptas": "pts", "gulden": "hfl", "yen": "¥",
}  # fmt: skip

_ON_REQUEST: Final = re.compile(
    r"p\.?\s?o\.?\s?a\.?|price on (?:application|request)|(?:preis )?auf anfrage|(?:prix )?sur demande"
    r"|prix à débattre|(?:prezzo )?su richiesta|trattativa riservata|(?:precio )?a consultar"
    r"|(?:prijs )?op aanvraag|(?:pris )?(?:på|vid) förfrågan|v\.?h?b\.?|offers?(?: invited)?",
    re.IGNORECASE,
)
_UNSOLD: Final = re.compile(
    r"(?:not sold|unsold|no sale|did not sell|passed(?: in)?|bought in|nicht verkauft|unverkauft|invendue?"
    r"|non vendue?|(?:reserve )?not met|invenduto|non venduto|no vendido|sin vender|niet verkocht|onverkocht"
    r"|ej såld|osåld)\b[\s,;:.(-]*",
    re.IGNORECASE,
)
_BID: Final = re.compile(
    r"(?:(?:was )?bid(?:ding)?(?: up)? to|bid of|(?:high|highest|top|last|best) bid(?: of| was)?:?|bid:?|at"
    r"|höchstgebot:?|(?:geboten )?bis|enchère (?:à|de|maximale:?)|offerta (?:massima|di):?"
    r"|puja (?:de|máxima):?|(?:hoogste )?bod:?|högsta bud:?)\s*(?=\S)",
    re.IGNORECASE,
)
_SOLD: Final = re.compile(
    r"(?:sold(?: for| at)?|went for|made|verkauft(?: für| um)?|vendue?(?: à| pour| a)?|venduto(?: a| per)?"
    r"|vendido(?: por| en)?|verkocht(?: voor)?|såld(?: för)?)\b:?\s*",
    re.IGNORECASE,
)
_ASKED: Final = re.compile(
    r"[\s,(/]*(?:o\.?n\.?o\.?|o\.?b\.?o\.?|o\.?i\.?r\.?o\.?"
    r"|or (?:nearest |best |near |close |very near )?offers?|negotiable|neg\.?|v\.?h?b\.?|verhandlungsbasis"
    r"|festpreis|fp|firm|fixed|à débattre|trattabili|tratt\.|negociable|prutbart|asking"
    r"|d/?a|drive[ -]?away)(?![^\W\d_])\)?\s*",
    re.IGNORECASE,
)
_FRONT_ASKED: Final = re.compile(
    r"(?:asking(?: price)?|offers? (?:around|over|near|about|in the region of|in excess of)"
    r"|o\.?i\.?r\.?o\.?|v\.?h?b\.?|verhandlungsbasis|festpreis|fp)\b[:.]?\s*",
    re.IGNORECASE,
)
_ABOUT: Final = re.compile(
    r"(?:c\.|ca\.?|(?-i:c)(?=\s?[£€$\d])|circa|approx(?:imately)?\.?|about|around|~|env\.?|environ|etwa"
    r"|ungefähr|rund|ongeveer|cirka|unos|aprox\.?)\s*",
    re.IGNORECASE,
)
_RANGE_FRONT: Final = re.compile(
    r"(?:est(?:imate)?d?\.?|schätzung|schätzpreis|estim(?:ation|é)?\.?|stima|estimación|taxatie|utrop)(?!\w):?"
    r"\s*",
    re.IGNORECASE,
)
_BETWEEN: Final = re.compile(r"between\s+(.+?)\s+and\s+(.+)", re.IGNORECASE)
_TO: Final = re.compile(
    r"\s*(?:-|/|\bto\b|\bbis\b|\bà\b|\ba\b|\bal\b|\bhasta\b|\btot\b|\btill\b)\s*(?=\S)", re.IGNORECASE
)
_NO_PENCE: Final = re.compile(r"(?<=\d)\s?(?:[/.,:]\s?-{1,2}|-{2})(?=\s|$|[^\d\s-])")
_BESIDE: Final = re.compile(
    r"(.*\d\S*)\s*[(\[]\s*((?:est|guide|schätz|estim|stima|taxatie)\w*\.?:?\s.*\d.*?)[)\]]", re.I
)
"""An amount with its estimate in brackets behind it."""
_PAID: Final = re.compile(
    r"\s(?:(?-i:CR)|(?:in )?cash|in bar|bar|comptant|in contanti|contanti|contado|contant|kontant)$", re.I
)
"""How it was paid; CR is a credit, which a sale is in the seller's books: common practice, no source."""
_GUINEAS: Final = re.compile(r"(.*\d)\s?(?:gns?|guineas?)\.?", re.IGNORECASE)
GUINEA: Final = Decimal("1.05")
"""Pounds: 21 shillings of 20 to the pound, in which some salerooms call bids; common practice, no
source."""
_SHILLINGS: Final = re.compile(
    r"£?\s?(\d[\d,]*)(?:\s?[/.-]\s?|\s)(\d{1,2})(?:\s?s\.?)?(?:(?:\s?[/.-]\s?|\s)(-|\d{1,2})\s?(?:d\.?)?)?",
    re.IGNORECASE,
)
"""Pounds, shillings and pence, as before the 15th of February 1971 (Decimal Currency Act 1969)."""
_CODE: Final = re.compile(r"(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])")
_SMALL_CODE: Final = re.compile(r"(?i)(?<![A-Za-z])(?:eur|gbp|usd|chf|sek|nok|dkk|aud|cad)(?![A-Za-z])")
_MULTIPLE: Final = r"(k|K|tsd\.?|Tsd\.?|[tT](?=\s|$)|m|M|mio\.?|Mio\.?|mn|million|lakhs?|lacs?|crores?)?"
_FIGURES: Final = re.compile(rf"(-?)\s*(\d(?:[\d., '\u2019\u02bc]*\d)?)\s?{_MULTIPLE}")
_COMMON: Final = re.compile(r"(?:([£€$]|[A-Z]{3})\s?)?(\d(?:[\d., '\u2019]*\d)?)(?:\s?([£€]|kr|[A-Z]{3}))?")
"""An amount with one sign or code at most, as nearly all are."""


@dataclass(frozen=True, slots=True)
class Money:
    """What a cell says of money, each part null where it says nothing of it."""

    amount: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    """A range: an estimate."""
    highest_bid: Decimal | None = None
    currency: str | None = None
    """A code of ISO 4217, or a key of ``SIGNS`` where the sign alone was written."""
    outcome: str | None = None
    firm: bool = False
    """The outcome is said in so many words, and goes before what holds for the whole file."""
    more: bool = False
    """The cell says more than these parts hold."""
    plain: bool = False
    """An amount in bare figures, with a currency at most."""


def read_money(text: str, decimal: str = ".", *, grouped: bool = True) -> Money | None:
    """What a cell says of an amount of money; None where that is not understood to the last word.

    ``grouped``: see ``numbers.number``.

    >>> asking, bid = read_money("VB 4.500 €"), read_money("bid to £3,000")
    >>> asking.amount, asking.currency, bid.highest_bid
    (Decimal('4500'), '€', Decimal('3000'))
    >>> read_money("4-5k").low, read_money("4-5k").high, read_money("not sold").outcome, read_money("a few")
    (Decimal('4000'), Decimal('5000'), 'unsold', None)
    """
    plain = tidied(text)
    if not plain or len(plain) > 120:
        return None
    beside = _BESIDE.fullmatch(plain)
    if beside is not None:
        made, range_of = read_money(beside[1], decimal, grouped=grouped), _amount(beside[2], decimal)
        if made is None or range_of is None or made.amount is None:
            return None
        return replace(made, low=range_of.low, high=range_of.high, plain=False, more=True)
    plain = _PAID.sub("", plain)
    common = _COMMON.fullmatch(plain)
    if common is not None and (common[1] is None or common[3] is None):
        sign = common[1] or common[3]
        if sign is None or sign in SIGNS or sign in CURRENCIES:
            amount = number(common[2], decimal, grouped=grouped)
            return None if amount is None else Money(amount=amount, currency=sign, plain=True)
    if _ON_REQUEST.fullmatch(plain):
        return Money(outcome="asking", more=True)
    if (outcome := outcome_in_its_place(plain)) is not None:
        return Money(outcome=outcome, firm=True)
    rest, unsold = _without_front(_UNSOLD, plain)
    rest = rest.rstrip(" )")
    if unsold and not rest:
        return Money(outcome="unsold", firm=True)
    bid, is_bid = _without_front(_BID, rest)
    if is_bid or unsold:
        offered = _amount(bid, decimal)
        if offered is None or offered.amount is None:
            return None
        return Money(highest_bid=offered.amount, currency=offered.currency, outcome="unsold", firm=True)
    paid, sold = _without_front(_SOLD, plain)
    if sold:
        money = _amount(paid, decimal)
        return None if money is None else replace(money, outcome="sold")
    bare, _ = _without_front(_FRONT_ASKED, _ASKED.sub("", plain) if re.search(r"\d", plain) else plain)
    money = _amount(bare, decimal)
    if money is None and (alone := without_words(plain)) is not None:
        of_it = read_money(alone, decimal, grouped=grouped)
        return None if of_it is None or of_it.amount is None else replace(of_it, plain=False, more=True)
    if money is None or bare == plain:
        return money
    return replace(money, outcome="asking", more=True)


def _without_front(front: re.Pattern[str], text: str) -> tuple[str, bool]:
    """A text without what stands in front of it, and whether that did."""
    match = front.match(text)
    return (text, False) if match is None else (text[match.end() :], True)


def _amount(text: str, decimal: str) -> Money | None:
    """An amount or a range with its currency, nothing else beside it."""
    bare, about = _without_front(_ABOUT, text)
    bare, ranged = _without_front(_RANGE_FRONT, bare)
    if (old := _old_money(bare, decimal)) is not None:
        return Money(amount=old, currency="£", more=True)
    between = _BETWEEN.fullmatch(bare)
    bare = f"{between[1]} - {between[2]}" if between is not None else bare
    taken = _without_currency(_NO_PENCE.sub("", bare))
    if taken is None:
        return None
    figures, currency = taken
    if not ranged and _FIGURES.fullmatch(figures):
        amount = _value(figures, decimal)
        return None if amount is None else Money(amount=amount, currency=currency, more=about)
    ends = _TO.split(figures)
    last = _FIGURES.fullmatch(ends[-1])
    if len(ends) != 2 or last is None:
        return None
    low, high = _value(ends[0], decimal, last[3]), _value(ends[1], decimal)
    if low is None or high is None or not 0 < low < high <= 10 * low:
        return None
    return Money(low=low, high=high, currency=currency)


def _old_money(text: str, decimal: str) -> Decimal | None:
    """Pounds out of guineas, or out of pounds, shillings and pence.

    >>> _old_money("8,000 gns", "."), _old_money("£215 10s 6d", "."), _old_money("£340/10/-", ".")
    (Decimal('8400.00'), Decimal('215.525'), Decimal('340.5'))
    """
    guineas = _GUINEAS.fullmatch(text)
    if guineas is not None:
        called = number(guineas[1], decimal)
        return None if called is None else called * GUINEA
    sums = _SHILLINGS.fullmatch(text)
    if sums is None or not re.search(r"\ds|/\d{1,2}/|\dd", text, re.IGNORECASE) or "£" not in text:
        return None
    pounds, shillings = number(sums[1], "."), int(sums[2])
    pence = 0 if sums[3] in (None, "-") else int(sums[3])
    if pounds is None or shillings > 19 or pence > 11:
        return None
    return pounds + Decimal(shillings) / 20 + Decimal(pence) / 240


def _value(text: str, decimal: str, mark: str | None = None) -> Decimal | None:
    """The number that figures are, times what stands behind them, else what ``mark`` stands for."""
    figures = _FIGURES.fullmatch(text)
    if figures is None:
        return None
    multiple = figures[3] or mark
    read = number(figures[2], decimal) if multiple is None else scaled(figures[2], multiple, decimal)
    return None if read is None else -read if figures[1] else read


def _without_currency(text: str) -> tuple[str, str | None] | None:
    """The figures of an amount, and the one currency beside them; None for two currencies."""
    text = _SMALL_CODE.sub(lambda code: code[0].upper(), text)
    codes = {code for code in _CODE.findall(text) if code in CURRENCIES}
    bare = _CODE.sub(lambda code: " " if code[0] in CURRENCIES else code[0], text) if codes else text
    signs = {_WORDS.get(sign.lower().rstrip("."), sign.lower().rstrip(".")) for sign in _sign().findall(bare)}
    if signs:
        bare = _sign().sub(" ", bare)
    if len(codes) > 1 or len(signs) > 1:
        return None
    code, sign = next(iter(codes), None), next(iter(signs), None)
    if code is not None and sign is not None and code not in SIGNS[sign]:
        return None
    return " ".join(bare.split()).replace("- ", "-") if bare is not text else bare, code or sign


@cache
def _sign() -> re.Pattern[str]:
    """Every sign and word for a currency, letters not within a longer word; the thousands of a ``tkr``
    stay."""
    names = sorted([*SIGNS, *_WORDS], key=lambda name: -len(name))
    lettered = "|".join(re.escape(name) for name in names if name[0].isalpha() and name[-1].isalpha())
    others = "|".join(re.escape(name) for name in names if not (name[0].isalpha() and name[-1].isalpha()))
    return re.compile(rf"(?:{others})|(?<![^\W\d_])(?:{lettered})\.?(?![^\W\d_])", re.IGNORECASE)


def meant(currency: str | None, stated: str | None) -> tuple[str | None, bool]:
    """The currency of a row, of what its cell says and what is stated for it; and whether the two differ.

    >>> meant("£", "EUR"), meant("£", "IEP"), meant("$", "GBP"), meant("$", "CAD"), meant(None, "SEK")
    (('GBP', True), ('IEP', False), (None, True), ('CAD', False), ('SEK', False))
    """
    if currency is None:
        return stated, False
    may_be = SIGNS.get(currency, (currency,))
    if stated is not None and stated in may_be:
        return stated, False
    return (may_be[0] or None), stated is not None


def currency_named(text: str) -> str | None:
    """The code of the currency that a cell names by code, sign or word; None where it is none or could be
    several.

    >>> [currency_named(text) for text in ("gbp", "€", "Pounds", "$", "x")]
    ['GBP', 'EUR', 'GBP', None, None]
    """
    plain = tidied(text)
    if plain.upper() in CURRENCIES:
        return plain.upper()
    sign = _WORDS.get(plain.lower(), plain.lower().rstrip("."))
    return SIGNS.get(sign, ("",))[0] or None
