"""The page that writes appraisals: what it keeps is a record of the register, what it hands out its
documents."""

from datetime import date
from typing import Any

from streamlit.testing.v1 import AppTest

from dashboards.appraising.evidence import WORDS
from pricing.appraisal.contents import missing
from pricing.appraisal.facts import facts_of
from pricing.appraisal.record.profiles import profiles
from pricing.appraisal.record.record import read_record
from pricing.appraisal.register import enter, listed, read
from pricing.operations.appraisal_files import evidence_for
from pricing.reports.figure_words import span_words
from pricing.store.market import Market
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import rounded
from tests.appraisals import full_record
from tests.dashboards.pages import a_page, at_car, press, said, table
from tests.drawn_photographs import drawn_photograph


def test_an_appraisal_is_begun_from_the_car_and_answered_section_by_section(
    market: Market, car: dict[str, Any]
) -> None:
    page = at_car(a_page("appraisals"), car)
    assert not page.exception
    assert [b.disabled for b in page.button if b.label == "Enter it and freeze the evidence"] == [True]
    assert listed(market).is_empty()
    page.text_input(key="valuer").set_value("A. Valuer").run()
    page.selectbox(key="market_level").select("private").run()
    press(page, "Enter it and freeze the evidence")
    assert not page.exception
    entry = read(market, listed(market)["appraisal_id"][0])
    assert (entry.record.subject.make, entry.record.subject.year) == (car["make"], car["year"])
    assert entry.made_by == "A. Valuer"
    assert entry.evidence is not None
    assert f"{entry.appraisal_id}, revision 1" in "\n".join(part.value for part in page.header)
    assert "The draft as it stands" in said(page)
    (client,) = [field for field in page.text_input if field.label.startswith("Who the valuation is for")]
    client.set_value("Client Alpha")
    press(page, "Keep these answers")
    assert not page.exception
    revised = read(market, entry.appraisal_id)
    assert (revised.revision, revised.record.assignment.client) == (2, "Client Alpha")
    assert read(market, entry.appraisal_id, 1).record == entry.record
    assert table(page, "field", "new")["new"].to_list()[-1] == "Client Alpha"


def test_a_whole_record_hands_out_its_documents(market: Market, car: dict[str, Any]) -> None:
    at = date.fromisoformat(market.load_fit()[1]["last_date"])  # type: ignore[arg-type]
    record = full_record(car, at)
    (name,) = enter(market, [(record, evidence_for(market.path, record))], by="A. Valuer")
    entry = read(market, name)
    assert not missing(entry.record, entry.evidence)
    page = a_page("appraisals")
    page.query_params["appraisal"] = name
    page.run()
    assert not page.exception
    assert "Every required content is there. It is a draft." in said(page)
    labels = {getattr(button, "label", "") for button in page.get("download_button")}
    assert labels >= {
        "Download the PDF",
        "Download for a word processor",
    }


def test_an_answer_of_the_wrong_kind_is_one_sentence_and_changes_nothing(
    market: Market, car: dict[str, Any]
) -> None:
    at = date.fromisoformat(market.load_fit()[1]["last_date"])  # type: ignore[arg-type]
    (name,) = enter(market, [(full_record(car, at), None)], by="A. Valuer")
    page: AppTest = a_page("appraisals")
    page.query_params["appraisal"] = name
    page.run()
    page.text_input(key="valuer").set_value("A. Valuer").run()
    page.selectbox(key="section").select("opinion").run()
    (figure,) = [field for field in page.text_input if field.label == "The value"]
    figure.set_value("dear")
    press(page, "Keep these answers")
    assert not page.exception
    assert "opinion.figure: got 'dear', expected an amount" in said(page)
    assert read(market, name).revision == 1


def test_the_opinion_is_written_beside_its_evidence(market: Market, car: dict[str, Any]) -> None:
    at = date.fromisoformat(market.load_fit()[1]["last_date"])  # type: ignore[arg-type]
    record = full_record(car, at)
    (name,) = enter(market, [(record, evidence_for(market.path, record))], by="A. Valuer")
    page: AppTest = a_page("appraisals")
    page.query_params["appraisal"] = name
    page.run()
    page.selectbox(key="section").select("opinion").run()
    assert not page.exception
    shown = said(page)
    facts = facts_of(read(market, name))
    assert f"**Price model** (private, GBP): {span_words(facts, WORDS, 'model')}" in shown
    assert "**Reconciled figure**" in shown
    assert "No sale or offer of chassis number CH-55-Nu stands in the records" in shown
    beside = table(page, "number", "adjusted")
    into = facts.evidence.conversion.from_base
    assert beside["adjusted"].to_list() == [rounded(into(price)) for price in facts.grid["adjusted_price"]]
    assert facts.evidence.valuation.car["condition_band"] in shown
    page.selectbox(key="section").select("assignment").run()
    assert "Market value: What the car should fetch" in said(page)


def test_a_draft_can_be_looked_at_from_the_first_answer_on(market: Market) -> None:
    record = read_record({"assignment": {"client": "Client Alpha"}})
    (name,) = enter(market, [(record, None)], by="A. Valuer")
    page: AppTest = a_page("appraisals")
    page.query_params["appraisal"] = name
    page.run()
    assert "No ranges yet" in said(page)
    page.button(key="look_at_document").click().run()
    assert not page.exception
    assert len(page.get("image")) >= 1


def test_profiles_are_kept_taken_over_and_forgotten(market: Market, car: dict[str, Any]) -> None:
    at = date.fromisoformat(market.load_fit()[1]["last_date"])  # type: ignore[arg-type]
    whole = full_record(car, at)
    names = enter(market, [(whole, None), (read_record({"assignment": {"kind": "appraisal"}}), None)], by="A")
    page: AppTest = a_page("appraisals")
    page.query_params["appraisal"] = names[0]
    page.run()
    page.text_input(key="valuer").set_value("A. Valuer").run()
    (called,) = [field for field in page.text_input if field.label == "as a profile named"]
    called.set_value("desk")
    press(page, "Keep the profile")
    assert [each.name for each in profiles(market)] == ["desk"]
    assert profiles(market)[0].answers["valuer.name"] == "Valuer Phi"
    page.selectbox(key="appraisal").select(names[1]).run()
    page.multiselect(key="profiles_taken").select("valuer: desk").run()
    page.button(key="take_profiles").click().run()
    assert not page.exception
    assert read(market, names[1]).record.valuer.name == "Valuer Phi"
    page.multiselect(key="profiles_taken").set_value(["valuer: desk"]).run()
    page.button(key="forget_profiles").click().run()
    assert not page.exception
    assert profiles(market) == []
    assert [done.value for done in page.success] == [escaped("Forgotten: valuer: desk.")]


def test_photographs_are_uploaded_tied_put_on_the_cover_and_taken_out(
    market: Market, car: dict[str, Any]
) -> None:
    at = date.fromisoformat(market.load_fit()[1]["last_date"])  # type: ignore[arg-type]
    (name,) = enter(market, [(full_record(car, at), None)], by="A. Valuer")
    page: AppTest = a_page("appraisals")
    page.query_params["appraisal"] = name
    page.session_state["photographs"] = True
    page.session_state["valuer"] = "A. Valuer"
    page.run()
    assert not page.exception
    assert "No photographs yet." in said(page)
    front, sill = drawn_photograph(mark=7), drawn_photograph(kind="PNG", mark=8)
    page.file_uploader[0].set_value(
        [("front.jpg", front, "image/jpeg"), ("sill.png", sill, "image/png")]
    ).run()
    (words,) = [field for field in page.text_input if field.label == "What they show"]
    words.set_value("As it stood")
    press(page, "Keep the photographs")
    assert not page.exception
    kept = read(market, name)
    assert [(shot.file, shot.caption, shot.cover) for shot in kept.record.photographs] == [
        ("front.jpg", "As it stood", True), ("sill.png", "As it stood", False)]  # fmt: skip
    assert market.photographs.original(kept.record.photographs[0].digest) == front
    assert "Left out of what is shown: the place (GPS)" in said(page)
    assert kept.made_by == "A. Valuer" and kept.revision == 2
    press(page, "Take it out")
    assert [shot.file for shot in read(market, name).record.photographs] == ["sill.png"]
    page.file_uploader[0].set_value([("sill.png", sill, "image/png")]).run()
    press(page, "Keep the photographs")
    assert not page.exception
    assert "sill.png is photograph 1 already" in said(page)
