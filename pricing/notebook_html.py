"""How facts show themselves in a notebook: lines of text, and a frame as polars shows it."""

from html import escape

import polars as pl


def facts_html(*lines: str, frame: pl.DataFrame | None = None) -> str:
    """Paragraphs, and a frame below them, for a ``_repr_html_``.

    >>> facts_html("Ash & Elm")
    '<p>Ash &amp; Elm</p>'
    """
    paragraphs = "".join(f"<p>{escape(line)}</p>" for line in lines)
    return paragraphs if frame is None else paragraphs + frame._repr_html_()


def range_text(low: object, mid: object, high: object, currency: str, reason: str | None) -> str:
    """A range in one line, or why there is none.

    >>> range_text(3900, 4650, 5500, "EUR", None)
    'EUR 3,900 to 5,500, mid 4,650'
    >>> range_text(None, None, None, "EUR", "too few sales")
    'no range: too few sales'
    """
    return f"{currency} {low:,} to {high:,}, mid {mid:,}" if reason is None else f"no range: {reason}"
