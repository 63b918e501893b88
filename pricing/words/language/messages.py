"""The sentences of documents in the languages that there is a catalogue for (gettext, ``catalogues/*.po``).

A message is the English sentence itself with named places, ``"{low} to {high}, middle {mid}"``: whole, never
put together from parts that another language would order otherwise.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Final

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

SOURCE: Final = "en"
"""The language that messages are written in, which needs no catalogue."""

TRANSLATED: Final = ("de", "fr", "it")

LANGUAGES: Final = (SOURCE, *TRANSLATED)
"""Languages that documents are written in."""

PLACE: Final = re.compile(r"\{(\w+)\}")


def noted(message: str) -> str:
    """The message itself: marks it for the catalogue where it is said later.

    >>> noted("no range: {reason}")
    'no range: {reason}'
    """
    return message


@dataclass(frozen=True, eq=False)
class Messages:
    """Translations by message; of a plural by the message of the one, a form for each number class.

    >>> french = Messages({"sale": ("vente", "ventes")}, plural=lambda number: int(number > 1))
    >>> french.of("sale", 0), french.of("sale", 2), french.of("unknown")
    ('vente', 'ventes', 'unknown')
    """

    texts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    plural: Callable[[int], int] = lambda number: int(number != 1)

    def of(self, message: str, number: int = 1) -> str:
        """The translation, in the form for a number; the message itself where there is none."""
        forms = self.texts.get(message)
        if forms is None:
            return message
        return forms[self.plural(number)] if len(forms) > 1 else forms[0]


def catalogue(language: str) -> Catalog:
    """The catalogue of one of ``TRANSLATED`` as it is shipped."""
    with files("pricing.words").joinpath(f"catalogues/{language}.po").open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)


@cache
def messages_of(language: str) -> Messages:
    """The messages of one of ``LANGUAGES``, read once.

    >>> messages_of("de").of("Basis of value")
    'Wertbasis'
    """
    if language == SOURCE:
        return Messages()
    shipped = catalogue(language)
    texts: dict[str, tuple[str, ...]] = {}
    for message in shipped:
        if not message.id or message.fuzzy:
            continue
        forms = message.string if isinstance(message.string, list | tuple) else (message.string,)
        one = message.id if isinstance(message.id, str) else message.id[0]
        if all(forms):
            texts[one] = tuple(str(form) for form in forms)
    return Messages(texts, plural=_plural(str(shipped.plural_expr)))


def _plural(expression: str) -> Callable[[int], int]:
    """The rule of the languages that there are: French counts nought as one, the others do not.

    >>> _plural("(n > 1)")(0), _plural("(n != 1)")(0)
    (0, 1)
    """
    return (lambda number: int(number > 1)) if "n > 1" in expression else (lambda number: int(number != 1))
