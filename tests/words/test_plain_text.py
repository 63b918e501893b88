"""Text that is shown as it is: no letter of it makes a link, a picture, a formula or a list."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.errors import PricingError
from pricing.words.language.glossary import TERMS, what_is
from pricing.words.language.plain_text import escaped


@given(st.text(max_size=60))
def test_every_mark_is_escaped_and_every_word_is_kept(text: str) -> None:
    shown = escaped(text)
    assert not re.search(r"(?<!\\)(?:\\\\)*[`*_\[\]<>$|~!#]", shown)
    plain = re.sub(r"\\(.)", r"\1", shown).replace("\N{WORD JOINER}", "")
    assert plain == " ".join(text.split()).replace("\N{WORD JOINER}", "")


@pytest.mark.parametrize(
    "text", ["![x](http://x.invalid)", "[a](b)", "<img src=x>", "$x^2$", ":smile:", "1. one", "# head", "- a"]
)
def test_what_markdown_would_act_on_is_shown(text: str) -> None:
    assert escaped(text) != text


def test_every_term_is_explained_in_a_sentence() -> None:
    assert all(sentence.endswith(".") and len(sentence) < 160 for sentence in TERMS.values())
    with pytest.raises(PricingError, match="no term"):
        what_is("flux")
