"""Text that people typed, without what shows nothing: two names that look alike are one name.

By general category and properties of the Unicode Character Database (UAX #44): format characters (Cf) and
what else a reader never sees (Default_Ignorable_Code_Point: zero-width spaces, byte order marks, soft
hyphens, turns of direction) are left out, and so are joiners but between letters of scripts whose words need
them (UAX #31, 2.3). The rest is composed (UAX #15, form C), white space is one space. Control characters
(Cc), private ones (Co) and those that are none (Cn) are no text: a name that holds one is refused.
"""

from typing import Final

import numpy as np
import polars as pl
import pyarrow as pa

from pricing.errors import PricingError
from pricing.untrusted.documents import whole_text

_JOINED: Final = "".join(
    rf"\p{{{script}}}"
    for script in (
        "Arabic", "Syriac", "Mandaic", "Nko", "Mongolian", "Phags_Pa", "Devanagari", "Bengali", "Gurmukhi",
        "Gujarati", "Oriya", "Tamil", "Telugu", "Kannada", "Malayalam", "Sinhala", "Khmer",
    )
)  # fmt: skip
"""Scripts in which a joiner or non-joiner makes another word."""

_UNSEEN: Final = r"[[\p{Cf}\p{Default_Ignorable_Code_Point}]--\p{Prepended_Concatenation_Mark}]"
"""Format characters but the few that are seen, before numbers of Arabic script."""

_NO_TEXT: Final = r"[\p{Cc}\p{Co}\p{Cn}]"
_NO_LINES: Final = r"[[\p{Cc}\p{Co}\p{Cn}]--[\t\n\r]]"
_FIRST_PLAIN: Final = np.uint8(ord(" "))
_PLAIN_SPAN: Final = np.uint8(ord("~") - ord(" "))
_ODD: Final = "[^ -~]|  "
"""Without it there is nothing to clean."""


def cleaned(text: pl.Expr) -> pl.Expr:
    r"""Text of one line, such as a name; what is no text stays in it, for ``is_no_text`` to find.

    >>> typed = ["\ufeffCor\u200bvane\u00a0 Six ", "\u202eenavroC", "E\u0301clair"]
    >>> pl.DataFrame({"make": typed}).select(cleaned(pl.col("make")))["make"].to_list()
    ['Corvane Six', 'enavroC', 'Éclair']
    """
    return _seen(text).str.replace_all(r"\s+", " ").str.strip_chars()


def cleaned_lines(text: pl.Expr) -> pl.Expr:
    r"""Text of any number of lines, such as notes, also without what is no text.

    >>> pl.DataFrame({"notes": ["rust\u200b\x1b[2J\n  sills"]}).select(cleaned_lines(pl.col("notes"))).item()
    'rust[2J\n  sills'
    """
    return _seen(text).str.replace_all(_NO_LINES, "").str.strip_chars()


def is_no_text(text: pl.Expr) -> pl.Expr:
    r"""Whether text that was ``cleaned`` holds what is no text.

    >>> typed = pl.DataFrame({"make": ["Cor\x00vane", "Corvane"]})
    >>> typed.select(is_no_text(pl.col("make")))["make"].to_list()
    [True, False]
    """
    return text.str.contains(_NO_TEXT)


def is_odd(text: pl.Series) -> bool:
    """Whether any cell of a column holds more than plain letters, figures, marks and single spaces.

    By all its bytes at once where they are plain, a quarter of the work; else cell by cell, as two cells may
    meet in spaces.
    """
    buffer = text.to_arrow().cast(pa.large_string()).buffers()[2]
    content = np.frombuffer(b"" if buffer is None else buffer, np.uint8)
    if not (content - _FIRST_PLAIN > _PLAIN_SPAN).any():
        spaces = np.flatnonzero(content == _FIRST_PLAIN)
        if not (np.diff(spaces) == 1).any():
            return False
    return bool(text.str.contains(_ODD).any())


def holds_unseen(text: pl.Expr) -> pl.Expr:
    """Whether text holds what ``cleaned`` leaves out of it because it shows nothing."""
    return _without_unseen(text) != text


def clean_name(name: str, whose: str, refuse: type[PricingError]) -> str:
    r"""One name as it is kept. Raises ``refuse`` for one that holds what is no text.

    >>> clean_name(" the green\u200b  one", "a kept car", PricingError)
    'the green one'
    >>> clean_name("the\x1b[2J", "a kept car", PricingError)
    Traceback (most recent call last):
    pricing.errors.PricingError: the name of a kept car holds the control character U+001B after ...
    """
    if is_plain(name):
        return name.strip()
    clean = str(pl.select(cleaned(pl.lit(whole_text(name)))).item())
    at = pl.select(pl.lit(clean).str.find(_NO_TEXT)).item()
    if at is not None:
        before, after = clean.encode()[:at].decode(), clean.encode()[at:].decode()
        what = "control character" if after[0] < " " or "\x7f" <= after[0] < "\xa0" else "character"
        where = f" after {before[-20:]!r}" if before else ""
        raise refuse(f"the name of {whose} holds the {what} U+{ord(after[0]):04X}{where}; type it anew")
    return clean


def clean_lines(text: str) -> str:
    r"""One text of any number of lines as it is kept.

    >>> clean_lines("sills\u202e new\n\x00and painted")
    'sills new\nand painted'
    """
    return text.strip() if is_plain(text) else str(pl.select(cleaned_lines(pl.lit(whole_text(text)))).item())


def is_plain(text: str) -> bool:
    """Whether there is nothing to clean but spaces around it."""
    return text.isascii() and text.isprintable() and "  " not in text


def _seen(text: pl.Expr) -> pl.Expr:
    return _without_unseen(text).str.normalize("NFC")


def _without_unseen(text: pl.Expr) -> pl.Expr:
    """Joiners after letters that need them stay at first; then those go that join nothing."""
    joiners = "[\\u200c\\u200d]"
    return text.str.replace_all(f"([{_JOINED}]{joiners})|{_UNSEEN}+", "$1").str.replace_all(
        f"{joiners}+([^{_JOINED}]|$)", "$1"
    )
