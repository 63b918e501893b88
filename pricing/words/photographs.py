"""What was left out of a photograph, in words."""

from collections.abc import Sequence
from typing import Final

_WORDS: Final = {
    "place": "the place (GPS)",
    "camera": "make and model of the camera",
    "serial number": "serial number of the camera",
}


def removed_words(removed: Sequence[str]) -> str:
    """What a file told beside its picture, as a list.

    >>> removed_words(("place", "time")), removed_words(())
    ('the place (GPS), time', 'nothing found')
    """
    return ", ".join(_WORDS.get(name, name) for name in removed) or "nothing found"


def removed_sentence(removed: Sequence[str]) -> str:
    """A sentence for whoever took the photograph.

    >>> removed_sentence(("place", "camera"))
    'Left out of what is shown: the place (GPS), make and model of the camera. The original keeps them.'
    """
    if not removed:
        return "The file tells nothing beside its picture."
    return f"Left out of what is shown: {removed_words(removed)}. The original keeps them."
