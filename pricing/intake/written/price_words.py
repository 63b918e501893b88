"""Words in place of a price, which say what came of the offer, and words behind one that do not change it."""

import re
from functools import cache
from typing import Final

from pricing.intake.written.words import known_words, yes_and_no

_BESIDE: Final = re.compile(
    r"(.*\d[^\s,;(+&]*(?:\s(?:[£€$]|kr\.?|euros?|pounds|kronor|(?-i:[A-Z]{3})))?)(?:\s*[,;(]\s*|\s*(?=[+&])|\s+)"
    r"((?:[+&]\s*|(?:plus|with|and|incl?\.?|including|mit|samt|inkl\.?|und|avec|et|compris|con|e|y|met|en|med"
    r"|och)\s+)"
    r"(?:(?:some|a few|an?|eine[nr]?|une?|een|box(?:es)? of|lots? of|many|all|the|old|spare)\s+)*"
    r"(?:spares|spare parts|parts|tools|handbooks?|manuals?|papers|history|hard ?top|tow ?bar|tonneau"
    r"|ersatzteilen?|teilen?|werkzeug|papieren?|pièces(?: détachées)?|outils|ricambi|attrezzi|recambios"
    r"|piezas|herramientas|onderdelen|gereedschap|reservdelar|delar|verktyg)"
    r"|(?:to|an|à|a|aan|till)\s+(?:an?|the|ein\w*|une?|een|en)?\s*"
    r"(?:friend|member|neighbour|trade|dealer|trader|mitglied|freund|händler|ami|membre|marchand|amico|socio"
    r"|amigo|lid|vriend|handelaar|medlem|vän|handlare)"
    r"|(?:as (?:seen|is|found)|on the day|in the end|eventually|agreed|(?:buyer )?collects))\)?",
    re.IGNORECASE,
)
"""An amount and behind it what does not change it: what went with the car, who took it, how it was settled.
Anything else behind an amount, such as a car in part exchange, may change it; common practice, no source."""


def without_words(text: str) -> str | None:
    """The amount of a text without the words behind it that do not change it; None where there are none.

    >>> without_words("£9k plus spares"), without_words("£9k + old car"), without_words("£400 parts")
    ('£9k', None, None)
    """
    found = _BESIDE.fullmatch(text)
    return None if found is None else found[1]


def outcome_in_its_place(text: str) -> str | None:
    """The outcome that a text in place of a price says; a bare yes or no says none.

    >>> outcome_in_its_place("Withdrawn"), outcome_in_its_place("N/S"), outcome_in_its_place("no")
    ('withdrawn', 'unsold', None)
    """
    return _in_place().get(text.lower().strip(" .!-()"))


@cache
def _in_place() -> dict[str, str]:
    bare = {word for words in yes_and_no() for word in words}
    return {
        word: ours
        for word, ours in known_words()["outcome"].items()
        if ours in ("unsold", "withdrawn") and word not in bare
    }
