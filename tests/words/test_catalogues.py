"""The catalogues hold every message that documents say, with the same places, in the right plural forms."""

import ast
import re
import tomllib
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message

import pricing
from pricing.words.buying import charges_words
from pricing.words.language.locale import LocaleWords
from pricing.words.language.messages import PLACE, TRANSLATED, catalogue
from pricing.words.language.told import TOLD, told
from tests.catalogues import ASKED, DEMO, extracted, shipped_texts

HELD = (
    "model/remarks.py", "appraisal/consistency.py",
    "appraisal/ratio_kinds.py", "condition/inspection.py", "evidence/comparison/choices.py",
    "evidence/comparison/date_line.py", "evidence/comparison/comparables.py",
    "evidence/comparison/comparables_index.py", "evidence/comparison/sale_features.py",
    "evidence/comparison/adjustments.py", "evidence/comparison/held_out.py",
    "appraisal/evidence.py", "model/price_model.py", "model/opinion_bands.py", "decisions/buy/arguments.py",
    "decisions/buy/buying.py",
)  # fmt: skip
"""Files of the lower floors that make sentences which documents show."""


@pytest.fixture(scope="module")
def template() -> Catalog:
    return extracted()


@pytest.fixture(scope="module", params=TRANSLATED)
def shipped(request: pytest.FixtureRequest) -> Catalog:
    return catalogue(request.param)


def forms(message: Message | None) -> tuple[str, ...]:
    if message is None or message.string is None:
        return ()
    return (message.string,) if isinstance(message.string, str) else tuple(message.string)


def sources(message: Message) -> tuple[str, ...]:
    return (message.id,) if isinstance(message.id, str) else tuple(message.id)


def test_every_message_is_translated_and_no_other(template: Catalog, shipped: Catalog) -> None:
    said = {sources(message)[0] for message in template if message.id}
    kept = {sources(message)[0] for message in shipped if message.id}
    assert said - kept == set(), "python -m tests.catalogues, then translate"
    assert kept - said == set(), "python -m tests.catalogues"
    assert not [message.id for message in shipped if message.fuzzy and message.id]
    assert not [message.id for message in shipped if message.id and not all(forms(message))]


def test_no_message_hides_in_a_formatted_text() -> None:
    """There the extraction does not see it."""
    hidden = []
    for path in sorted(Path(pricing.__file__).parent.rglob("*.py")):
        for text in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(text, ast.JoinedStr):
                hidden += [
                    f"{path.name}:{call.lineno}"
                    for call in ast.walk(text)
                    if isinstance(call, ast.Call)
                    and isinstance(call.func, ast.Attribute)
                    and call.func.attr in ("say", "many")
                ]
    assert hidden == []


def test_places_are_the_same_in_every_form(shipped: Catalog) -> None:
    wrong = []
    for message in shipped:
        if message.id:
            wrong += [
                form
                for source, form in zip(sources(message), forms(message), strict=True)
                if set(PLACE.findall(form)) != set(PLACE.findall(source))
            ]
    assert wrong == []


def test_plurals_have_the_forms_of_their_language(template: Catalog, shipped: Catalog) -> None:
    for message in template:
        if message.id:
            kept = shipped.get(sources(message)[0])
            assert kept is not None and kept.pluralizable == message.pluralizable, message.id
            assert len(forms(kept)) == (shipped.num_plurals if message.pluralizable else 1)


@pytest.mark.parametrize(
    ("locale", "none", "one", "two"),
    [
        ("en_GB", "0 cars", "1 car", "2 cars"), ("de_DE", "0 Fahrzeuge", "1 Fahrzeug", "2 Fahrzeuge"),
        ("fr_FR", "0 voiture", "1 voiture", "2 voitures"), ("it_IT", "0 auto", "1 auto", "2 auto"),
    ],
)  # fmt: skip
def test_nought_is_one_in_french_alone(locale: str, none: str, one: str, two: str) -> None:
    """The plural rules of the Unicode locale data."""
    words = LocaleWords.of(locale)
    assert [words.many("{number} car", "{number} cars", number) for number in (0, 1, 2)] == [none, one, two]


def test_ends_are_kept(shipped: Catalog) -> None:
    """What begins or ends with a space or a stop does so in every language, for it stands beside others."""
    for message in shipped:
        if message.id:
            for source, form in zip(sources(message), forms(message), strict=True):
                assert (source[-1] == " ") == (form[-1] == " "), message.id
                assert source == "No." or (source[-1] in ".:") == (form[-1] in ".:"), message.id


def sentences_of(path: Path) -> set[str]:
    """The texts of a file in the shape of a message, each place as ``{}``."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.JoinedStr):
            parts = [part.value if isinstance(part, ast.Constant) else "{}" for part in node.values]
            found.add("".join(map(str, parts)))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value)
    return found


ASSEMBLED = {
    "opinion alone: no sale confirms this range, which is as A. Rowe said it (last on 2026-05-01) and not "
    "brought to another day, for there is no index; the market has 12 sales, too few for a price model",
    "3 usable sales of the make are on record for a Corvane Six by 2026-05-01, 4 more being too unlike it; "
    "a value needs 5: more sale records of the make, a condition band for the subject, or sales added by "
    "hand would help",
    "graded car of a model of few sales", "car not graded of a model of many sales",
    "the inspection of 2026-05-01", "entries of the inspection sheet of 2026-05-01",
    "repair prices of 2026-05-01", "the exchange rate of 2026-05-01",
    "1 change from the factory state: 0 of the period, 1 that can be undone, 0 done badly.",
    "2 changes from the factory state: 0 of the period, 1 that can be undone, 0 done badly.",
    "graded, lower third by value", "market: graded, average, upper third by value",
    "Corvane Six: not graded, middle third by value", "score 62",
    "figures are brought by -35% to a premise, without what that rests on",
    "the records hold 2 sales or offers of this very car in the last 3 years, the last sold on 2026-05-01, "
    "and the opinion does not speak of them",
    "photograph 2 was taken in for chassis number WX-1, WX-2, the subject is S6-1042",
    "photographs 1, 2 and 5 were taken in for chassis number WX-1, the subject is S6-1042",
    "photograph 1 is tied to the finding 'roof', and there is no inspection sheet",
    "photographs 1 and 2 are tied to the finding 'roof', and the sheet has no such finding",
    "photograph 1 is tied to the finding 'roof', and the sheet has no such finding",
    "photographs 1 and 2 are tied to the finding 'roof', and there is no inspection sheet",
    "photograph 1 was taken on 2026-05-04, after the inspection (2026-05-01)",
    "photographs 1 and 2 were taken on 2026-05-04, after the report date (2026-05-01)",
}  # fmt: skip
"""Sentences that the lower floors put together from pieces, as they come out."""


def test_what_is_read_back_is_what_the_lower_floors_say() -> None:
    """A sentence of theirs that changes would no longer be found: each stands in one of their files."""
    root = Path(pricing.__file__).parent
    whole = " ".join(text for name in HELD for text in sorted(sentences_of(root / name)))
    assembled = {message for message in TOLD if any(fits(message, said) for said in ASSEMBLED)}
    lost = []
    for message in set(TOLD) - assembled:
        pieces = [piece.strip(" ;,:.()'") for piece in PLACE.split(message)[::2]]
        lost += [(message, piece) for piece in pieces if len(piece) > 3 and piece not in whole]
    assert lost == []


@pytest.mark.parametrize("said", sorted(ASSEMBLED))
@pytest.mark.parametrize("locale", ["de_DE", "fr_FR", "it_IT"])
def test_what_is_put_together_is_read_back(said: str, locale: str) -> None:
    assert told(said, LocaleWords.of(locale)) != said


def fits(message: str, said: str) -> bool:
    parts = PLACE.split(message)
    pattern = "".join("(.+)" if place % 2 else re.escape(part) for place, part in enumerate(parts))
    return re.fullmatch(pattern, said) is not None


def test_every_shipped_text_is_said_in_every_language(shipped: Catalog) -> None:
    """Every text of repair catalogue, sheets and example charges; one that a person wrote stands as it was
    written. The sheets that every car has are held by the next test."""
    assert [text for text in shipped_texts() if not all(forms(shipped.get(text)) or ("",))] == []
    charges = tomllib.loads((DEMO / "example_charges.toml").read_text())
    german = LocaleWords.of("de_DE")
    assert german.word("Renew front bushes") == "Buchsen vorn erneuern"
    assert german.word("Renew my own bushes") == "Renew my own bushes"
    sold = told(f"{charges['name']}. {charges['notice']}", german)
    bought = charges_words(
        f"{charges['name']}: premium in force from 2026-01-01. {charges['notice']}", german
    )
    for sentence in (sold, bought):
        assert sentence.startswith("Erfundene Beispielgeb\u00fchren vom 1. Januar 2026")
        assert sentence.endswith("die eigenen Geb\u00fchren einsetzen.")
    own = "My own charges: premium in force from 2026-01-01. Ask first."
    assert charges_words(own, german) == "My own charges: Aufgeld in Kraft seit 1. Januar 2026. Ask first."


def test_every_text_of_the_sheets_of_every_car_has_a_translation(shipped: Catalog) -> None:
    """Read from the files themselves, whatever part of them a sheet takes."""
    folder = Path(pricing.__file__).parent / "condition/sheets"
    lacking = []
    for path in sorted(folder.glob("*.toml")):
        sheet = tomllib.loads(path.read_text(encoding="utf-8"))
        said = [check[part] for check in sheet["check"] for part in ASKED]
        said += [
            sheet["name"],
            *sheet.get("general_cautions", {}).values(),
            *sheet.get("cautions", {}).values(),
        ]
        lacking += [text for text in said if not all(forms(shipped.get(text)) or ("",))]
    assert lacking == []
