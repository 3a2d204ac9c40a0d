"""What a look's photo and what is known besides contradict: carried lines settled by one tap, the volume told."""

from __future__ import annotations

from typing import Literal

import streamlit as st

from jartest.imaging.held import DOUBTED, apart_from, say_apart
from jartest.imaging.sizes import fill
from jartest.jars import shape_of
from jartest.recorder import Recorder
from jartest.records.model import Case, KeptReading, Look
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.screens.who import name

__all__ = ["ask_lines", "say_fill"]

_KEEP: dict[Literal["carried", "found"], str] = {
    "carried": "The carried lines are right",
    "found": "The found lines are right (dotted)",
}


def ask_lines(recorder: Recorder, look: Look, kept: KeptReading) -> None:
    """One tap that says which of two frames is right, where the carried one is in doubt."""
    reading = kept.reading
    if DOUBTED not in reading.flags or reading.jar is None or reading.jar_proposed is None:
        return
    with st.container(border=True, key=f"doubt-{look.id}"):
        st.markdown("**Which lines lie on the jar?** No pass until you say.")
        st.markdown(plain(say_apart(apart_from(reading.jar, reading.jar_proposed))))
        with error_box():
            for keep, label in _KEEP.items():
                if st.button(
                    label, key=state.key("test", look.test_id, "keep", look.id, keep), width="stretch"
                ):
                    with st.spinner("Measuring …"):
                        recorder.settle_lines(look.id, keep, by=name())
                    st.rerun()
        st.caption("Neither? Set the lines by hand. What you say also settles the other looks of this jar.")


def say_fill(recorder: Recorder, case: Case, look: Look, kept: KeptReading) -> None:
    """The planned volume beside the photo's, once all is in the jar; in a box where they differ."""
    if look.age_s is None:
        return
    jar = case.test.plan.jar
    got = fill(kept.reading, jar.volume_ml, shape_of(recorder, jar))
    if got is not None:
        (st.warning if got.differs else st.caption)(plain(got.says))
