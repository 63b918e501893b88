"""Completing an appraisal on its page: the valuer's own name and every point of the certification."""

import streamlit as st

from pricing.appraisal.completion import CERTIFICATION, complete
from pricing.appraisal.register import Entry
from pricing.snapshot import Snapshot
from pricing.words.language.plain_text import escaped


def ask_completion(snapshot: Snapshot, entry: Entry, by: str | None) -> None:
    """Ask the valuer for what completes the appraisal; once it is given, keep it."""
    with st.expander("Complete it as its valuer"):
        st.caption(
            "Only the valuer named in the record completes it. Each point is answered in the valuer's words; "
            "the document is then signed by hand."
        )
        with st.form(f"complete-{entry.appraisal_id}-{entry.revision}", border=False):
            name = st.text_input("Your name, as the record has the valuer's", max_chars=200)
            answers = {
                point: st.text_input(f"{text[0].upper()}{text[1:]}", max_chars=2_000)
                for point, text in CERTIFICATION.items()
            }
            pressed = st.form_submit_button("Complete the appraisal", type="primary")
        if pressed:
            complete(snapshot.market, entry, answers, name=name, by=by if by else name)
            st.session_state["appraisal_said"] = escaped(f"{entry.appraisal_id} is completed.")
            st.rerun()
