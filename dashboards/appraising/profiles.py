"""Profiles on the page of an appraisal: taken over into it, kept from it, forgotten."""

import streamlit as st

from pricing.appraisal.record.profiles import (
    KINDS,
    LONGEST_NAME,
    answers_of,
    keep_profile,
    profiles,
    with_profiles,
)
from pricing.appraisal.record.record import Appraisal
from pricing.appraisal.register import Entry
from pricing.snapshot import Snapshot
from pricing.words.language.plain_text import escaped


def ask_profiles(snapshot: Snapshot, entry: Entry, *, disabled: bool) -> Appraisal | None:
    """Take profiles over, keep or forget one; the record with those taken over, once asked for."""
    known = {f"{each.kind}: {each.name}": each for each in snapshot.by_write.get(
        "profiles", lambda: profiles(snapshot.market)
    )}  # fmt: skip
    with st.expander("Profiles: valuer, firm, client, standing texts"):
        st.caption(
            "Kept in this market alone. Taking one over puts its answers in the place of those given here."
        )
        taken = None
        if known:
            chosen = st.multiselect("Profiles to take over", list(known), key="profiles_taken")
            with st.container(horizontal=True):
                if st.button("Take them over", disabled=disabled or not chosen, key="take_profiles"):
                    taken = with_profiles(entry.record, [known[name] for name in chosen])
                if st.button("Forget them", disabled=disabled or not chosen, key="forget_profiles"):
                    for name in chosen:
                        snapshot.market.profiles.forget(known[name].kind, known[name].name)
                    _done(f"Forgotten: {', '.join(chosen)}.")
        answered = [kind for kind in KINDS if answers_of(entry.record, kind)]
        if answered:
            with st.form("keep_profile", border=False):
                kind = st.selectbox("Keep what is answered here of", answered)
                name = st.text_input("as a profile named", max_chars=LONGEST_NAME)
                if st.form_submit_button("Keep the profile", disabled=disabled):
                    kept = keep_profile(snapshot.market, kind, name, entry.record)
                    _done(f"The {kept.kind} profile {kept.name!r} is kept.")
        return taken


def _done(words: str) -> None:
    st.session_state["appraisal_said"] = escaped(words)
    st.rerun()
