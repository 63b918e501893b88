"""Text that a page or a document shows as it is, whatever it holds."""

import re
from typing import Final

_MARKS: Final = re.compile(r"([\\`*_{}\[\]<>()#!|~$:@&]|^[-+](?=\s)|^-{3,}$|^={3,}$)")
_NUMBERED: Final = re.compile(r"^([0-9]+)\.(?=\s)")
_LINKS: Final = re.compile(r"\b(https?|ftp|mailto|www)\b", re.IGNORECASE)


def escaped(text: str) -> str:
    """Text for Markdown that shows every letter of it and makes no link, picture or formula.

    >>> escaped("EUR 4,250 <b>![x](y)")
    'EUR 4,250 \\\\<b\\\\>\\\\!\\\\[x\\\\]\\\\(y\\\\)'
    >>> escaped("the Six, see www.x.invalid") == "the Six, see www\\N{WORD JOINER}.x.invalid"
    True
    """
    plain = _NUMBERED.sub(r"\1\\.", _MARKS.sub(r"\\\1", " ".join(text.split())))
    return _LINKS.sub("\\1\N{WORD JOINER}", plain)


def closed(text: str) -> str:
    """A sentence with its full stop, or the question mark that it has.

    >>> closed("no make Corvain"), closed("did you mean Corvane?")
    ('no make Corvain.', 'did you mean Corvane?')
    """
    return text if text.endswith(("?", ".")) else f"{text}."


def sentence(text: str) -> str:
    """A text as a sentence: a capital in front, unless a field's name stands there; a full stop behind.

    >>> sentence("no make Corvain"), sentence("Did you mean Corvane?"), sentence("opinion.figure: none")
    ('No make Corvain.', 'Did you mean Corvane?', 'opinion.figure: none.')
    """
    named = any(mark in text.split(" ", 1)[0] for mark in "._")
    return closed(text if named else capital(text))


def capital(text: str) -> str:
    """A text with a capital in front, the rest as it is.

    >>> capital("price in EUR")
    'Price in EUR'
    """
    return text[:1].upper() + text[1:]
