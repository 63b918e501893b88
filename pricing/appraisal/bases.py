"""Bases of value and premises, as data: what each means in our words, where it is defined, what it goes with.

The wording here helps to choose; what a document prints as the definition is the valuer's, word for word from
the source that the valuer names.
"""

from dataclasses import dataclass
from typing import Final

IVS: Final = "International Valuation Standards 2025, IVS 102 (from memory)"
TAX: Final = "tax law of the country concerned (as the valuer names it)"
COURT: Final = "family law of the place concerned (as the valuer names it)"
POLICY: Final = "wording of the policy (as the valuer names it)"
PRACTICE: Final = "common practice, no source"

USE_PREMISES: Final = ("highest and best use", "current use")
SALE_PREMISES: Final = ("orderly liquidation", "forced sale")
PREMISES: Final = (*USE_PREMISES, *SALE_PREMISES)
"""Circumstances under which the car is taken to change hands (IVS 102, from memory)."""

EVERY_LEVEL: Final = ("auction hammer", "auction all-in", "dealer", "private")
BUYERS_LEVELS: Final = EVERY_LEVEL[1:]
"""Levels at which a figure is all that a buyer pays; the hammer price leaves out the premium."""


@dataclass(frozen=True)
class Basis:
    """One basis of value: its ``name``, what it ``means``, its ``source``, the ``premises`` and market
    ``levels`` that go with it, and ``words`` (in the languages of the documents) that its definitions have
    and those of other bases have not."""

    name: str
    means: str
    source: str
    premises: tuple[str, ...]
    levels: tuple[str, ...] = EVERY_LEVEL
    words: tuple[str, ...] = ()


BASES: Final = (
    Basis(
        "market value",
        "What the car should fetch on the date between a buyer and a seller who both want to deal, know what "
        "they deal in and are not pressed, after it has been offered for long enough",
        IVS, USE_PREMISES,
        words=("market value", "willing seller", "arm's length", "Verkehrswert", "Marktwert",
               "valeur de march\u00e9", "valore di mercato"),
    ),
    Basis(
        "fair market value",
        "The price between a willing buyer and a willing seller, neither compelled and both knowing the "
        "facts, as tax authorities define it",
        TAX, USE_PREMISES,
        words=("fair market value", "compulsion", "gemeiner Wert", "valeur v\u00e9nale", "valore normale"),
    ),
    Basis(
        "agreed value for insurance",
        "The amount that insurer and insured settle on before any loss and that is paid for a total loss",
        POLICY, ("current use",), BUYERS_LEVELS,
        words=("insurer", "insured", "policy", "Versicher", "assureur", "assicura"),
    ),
    Basis(
        "replacement value",
        "What it takes to buy another such car in like condition within a short time, with all that a buyer "
        "pays",
        PRACTICE, ("current use",), BUYERS_LEVELS,
        words=("replac", "Wiederbeschaffung", "remplacement", "rimpiazzo", "sostituzione"),
    ),
    Basis(
        "probate value",
        "What the car would have fetched in the open market on the day of a death",
        TAX, USE_PREMISES,
        words=("death", "decease", "estate", "Nachlass", "Todes", "d\u00e9c\u00e8s", "succession",
               "successione"),
    ),
    Basis(
        "equitable distribution value",
        "What the car counts for when what two people own is divided by a court",
        COURT, USE_PREMISES,
        words=("marital", "equitable distribution", "divorce", "Zugewinn", "Scheidung", "divorzio"),
    ),
    Basis(
        "equitable value",
        "The price between two parties who are known, for what each of them gains or loses by it",
        IVS, USE_PREMISES, words=("identified parties", "equitable value"),
    ),
    Basis(
        "liquidation value",
        "What the car fetches when it has to be sold: in order, with time to find buyers, or at once",
        IVS, SALE_PREMISES,
        words=("liquidat", "forced", "Zwangs", "Zerschlagung", "vente forc\u00e9e", "vendita forzata"),
    ),
    Basis(
        "investment value", "What the car is worth to one owner for that owner's own ends", IVS, USE_PREMISES,
        words=("investment value", "particular owner"),
    ),
    Basis("other", "Another basis, which the valuer defines", PRACTICE, PREMISES),
)  # fmt: skip

BASIS_NAMES: Final = tuple(basis.name for basis in BASES)


def basis_of(name: str) -> Basis | None:
    """The basis of a name; None where none is said.

    >>> basis_of("liquidation value").premises
    ('orderly liquidation', 'forced sale')
    """
    return next((basis for basis in BASES if basis.name == name), None)


def telling(definition: str) -> set[str]:
    """The bases whose words a definition has.

    >>> telling("What insurer and insured settle on before a loss")
    {'agreed value for insurance'}
    """
    folded = definition.casefold()
    return {basis.name for basis in BASES if any(word.casefold() in folded for word in basis.words)}
