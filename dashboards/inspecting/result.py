"""What an inspection says: its score and band, what holds it there, what to look at next; to take along."""

import polars as pl
import streamlit as st

from dashboards import page_layout
from dashboards.exhibits import sheet_language, show_drawing, show_table
from dashboards.inspecting import sheets
from pricing.charts.car_outline import area_counts, car_outline, outline_sentence
from pricing.condition.assessment import InspectionResult, assess
from pricing.condition.checks import PAPER_STATES
from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import to_csv, to_json
from pricing.reports.inspection_sheet import inspection_page
from pricing.words.condition import score_sentence, structure_sentence
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped


def show_result(inspection: Inspection) -> None:
    """The result as it stands, half done or whole."""
    result = assess(inspection)
    low, _, high = result.quantiles()
    with st.container(horizontal=True):
        st.metric("condition score", f"{result.score:.0f}", help=what_is("condition score"), width="content")
        st.metric("in 8 of 10 cases between", f"{low:.0f} to {high:.0f}", width="content")
        st.metric("condition band", result.band, help=what_is("condition band"), width="content")
    st.write(escaped(f"{score_sentence(result)} {structure_sentence(result)}"))
    show_drawing(car_outline(inspection), outline_sentence(inspection))
    st.caption("In each area: checks seen, of all. A filled disc counts what is not sound.")
    with st.expander("The same in figures"):
        counts = [(area, *told) for area, told in area_counts(inspection).items()]
        show_table(
            pl.DataFrame(counts, schema=["area", "seen", "checks", "faults"], orient="row"),
            "areas",
            {"area": "Area", "seen": "Seen", "checks": "Of", "faults": "Not sound"},
        )
    st.write(escaped(result.originality))
    _carry_over(result)
    _show_points("What holds it there", "holding", result.holding, "Points it would give back")
    _show_points("What would lift it to the next band, in order", "lifting", result.lifting, "Points")
    _show_points("What to look at next", "look next", result.look_next, "Points between best and worst")
    if result.papers.height:
        st.header("Identity and papers to settle")
        show_table(
            result.papers.select("title", pl.col("state").replace(PAPER_STATES), "note"),
            "papers to settle",
            {"title": "Check", "state": "Found", "note": "Note"},
            height="content",
        )
    st.header("The sheet to take along")
    words = sheet_language()
    with st.container(horizontal=True):
        page = inspection_page(inspection, result, words=words)
        st.download_button(
            "Sheet with its result (page to print)", page, "inspection.html", "text/html", on_click="ignore"
        )
        st.download_button(
            "All of it (for another program)",
            to_json(inspection),
            "inspection.json",
            "application/json",
            on_click="ignore",
        )
        st.download_button(
            "Findings (CSV)", to_csv(inspection), "findings.csv", "text/csv", on_click="ignore"
        )
    st.caption(
        "The page to print can be filled in on a phone without a network, and hands its findings on as a "
        "file."
    )
    for caution in result.cautions:
        st.caption(escaped(caution))


def _carry_over(result: InspectionResult) -> None:
    """Hand the score to the car that is priced."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.button(
            f"Price the car at a score of {result.score:.0f}",
            type="primary",
            on_click=_price_at,
            args=(result,),
            help="Fills the condition score and the condition band of the car on the other pages.",
        )
        page_layout.link("position", "Where does it sit now")
        page_layout.link("mend", "Mend it or buy better")
    if st.session_state.get("priced_sheet") == sheets.name():
        st.caption("The condition of the car on the other pages is now that of this sheet.")


def _price_at(result: InspectionResult) -> None:
    car = result.inspection.car
    for name in ("make", "model", "variant", "year", "chassis_number"):
        if name in car:
            st.session_state[name] = car[name]
    st.session_state["condition_score"] = float(round(result.score))
    st.session_state["condition_band"] = result.band
    st.session_state["priced_sheet"] = sheets.name()


def _show_points(title: str, name: str, rows: pl.DataFrame, points: str) -> None:
    if rows.is_empty():
        return
    st.header(title)
    show_table(
        rows.head(8).select("title", "area", "state", "points"),
        name,
        {
            "title": "Check",
            "area": "Area",
            "state": "Found",
            "points": st.column_config.NumberColumn(points, format="%.1f"),
        },
        every=rows,
        height="content",
    )
