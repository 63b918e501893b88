"""What an inspection says: its score and band, what holds it there, what to look at next; to take along."""

import polars as pl
import streamlit as st

from dashboards import page_layout
from dashboards.downloads import offer_file, sheet_language
from dashboards.exhibits import show_drawing
from dashboards.inspecting import sheets
from dashboards.tables import AS_IT_IS, Columns, TableColumn, show_table
from dashboards.text import show_metrics, write, write_small
from pricing.charts.car_outline import area_counts, car_outline, outline_sentence
from pricing.condition.assessment import InspectionResult, assess
from pricing.condition.checks import PAPER_STATES
from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import to_csv, to_json
from pricing.reports.inspection_sheet import inspection_page
from pricing.words.condition import score_sentence, structure_sentence
from pricing.words.language.glossary import what_is


def show_result(inspection: Inspection) -> None:
    """The result as it stands, half done or whole."""
    result = assess(inspection)
    low, _, high = result.quantiles()
    metrics = [
        ("condition score", f"{result.score:.0f}", what_is("condition score")),
        ("in 8 of 10 cases between", f"{low:.0f} to {high:.0f}", None),
        ("condition band", result.band, what_is("condition band")),
    ]
    show_metrics(metrics)
    write(f"{score_sentence(result)} {structure_sentence(result)}")
    show_drawing(car_outline(inspection), outline_sentence(inspection))
    st.caption("In each area: checks seen, of all. A filled disc counts what is not sound.")
    with st.expander("The same in figures"):
        counts = [(area, *numbers) for area, numbers in area_counts(inspection).items()]
        words = {"seen": "Seen", "checks": "Of", "faults": "Not sound"}
        show_table(
            pl.DataFrame(counts, schema=["area", *words], orient="row"),
            "areas",
            {"area": "Area", **{name: TableColumn(word, AS_IT_IS) for name, word in words.items()}},
        )
    write(result.originality)
    _carry_over(result)
    _show_points("What holds it there", "holding", result.holding, "Points it would give back")
    _show_points("What would lift it to the next band, in order", "lifting", result.lifting, "Points")
    _show_points("What to look at next", "look next", result.look_next, "Points between best and worst")
    if result.papers.height:
        st.header("Identity and papers to settle")
        papers = result.papers.select("title", pl.col("state").replace(PAPER_STATES), "note")
        columns = {"title": "Check", "state": "Found", "note": "Note"}
        show_table(papers, "papers to settle", columns, height="content")
    st.header("The sheet to take along")
    language = sheet_language()
    with st.container(horizontal=True):
        sheet = inspection_page(inspection, result, words=language)
        offer_file("Sheet with its result (page to print)", sheet, "inspection.html", "text/html")
        content = to_json(inspection)
        offer_file("All of it (for another program)", content, "inspection.json", "application/json")
        offer_file("Findings (CSV)", to_csv(inspection), "findings.csv", "text/csv")
    st.caption(
        "The page to print can be filled in on a phone without a network, and hands its findings on as a "
        "file."
    )
    write_small(*result.cautions)


def _carry_over(result: InspectionResult) -> None:
    """Hand the score to the car that is priced."""
    car, names = result.inspection.car, ("make", "model", "variant", "year", "chassis_number")
    graded = {name: car[name] for name in names if name in car} | {
        "condition_score": float(round(result.score)),
        "condition_band": result.band,
        "priced_sheet": sheets.name(),
    }
    with st.container(horizontal=True, vertical_alignment="center"):
        st.button(
            f"Price the car at a score of {result.score:.0f}",
            type="primary",
            on_click=st.session_state.update,
            args=(graded,),
            help="Fills the condition score and the condition band of the car on the other pages.",
        )
        page_layout.link("position", "Where does it sit now")
        page_layout.link("mend", "Mend it or buy better")
    if st.session_state.get("priced_sheet") == sheets.name():
        st.caption("The condition of the car on the other pages is now that of this sheet.")


def _show_points(title: str, name: str, rows: pl.DataFrame, points: str) -> None:
    if rows.is_empty():
        return
    st.header(title)
    columns: Columns = {
        "title": "Check",
        "area": "Area",
        "state": "Found",
        "points": TableColumn(points, "%.1f"),
    }
    show_table(rows.head(8), name, columns, every=rows, height="content")
