"""The one question that a photo leaves open, answered by one tap; or the lines are set by hand."""

from __future__ import annotations

from typing import Literal

import streamlit as st

from jartest.recorder import Recorder
from jartest.records.model import KeptReading, Look
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.screens.who import name
from jartest.verdict.question import Question, question_of

__all__ = ["ask_question", "draw_question"]

SET_IT = "No, I'll set it"


def ask_question(recorder: Recorder, look: Look, kept: KeptReading) -> bool:
    """Ask what this look's reading leaves open and take the answer; whether the person wants to set it by hand."""
    question = question_of(kept.reading, recorder.limits)
    if question is None:
        return False
    tapped = draw_question(question, of=kept.id)
    if tapped not in (None, "set"):
        with error_box() as box, st.spinner("Measuring …"):
            recorder.answer_question(look.id, kept.id, tapped, by=name())
        if box.error is None:
            st.rerun()
    return tapped == "set"


def draw_question(question: Question, *, of: str) -> str | Literal["set"] | None:
    """The question with a button for each answer; the key of the one just tapped, "set" for none of them."""
    away = state.key("question", of, "away")
    if state.get(away):
        st.caption("Drag the lines to where they belong, then tap “Lines are right”.")
        return None
    tapped = None
    with st.container(border=True, key=f"question-{of}"):
        st.markdown(f"**{plain(question.says)}**")
        for answer in question.answers:
            if st.button(
                answer.says, key=state.key("question", of, answer.key), type="primary", width="stretch"
            ):
                tapped = answer.key
        if st.button(SET_IT, key=state.key("question", of, "set"), width="stretch"):
            state.put(away, True)
            tapped = "set"
        st.caption(plain(question.hint))
    return tapped
