"""One photo: a loose picture read at once; nothing is kept."""

from __future__ import annotations

import hashlib

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from jartest.imaging.lump_size import say_lumps
from jartest.imaging.values import Marks
from jartest.jars import offered_jars
from jartest.plan.jars import JarShape
from jartest.recorder import QuickLook, Recorder
from jartest.screens import state
from jartest.screens.line_setter import line_setter
from jartest.screens.look_part import draw_figures, draw_sizes, say_flags
from jartest.screens.opinion_ask import draw_ask_photo
from jartest.screens.parts import PHOTO_TYPES, error_box, one_line, plain, show_plate, show_reasons, show_rule
from jartest.screens.question_part import draw_question
from jartest.screens.who import ask_name
from jartest.verdict.limits import Limits
from jartest.verdict.photo import LOOSE
from jartest.verdict.question import question_of
from jartest.verdict.values import Verdict

__all__ = ["render"]


def render(recorder: Recorder) -> None:
    """Draw the screen of one loose photo."""
    st.markdown("## One photo")
    photo = st.file_uploader(
        "Take or choose a photo of one jar", type=PHOTO_TYPES, key=state.key("photo", "file")
    )
    st.caption("Read and shown, not kept: it is gone when you leave this screen. To keep it, start a test.")
    if photo is None:
        return
    data = photo.getvalue()
    jar = _ask_jar(recorder)
    lines = state.key("photo", "lines", hashlib.sha256(data).hexdigest())
    marks: Marks | None = state.get(lines)
    with error_box():
        with st.spinner("Measuring …"):
            look = recorder.quick_look(data, photo.name, marks=marks, jar=jar)
        left, right = st.columns(2)
        _draw(look, lines, recorder.limits, jar, left, right)
        with left:  # on a phone right under the picture and its verdict, above figures and lines
            ask_name(recorder)
            draw_ask_photo(recorder, data, photo.name, look, jar)


def _ask_jar(recorder: Recorder) -> JarShape | None:
    """The jar of the list that the photo shows, where a person says so."""
    jars = offered_jars(recorder)
    if not jars:
        return None
    chosen = st.selectbox(
        "Which jar of the list, for millimeters",
        range(len(jars)),
        index=None,
        key=state.key("photo", "jar"),
        format_func=lambda i: one_line(jars[i].name),
        placeholder="none of them, or not known",
        width=360,
    )
    return None if chosen is None else jars[chosen]


def _under(verdict: Verdict) -> str:
    """What stands under the plate: that it is of one photo, what it shows where that is no verdict, or what to do."""
    even = next((r.says for r in verdict.reasons if r.rule == LOOSE), "")
    if even:
        return plain(even)
    return "this photo alone" if verdict.word else "take it again, or set the lines"


def _ask(look: QuickLook, lines: str, limits: Limits) -> None:
    """The question that the photo leaves open; its answer is taken as set by hand."""
    question = question_of(look.reading, limits)
    if question is None:
        return
    tapped = draw_question(question, of=f"{look.reading.photo_sha256}-{hash(state.get(lines))}")
    marks = next((a.marks for a in question.answers if a.key == tapped), None)
    if marks is not None:
        state.put(lines, marks)
    if tapped is not None:
        st.rerun()


def _draw(
    look: QuickLook,
    lines: str,
    limits: Limits,
    jar: JarShape | None,
    left: DeltaGenerator,
    right: DeltaGenerator,
) -> None:
    with left:
        word = look.verdict.word
        show_plate(
            word,
            _under(look.verdict),
            place="photo",
            verdict=look.verdict,
        )
        st.image(look.overlay_jpeg, width="stretch", alt="The photo with the measurements drawn on it")
        _ask(look, lines, limits)
        show_reasons(look.verdict, loose=True)
        show_rule(look.verdict, limits)
    with right:
        draw_figures(look.reading)
        draw_sizes(look.reading, jar)
        if lumps := say_lumps(look.reading, limits.strainers):
            st.markdown(plain(lumps))
        say_flags(look.reading)
        with error_box():
            marks = line_setter(
                look.plain_jpeg,
                look.reading,
                of=f"{look.reading.photo_sha256}-{hash(state.get(lines))}",
                key=state.key("photo", "setter"),
            )
            if marks is not None:
                state.put(lines, marks)
                st.rerun()
    st.caption("Physical mixing only, from one view: what you see, feel and smell at the jar counts first.")
