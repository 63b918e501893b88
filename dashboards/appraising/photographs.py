"""The photographs of an appraisal on its page: taken or uploaded, captioned, tied to findings, put in order,
handed out as they came."""

from dataclasses import dataclass
from typing import Any

import streamlit as st

from dashboards.downloads import offer_file
from dashboards.text import write_small
from pricing.appraisal.record.photographs import (
    LONGEST_CAPTION,
    Photograph,
    Photographs,
    with_added,
    with_changes,
    without,
)
from pricing.appraisal.register import Entry, taken_in_for
from pricing.operations.appraisal_photographs import of_sheet, original_name, with_those_of_sheet
from pricing.snapshot import Snapshot
from pricing.untrusted.photographs import LARGEST, MEDIA, ReadPhotograph, read_photograph
from pricing.words.language.plain_text import escaped
from pricing.words.photographs import removed_sentence

_ROUND = "photograph_round"
"""Session state: how often photographs were kept, so that each time is asked anew."""


@dataclass(frozen=True)
class Changed:
    """Photographs as they are to be kept, what was read anew of them, and why."""

    photographs: Photographs
    read: tuple[ReadPhotograph, ...]
    reason: str


def show_photographs(snapshot: Snapshot, entry: Entry, *, may_change: bool) -> Changed | None:
    """The photographs of an entry, and what is to become of them once somebody says so."""
    shots, titles = entry.record.photographs, _titles(entry)
    st.write(f"{len(shots)} in this order." if shots else "No photographs yet.")
    with st.container(horizontal=True):
        for number, shot in enumerate(shots, 1):
            with st.container(width=260):
                words = f"{number}. {shot.caption or shot.file}"
                if shot.digest in entry.shown:
                    picture = entry.shown[shot.digest]
                    st.image(picture, caption=escaped(words), alt=f"Photograph {words}")
                taken = f"Taken on {shot.taken_on} by the camera's clock."
                facts = [
                    "On the cover." if shot.cover else "",
                    f"Finding: {titles.get(shot.check, shot.check)}." if shot.check else "",
                    taken if shot.taken_on is not None else "",
                    removed_sentence(shot.removed),
                ]
                write_small(" ".join(fact for fact in facts if fact))
    if not may_change:
        return None
    return _ask_change(snapshot, entry, titles) or _ask_more(snapshot, entry, titles)


def _ask_change(snapshot: Snapshot, entry: Entry, titles: dict[str, str]) -> Changed | None:
    """Other words for one, or taking it out; its original."""
    shots = entry.record.photographs
    if not shots:
        return None
    names = {nth: f"{nth}. {shot.caption or shot.file}" for nth, shot in enumerate(shots, 1)}
    number = st.selectbox("Photograph to change", list(names), format_func=names.__getitem__)
    shot = shots[number - 1]
    with st.form(f"photograph-{entry.appraisal_id}-{entry.revision}-{number}"):
        caption, check = _ask_words("What it shows", shot, titles)
        first, second = st.columns(2, vertical_alignment="bottom")
        place = first.selectbox("Its place", list(names), number - 1)
        cover = second.checkbox("On the cover", shot.cover)
        keep = st.form_submit_button("Keep this", type="primary")
    store = snapshot.market.photographs
    kind = str(store.described([shot.digest]).item(0, "kind"))
    with st.container(horizontal=True):
        remove = st.button("Take it out", help="Earlier revisions keep it.")
        offer_file(
            "Download the original",
            lambda: store.original(shot.digest),
            original_name(number, shot, kind),
            MEDIA[kind],
            help="As it came, byte for byte, with the place and all else that the camera wrote.",
        )
    own = entry.record.subject.chassis_number
    if own and shot.chassis and shot.chassis != own and st.button(f"It shows chassis number {own}"):
        return Changed(with_changes(shots, number, chassis=own), (), f"photograph {number} is of this car")
    if remove:
        return Changed(without(shots, number), (), f"photograph {number} taken out")
    if keep:
        changed = with_changes(shots, number, place=place, caption=caption, check=check, cover=cover)
        return None if changed == shots else Changed(changed, (), f"photograph {number} changed")
    return None


def _ask_more(snapshot: Snapshot, entry: Entry, titles: dict[str, str]) -> Changed | None:
    """Photographs from the camera of the device or from files."""
    st.subheader("Add photographs")
    beside = of_sheet(entry)
    if beside and st.button(f"Take over the {len(beside)} of the inspection sheet"):
        taken_over, read_over = with_those_of_sheet(entry)
        return Changed(taken_over, tuple(read_over), f"{len(read_over)} taken over from the sheet")
    turn = st.session_state.setdefault(_ROUND, 0)
    uploads: list[Any]
    if st.toggle("Take it with the camera of this device", key="photograph_camera"):
        taken = st.camera_input("Take a photograph", key=f"photograph-camera-{turn}")
        uploads = [] if taken is None else [taken]
    else:
        uploads = st.file_uploader(
            "Photographs to add (JPEG or PNG)",
            type=["jpg", "jpeg", "png"],
            accept_multiple_files=True,
            max_upload_size=LARGEST // 1_000_000,
            key=f"photographs-{turn}",
        )
    st.caption(
        "What is shown is turned upright, without the place and whatever else the camera wrote. The original "
        "is kept as it came."
    )
    if not uploads:
        return None
    with st.form(f"photographs-{entry.appraisal_id}-{entry.revision}"):
        caption, check = _ask_words("What they show", Photograph(""), titles)
        cover = st.checkbox("The first of them on the cover", not entry.record.photographs)
        pressed = st.form_submit_button("Keep the photographs", type="primary")
    if not pressed:
        return None
    shots, read = entry.record.photographs, []
    own = entry.record.subject.chassis_number
    for place, file in enumerate(uploads):
        one = read_photograph(file.getvalue(), file.name)
        read.append(one)
        chassis = taken_in_for(snapshot.market, one.digest, own)
        first = True if cover and place == 0 else None
        shots = with_added(shots, one, file.name, chassis=chassis, caption=caption, check=check, cover=first)
    st.session_state[_ROUND] = turn + 1
    return Changed(shots, tuple(read), f"{len(read)} photograph{'s' if len(read) > 1 else ''} added")


def _ask_words(label: str, shot: Photograph, titles: dict[str, str]) -> tuple[str, str]:
    """What a photograph shows, and of which finding."""
    caption = st.text_input(label, shot.caption, LONGEST_CAPTION)
    if not titles:
        return caption.strip(), shot.check
    checks = ["", *titles]
    if shot.check not in checks:
        checks.append(shot.check)
    words = {name: titles.get(name, name or "none") for name in checks}
    check = st.selectbox("Of the finding", checks, checks.index(shot.check), format_func=words.__getitem__)
    return caption.strip(), str(check)


def _titles(entry: Entry) -> dict[str, str]:
    findings = None if entry.evidence is None else entry.evidence.findings
    if findings is None or "check" not in findings.sheet.columns:
        return {}
    return dict(findings.sheet.select("check", "title").iter_rows())
