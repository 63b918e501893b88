"""What was left out of a photograph, in words."""

from collections.abc import Sequence
from typing import Final

from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted

_WORDS: Final = {
    "place": noted("the place (GPS)"),
    "time": noted("time"),
    "camera": noted("make and model of the camera"),
    "owner": noted("owner"),
    "serial number": noted("serial number of the camera"),
    "comment": noted("comment"),
    "maker's note": noted("maker's note"),
    "text": noted("text"),
    "further pictures": noted("further pictures"),
    "smaller picture": noted("smaller picture"),
    "what cannot be read": noted("what cannot be read"),
}
"""What a reader of pictures finds beside them; names of standards stay as they are."""


def removed_words(removed: Sequence[str], words: LocaleWords = PLAIN) -> str:
    """What a file told beside its picture, as a list.

    >>> removed_words(("place", "time")), removed_words(())
    ('the place (GPS), time', 'nothing found')
    """
    return ", ".join(words.word(_WORDS.get(name, name)) for name in removed) or words.say("nothing found")


def removed_sentence(removed: Sequence[str]) -> str:
    """A sentence for whoever took the photograph.

    >>> removed_sentence(("place", "camera"))
    'Left out of what is shown: the place (GPS), make and model of the camera. The original keeps them.'
    """
    if not removed:
        return "The file tells nothing beside its picture."
    return f"Left out of what is shown: {removed_words(removed)}. The original keeps them."
