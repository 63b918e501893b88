"""The messages of documents as the code says them, and the catalogues written anew with those that are new.

``.venv/bin/python -m tests.catalogues`` brings ``pricing/words/catalogues/*.po`` up to date: new messages
without a translation, those that nothing says any more left out. Nothing is guessed, so none comes out fuzzy.
"""

import tomllib
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import write_po

import pricing
from pricing.words.language.closed_words import closed_words
from pricing.words.language.messages import TRANSLATED, catalogue

DEMO = Path(pricing.__file__).parent.parent / "data_demo"

ASKED = ("title", "where", "act", "bad_sign")
"""What a sheet says of each check."""

ROOMS = ("words", "reports", "charts")
KEYWORDS = {"say": None, "noted": None, "many": (1, 2)}


def shipped_texts() -> Iterator[str]:
    """Every text of the repair catalogue, the sheets and the example charges of the demo market, which
    documents say in their own language; one that a person wrote stands as it was written."""
    prices = tomllib.loads((DEMO / "repair_catalogue.toml").read_text(encoding="utf-8"))
    charges = tomllib.loads((DEMO / "example_charges.toml").read_text(encoding="utf-8"))
    for part in (prices["catalogue"], charges):
        yield from (part["name"], part["notice"])
    yield from (job["title"] for job in prices["job"])
    for path in sorted((DEMO / "sheets").glob("*.toml")):
        sheet = tomllib.loads(path.read_text(encoding="utf-8"))
        yield sheet["name"]
        yield from (check[part] for check in sheet["check"] for part in ASKED)


def extracted() -> Catalog:
    """Every message of the code, every word of a closed list, and every text of the demo market's files."""
    root = Path(pricing.__file__).parent
    made = Catalog(project="classic-car-pricing", charset="utf-8")
    for room in ROOMS:
        found = extract_from_dir(root / room, [("**.py", "python")], keywords=KEYWORDS)
        for name, _, message, _, _ in found:
            made.add(message, locations=[(f"{room}/{name}", 0)])
    for place, texts in (("words/language/closed_words.py", closed_words()), ("data_demo", shipped_texts())):
        for text in texts:
            if made.get(text) is None:
                made.add(text, locations=[(place, 0)])
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
