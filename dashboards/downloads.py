"""What a page hands out as files: tables, pictures, sheets in a language that is picked."""

import io
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, Final

import polars as pl
import streamlit as st
import xlsxwriter

from pricing.intake.exports import neutral_names, neutralised
from pricing.reports.sheet import PrintedSheet, sheet_html, sheet_pdf
from pricing.words.language.locale import LOCALES, PLAIN, LocaleWords

PAPER_WORDS: Final = {"a4": "A4", "letter": "Letter"}


def offer_file(label: str, content: Any, file: str, media: str | None = None, **options: Any) -> None:
    """A file to take along, without a run of the page; ``content`` may be what makes it when it is wanted."""
    st.download_button(label, content, file, media, on_click="ignore", **options)


def offer_table(name: str, frame: pl.DataFrame) -> None:
    """A table to take along."""
    offer_kinds("Keep the table", name, frame, {"CSV": as_csv, "xlsx": as_workbook})


def offer_kinds(words: str, name: str, content: Any, writers: Mapping[str, Callable[[Any], bytes]]) -> None:
    """What is shown, to take along as a file of each kind, written when it is asked for."""
    with st.popover(words, type="tertiary", key=f"keep-{name}"), st.container(horizontal=True):
        for kind, writer in writers.items():
            file = f"{name}.{kind.lower()}"
            offer_file(f"As {kind}", partial(writer, content), file, key=f"keep-{name}-{kind}")


def sheet_language() -> LocaleWords:
    """The language in which sheets to take along are written, as picked on any page that offers one."""
    as_page = "as this page"
    picked = st.selectbox(
        "Language of the sheet",
        (as_page, *LOCALES),
        format_func=lambda name: name if name == as_page else LocaleWords.of(name).name,
        key="sheet_locale",
        persist_state="session",
        width=280,
    )
    return PLAIN if picked == as_page else LocaleWords.of(picked)


def offer_sheet(made: Callable[[LocaleWords], PrintedSheet], words: str, name: str) -> None:
    """A sheet to take along in a language that is picked, as a page to print and as a PDF of either paper."""
    sheet, key = made(sheet_language()), f"sheet-{name}"
    with st.container(horizontal=True):
        offer_file(
            f"{words} (page to print)", sheet_html(sheet), f"{name}.html", "text/html", type="primary",
            key=f"{key}-html",
        )  # fmt: skip
        for paper, paper_words in PAPER_WORDS.items():
            pdf = partial(sheet_pdf, sheet, paper)
            offer_file(
                f"PDF, {paper_words}", pdf, f"{name}_{paper}.pdf", "application/pdf", key=f"{key}-{paper}"
            )


def as_csv(frame: pl.DataFrame) -> bytes:
    """A table as CSV that a spreadsheet reads as data.

    >>> as_csv(pl.DataFrame({"note": ["=1+1"], "options": [["overdrive", "tow_bar"]]})).decode()
    'note,options\\n\\'=1+1,"overdrive, tow_bar"\\n'
    """
    return _flat(frame).write_csv().encode()


def as_workbook(frame: pl.DataFrame) -> bytes:
    """A table as a workbook in which no text is a formula or a link."""
    written = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}
    with xlsxwriter.Workbook(written, options) as book:
        _flat(frame).write_excel(book, "table", autofit=True)
    return written.getvalue()


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists as text, and text made harmless."""
    lists = [name for name, kind in frame.schema.items() if isinstance(kind, pl.List)]
    texts = frame.with_columns(pl.col(lists).cast(pl.List(pl.String)).list.join(", "))
    return neutral_names(texts.with_columns(neutralised(pl.col(pl.String))))
