"""Help: the cautions in full, what the words mean, and taking the samples away."""

from __future__ import annotations

import streamlit as st

from jartest import __version__
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.card_part import draw_card_download
from jartest.screens.network_part import draw_network
from jartest.screens.parts import error_box
from jartest.screens.words import CAUTIONS, TERMS, WHAT_NEXT

__all__ = ["render"]


def render(recorder: Recorder) -> None:
    """Draw the help."""
    st.markdown("## Help")
    st.markdown("### Before you rely on a jar")
    st.markdown("\n".join(f"- {x}" for x in CAUTIONS))
    st.markdown("### A photo that can be read")
    st.markdown(
        "- The whole jar, upright, from the side, camera level with the top of the liquid.\n"
        "- A plain background; light from the front or the side, no window behind, no sun on the glass.\n"
        "- Labels and printed scales turned away. Wipe the outside.\n"
        "- The same place for all looks of one jar: the lines are then carried over.\n"
        "- One photo right after mixing, and one of the jar with water alone if you can: what stands there already "
        "is the jar, and later looks are held against it."
    )
    st.markdown("### The reference card")
    draw_card_download("help")
    st.markdown("### Phones and people on the network")
    draw_network()
    st.markdown("### What the words mean")
    st.markdown("\n".join(f"- **{term}**: {says}" for term, says in TERMS))
    st.markdown("### After a fail")
    st.markdown("\n".join(f"- {x}" for x in WHAT_NEXT))
    st.markdown("### The sample tests")
    if st.button("Remove the sample tests", key=state.key("help", "samples")):
        with error_box():
            removed = recorder.remove_samples()
            st.success(f"{removed} sample tests and their photos are gone; your own tests are untouched.")
    st.caption(
        f"jartest {__version__}. Records stay on this machine. `jartest backup` writes all of them into one file while "
        "the app runs, and `jartest restore` puts them back; JARTEST_HOME names another folder."
    )
