"""Text as every page shows it: sentences with every letter of them, figures in a row, what unfolds."""

from collections.abc import Callable, Iterable
from html import escape
from typing import Any

import streamlit as st

from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped


def write(*sentences: str | None) -> None:
    """Sentences as paragraphs, those that there are."""
    for sentence in sentences:
        if sentence is not None:
            st.write(escaped(sentence))


def write_small(*sentences: str) -> None:
    """Sentences in small print: bases, cautions."""
    for sentence in sentences:
        st.caption(escaped(sentence))


def write_list(sentences: Iterable[str]) -> None:
    """Sentences as the points of one list."""
    st.markdown("\n".join(f"- {escaped(sentence)}" for sentence in sentences))


def show_verdict(sentence: str) -> None:
    """The one sentence that a page is there for."""
    st.container(key="verdict").markdown(escaped(sentence))


def show_metrics(
    metrics: Iterable[tuple[str, str] | tuple[str, str, str | None]], key: str | None = None
) -> None:
    """Figures side by side: what each is, its value, and what its term means where a third part says it."""
    with st.container(horizontal=True, key=key):
        for label, value, *meaning in metrics:
            st.metric(label, value, help=meaning[0] if meaning else None, width="content")


def show_folded(title: str, key: str, show: Callable[[], Any], **options: Any) -> None:
    """A part that folds, and is worked out when it is open alone."""
    folded = st.expander(title, key=key, on_change="rerun", **options)
    if folded.open:
        with folded:
            show()


def show_terms(*terms: str) -> None:
    """What the words of the part above mean: a quiet line of them, each of which unfolds in its place."""
    st.html(as_terms(*terms))


def as_terms(*terms: str) -> str:
    """Terms as a line of parts that unfold.

    >>> as_terms("mid")[:86]
    '<div class="terms"><span>In plain words:</span><details><summary>mid</summary><p>Half '
    """
    parts = "".join(
        f"<details><summary>{escape(term)}</summary><p>{escape(what_is(term))}</p></details>"
        for term in terms
    )
    return f'<div class="terms"><span>In plain words:</span>{parts}</div>'
