"""Terms of the trade and of statistics, which open where they stand, without a run of the page."""

from html import escape

import streamlit as st

from pricing.words.language.glossary import what_is


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
