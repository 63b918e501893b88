"""Inspect: go round the car with a sheet of checks, one area at a time; every finding is kept as it is
made."""

from datetime import UTC, datetime
from typing import Any, Final

import streamlit as st

from dashboards import caches, page_layout
from dashboards.asking.car_form import ask_car
from dashboards.exhibits import show_drawing
from dashboards.inspecting import sheets
from dashboards.inspecting.result import show_result
from dashboards.text import write, write_small
from dashboards.url_state import BOUND, SHARED, held_to
from pricing.car_fields import CONDITION
from pricing.charts.car_outline import area_drawing, area_words
from pricing.condition.assessment import assess, short_round
from pricing.condition.checks import AREAS, CONSTRUCTIONS, FITTINGS, NOT_SEEN, STATES, Check, found_words
from pricing.condition.inspection import LONGEST_TEXT, Finding, Inspection
from pricing.errors import PricingError
from pricing.operations import drafts
from pricing.operations.bundled import EXTENSIONS
from pricing.untrusted.photographs import LARGEST
from pricing.words.condition import score_sentence
from pricing.words.language.plain_text import escaped
from pricing.words.market_standing import INVENTED
from pricing.words.sentences import car_words

ROUND: Final = "Go round"
SAYS: Final = "What it says"

SHORT: Final = "Ten minutes"
WHOLE: Final = "The whole car"

_AREA: Final = "area"
_TO_TOP: Final = "sheet_to_top"
_SCROLL: Final = "<script>document.querySelector('[data-testid=stMain]').scrollTo(0, 0)</script>"
"""The next area begins at its top, and not where the last one ended."""


def _ask_sheet() -> Inspection | None:
    """The sheet in hand; nothing, and a way to begin one for the car of the form, while there is none."""
    try:
        inspection = sheets.in_hand()
    except PricingError:
        sheets.take_up(None)
        raise
    if inspection is not None:
        return inspection
    snapshot = caches.snapshot()
    if snapshot is None:
        page_layout.ask_market()
        return None
    if caches.is_demo(snapshot):
        st.caption(INVENTED)
    answer = ask_car(snapshot)
    st.header("Start an inspection")
    write_small(*Inspection.start(CONSTRUCTIONS[0], {}).sheet.general_cautions)
    construction = st.selectbox(
        "How is it built?",
        CONSTRUCTIONS,
        None,
        key="construction",
        placeholder="choose",
        help="Separate chassis: the body is bolted to a frame below it. Monocoque: the body carries itself; "
        "if you see no frame from below, it is one.",
    )
    fitted = st.multiselect("Which of these does it have?", FITTINGS, key="fitted", placeholder="none fitted")
    seen_by = st.text_input("Your name, for the sheet", key="seen_by", max_chars=200, **SHARED)
    ready = answer is not None and construction is not None
    if st.button("Start", type="primary", disabled=not ready) and answer and construction:
        car = answer[0].to_dict() | dict.fromkeys(CONDITION)
        begun = Inspection.start(construction, car, fitted=fitted, extensions=EXTENSIONS)
        sheet = drafts.new_name()
        drafts.keep_sheet(sheets.beside(), sheet, begun)
        sheets.take_up(sheet)
        st.session_state["inspector"] = seen_by
        st.rerun()
    return None


@page_layout.page("Inspect the car", _ask_sheet)
def show_page(inspection: Inspection) -> None:
    """The walk round the car, or what the sheet says."""
    st.header(escaped(car_words({**inspection.car, "condition_band": inspection.sheet.construction})))
    parts: dict[str, Any] = {"default": ROUND, "key": "part", "label_visibility": "collapsed"}
    if st.segmented_control("Part of the sheet", [ROUND, SAYS], required=True, **parts) == SAYS:
        show_result(inspection)
    else:
        st.fragment(_walk)()
    with st.popover("Another car", type="tertiary"):
        st.write("This sheet stays as it is under its address: keep the address to come back to it.")
        if st.button("Put this sheet away"):
            sheets.take_up(None)
            st.rerun()


def _walk() -> None:
    """The checks of one area, and the score as it stands."""
    with page_layout.one_sentence():
        inspection = sheets.in_hand()
        if inspection is None:
            return
        st.markdown(f"[No signal where the car stands? Open the garage page](/garage/#{sheets.name()})")
        st.progress(inspection.seen_share, escaped(score_sentence(assess(inspection))))
        short = short_round(inspection)
        counts = {WHOLE: len(inspection.sheet.checks), SHORT: len(short)}
        extent = st.segmented_control(
            "How long have you got? (checks)",
            list(counts),
            default=WHOLE,
            required=True,
            key="round",
            format_func=lambda name: f"{name} ({counts[name]})",
        )
        in_round = [check for check in inspection.sheet.checks if extent == WHOLE or check.id in short]
        if extent == SHORT:
            st.caption(
                "These checks move the price of an unseen car of this construction most, by what an answer "
                "tells on average. Papers move no score: look at them before money changes hands all the "
                "same."
            )
        areas = [area for area in AREAS if any(check.area == area for check in in_round)]
        held_to(_AREA, areas)
        area = st.selectbox("Area", areas, key=_AREA, **BOUND)
        _show_steps(areas, area, "above")
        if st.session_state.pop(_TO_TOP, False):
            st.html(_SCROLL, unsafe_allow_javascript=True)
        here = [check for check in in_round if check.area == area]
        unseen = [check for check in here if inspection.state(check.id) == NOT_SEEN]
        seen = [check for check in here if check not in unseen]
        show_drawing(area_drawing(area), area_words(area))
        st.caption(f"{len(seen)} of {len(here)} seen here; every finding is kept as you make it.")
        sheets.offer_acts(inspection, here)
        for check in unseen:  # the next one that nobody has answered stands at the top
            _ask_check(inspection, check)
        if unseen and seen:
            st.caption("Seen already")
        for check in seen:
            _ask_check(inspection, check)
        _ask_photo(inspection, area)
        _show_steps(areas, area, "below")


def _ask_check(inspection: Inspection, check: Check) -> None:
    """One check: what to look at, and what was found, within a thumb's reach."""
    with st.container(border=True):
        st.markdown(f"**{escaped(check.title)}**  \n{escaped(check.where)}")
        if check.caution:
            st.markdown(f"*{escaped(inspection.sheet.cautions[check.caution])}*")
        known = inspection.findings.get(check.id)
        keys = tuple(f"{kind}-{sheets.name()}-{check.id}" for kind in ("state", "note"))
        changed: dict[str, Any] = {"on_change": _keep_finding, "args": (check.id, *keys)}
        st.pills(
            f"{check.title}: found",
            (*STATES, NOT_SEEN),
            default=inspection.state(check.id),
            required=True,
            format_func=lambda state: found_words(check.role, state),
            key=keys[0],
            label_visibility="collapsed",
            **changed,
        )
        label = "How to look" + ("; a note is kept" if known and known.note else ", and a note")
        with st.expander(label, type="compact", key=f"how-{check.id}"):
            write(check.act, check.bad_sign)
            note = known.note if known else ""
            st.text_area(f"Note on {check.title}", note, max_chars=LONGEST_TEXT, key=keys[1], **changed)
        photo = drafts.photo(sheets.beside(), str(sheets.name()), known.photo) if known else None
        if photo is not None:
            words = f"Photo of {check.title}"
            st.image(str(photo), caption=words, alt=words, width=240)


def _keep_finding(check: str, state_key: str, note_key: str, photo: str | None = None) -> None:
    """Keep what was found at a check in the sheet, at once."""
    inspection = sheets.in_hand()
    if inspection is None:
        return
    known = inspection.findings.get(check)
    finding = Finding(
        check,
        st.session_state.get(state_key) or inspection.state(check),
        note=st.session_state.get(note_key) or "",
        photo=photo if photo is not None else known.photo if known else "",
        seen_by=st.session_state.get("inspector", known.seen_by if known else ""),
        seen_on=datetime.now(UTC).date(),
    )
    sheets.keep(inspection, [finding])


def _ask_photo(inspection: Inspection, area: str) -> None:
    """A photo for a check of the area, from the camera or a file."""
    with st.expander("Add a photo"):
        titles = {check.id: check.title for check in inspection.sheet.checks if check.area == area}
        number = st.session_state.setdefault("photo_round", 0)
        check = st.selectbox("Photo of", list(titles), format_func=titles.__getitem__, key=f"photo-of-{area}")
        upload: Any
        if st.toggle("Use the camera of this device", key="camera"):
            upload = st.camera_input("Take a photo", key=f"camera-{area}-{number}")
        else:
            upload = st.file_uploader(
                "Photo",
                type=list(drafts.PHOTO_KINDS),
                max_upload_size=LARGEST // 1_000_000,
                key=f"photo-{area}-{number}",
            )
        st.caption("Place, time and owner that the camera wrote into the photo are left out.")
        if upload is not None and st.button("Keep the photo", type="primary"):
            sheet = str(sheets.name())
            file = drafts.keep_photo(sheets.beside(), sheet, check, upload.getvalue())
            _keep_finding(check, f"state-{sheet}-{check}", f"note-{sheet}-{check}", file)
            st.session_state["photo_round"] = number + 1
            st.rerun(scope="fragment")


def _show_steps(areas: list[str], area: str, where: str) -> None:
    """The way to the area before and to the next."""
    place = areas.index(area)
    with st.container(horizontal=True, horizontal_alignment="distribute"):
        for words, other in (("Back", place - 1), ("Next area", place + 1)):
            there = areas[other] if 0 <= other < len(areas) else None
            st.button(
                words if there is None else f"{words}: {there}",
                key=f"step-{words}-{where}",
                disabled=there is None,
                on_click=st.session_state.update,
                args=({_AREA: there, _TO_TOP: True},),
                type="primary" if words == "Next area" else "secondary",
            )
