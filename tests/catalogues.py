"""The messages of documents as the code says them, and the catalogues written anew with those that are new.

``.venv/bin/python -m tests.catalogues`` brings ``pricing/words/catalogues/*.po`` up to date: new messages
without a translation, those that nothing says any more left out. Nothing is guessed, so none comes out fuzzy.
"""

from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import write_po

import pricing
from pricing.words.language.closed_words import closed_words
from pricing.words.language.messages import TRANSLATED, catalogue

ROOMS = ("words", "reports", "charts")
KEYWORDS = {"say": None, "noted": None, "many": (1, 2)}


def extracted() -> Catalog:
    """Every message of the code, and every word of a closed list."""
    root = Path(pricing.__file__).parent
    made = Catalog(project="classic-car-pricing", charset="utf-8")
    for room in ROOMS:
        found = extract_from_dir(root / room, [("**.py", "python")], keywords=KEYWORDS)
        for name, _, message, _, _ in found:
            made.add(message, locations=[(f"{room}/{name}", 0)])
    for word in closed_words():
        if made.get(word) is None:
            made.add(word, locations=[("words/language/closed_words.py", 0)])
    return made


def main() -> None:
    """Bring the catalogues up to date."""
    template = extracted()
    for language in TRANSLATED:
        path = Path(pricing.__file__).parent / f"words/catalogues/{language}.po"
        kept = catalogue(language) if path.exists() else Catalog(locale=language)
        kept.update(template, no_fuzzy_matching=True, update_creation_date=False)
        kept.obsolete.clear()
        kept.fuzzy, kept.revision_date = False, kept.creation_date
        kept.version, kept.msgid_bugs_address = "0", ""
        kept.last_translator, kept.language_team = "the project", language
        with path.open("wb") as file:
            write_po(file, kept, width=100, omit_header=False, sort_output=True, include_lineno=False)


if __name__ == "__main__":
    main()
